"""Tracks of one song that are made together: what they share is played once, and all have one gain."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING

from render.song import LAYERS
from render.sound import SAMPLE_RATE_HZ
from render.tracks.balance import HEADROOM_DB, Balance, chosen_gestures, layer_trims_db, levels_at
from render.tracks.cues import PULSE_DB
from render.tracks.excerpts import excerpts_of
from render.tracks.meter import Meter
from render.tracks.mixing import mix_blocks
from render.tracks.phrases import whole_stretch
from render.tracks.plan import placed_passages, plan_of
from render.tracks.tapes import FADE_FRAMES, TAIL_FRAMES, tape_take, tapes_of
from render.tracks.timelines import ALL, NOTHING, Passage, Source, TrackTimeline

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from render.song import Layer
    from render.tracks.excerpts import Excerpt, Heard
    from render.tracks.plan import Sounding, TrackPlan
    from render.tracks.playing import Playing
    from render.tracks.tape_shelf import TapeShelf
    from render.tracks.tapes import Cut, Tape
    from render.tracks.timelines import Piece

__all__ = ["GUIDE_DB", "Recording"]

GUIDE_DB = -14.0
"""How much softer a guide is than what it guides: it can be followed, and doesn't play for the student."""

VERSION = 1
"""Raised whenever this package makes other samples from the same takes."""


class Recording:
    """Tracks of one song that are made together.

    Parameters
    ----------
    playing
        The song and its sound.
    timelines
        Of the tracks; `plan` and `blocks` count them from 0.
    shelf
        Where what was played is kept.
    """

    def __init__(self, playing: Playing, timelines: Sequence[TrackTimeline], shelf: TapeShelf) -> None:
        self.playing = playing
        self._timelines = tuple(timelines)
        self._shelf = shelf
        sources = dict.fromkeys(
            [Source(), *(passage.source for each in timelines for passage in each.passages)]
        )
        self._manners = tuple(dict.fromkeys((source.piece, source.flat) for source in sources))
        self._wholes = tuple(_whole(playing, Source(piece, flat=flat)) for piece, flat in self._manners)

    @cached_property
    def _heard(self) -> tuple[tuple[Heard, ...], ...]:
        return excerpts_of([*self._wholes, *self._timelines], self.playing.performed)

    @cached_property
    def _laid_out(self) -> tuple[tuple[Tape, ...], Mapping[Excerpt, Cut]]:
        excerpts = dict.fromkeys(
            excerpt for track in self._heard for heard in track for excerpt in (*heard.plain, *heard.soft)
        )
        return tapes_of(excerpts, self.playing.performed, self.playing.tail_frames)

    @property
    def tapes(self) -> tuple[Tape, ...]:
        """What has to be played, in pieces of half a minute."""
        return self._laid_out[0]

    def needed_tapes(self, indices: Iterable[int]) -> tuple[int, ...]:
        """Return the numbers of the tapes that some tracks and the balance are made of."""
        wholes = (self._tapes_of(place) for place in range(len(self._wholes)))
        return tuple(sorted(set().union(*wholes, *map(self.track_tapes, indices))))

    def track_tapes(self, index: int) -> frozenset[int]:
        """Return the numbers of the tapes that a track is made of."""
        return self._tapes_of(len(self._wholes) + index)

    def _tapes_of(self, place: int) -> frozenset[int]:
        cuts = self._laid_out[1]
        return frozenset(
            cuts[excerpt].tape for heard in self._heard[place] for excerpt in (*heard.plain, *heard.soft)
        )

    def let_go(self, tapes: Iterable[int]) -> None:
        """Forget tapes that nothing more will be made of."""
        for number in tapes:
            self._shelf.forget(self._names[number])

    def lack(self, index: int) -> str:
        """Return why a track makes no sense in this song; empty if it does.

        Its choice may pick no note of its bars, so that it would be silent, or all of them, so that nothing is left for
        the player to play or not to hear. Bars of rests make sense: they are silent of themselves.
        """
        counted = heard = 0
        chooses = False
        for passage in self._timelines[index].passages:
            performed = self.playing.performed(passage.source)
            notes = performed.between(passage.start_beat, passage.end_beat)
            counted += len(notes)
            heard += len(performed.picked(passage.heard).intersection(notes))
            chooses |= passage.heard not in (ALL, NOTHING)
        if counted and not heard:
            return "no note of this song would be heard in it"
        return "it would hold every note of this song" if chooses and heard == counted else ""

    def plan(self, index: int) -> TrackPlan:
        """Return the plan of a track."""
        return self._plan(len(self._wholes) + index)

    def _plan(self, place: int) -> TrackPlan:
        timeline = [*self._wholes, *self._timelines][place]
        return plan_of(
            timeline, self._heard[place], self.playing.performed, self._laid_out[1], self.playing.tail_frames
        )

    @cached_property
    def _identity(self) -> str:
        return f"{VERSION} {self.playing.sound_identity()}"

    @cached_property
    def reference_key(self) -> str:
        """What stands for all that the balance is measured in."""
        parts = hashlib.blake2b(self._identity.encode(), digest_size=16)
        for place in range(len(self._wholes)):
            self._add_track(parts, place)
        parts.update(repr(self.playing.front_lu).encode())
        return parts.hexdigest()

    def track_key(self, index: int) -> str:
        """Return what stands for the music and the cues of a track; other tracks don't change it."""
        parts = hashlib.blake2b(self._identity.encode(), digest_size=16)
        parts.update(repr((GUIDE_DB, PULSE_DB)).encode())
        self._add_track(parts, len(self._wholes) + index)
        parts.update(repr(self.plan(index).cues).encode())
        return parts.hexdigest()

    def _add_track(self, parts: hashlib.blake2b, place: int) -> None:
        """Add each passage of a track: where it is, what it says, and each of its notes with its end."""
        timeline = [*self._wholes, *self._timelines][place]
        placed = placed_passages(timeline, self.playing.performed)
        for passage, heard in zip(placed, self._heard[place], strict=True):
            parts.update(repr(passage).encode())
            digests = self.playing.performed(passage.passage.source).digests
            for excerpts in (heard.plain, heard.soft):
                voices = sorted(voice for excerpt in excerpts for voice in excerpt.voices)
                parts.update(b"".join(digests[voice.number] for voice in voices))
                parts.update(repr([voice[1:] for voice in voices]).encode())

    @cached_property
    def _names(self) -> tuple[str, ...]:
        """For each tape what it is kept under: it stands for all that is on it."""
        return tuple(
            hashlib.blake2b(
                f"{self._identity} {tape_take(tape, self.playing.performed(tape.source))!r}".encode(),
                digest_size=16,
            ).hexdigest()
            for tape in self.tapes
        )

    def play(self, number: int) -> Mapping[Layer, NDArray[np.float32]]:
        """Return the layers of a tape, played if they aren't on the shelf; float32 (frames, 2) each."""
        return self._shelf.get(self._names[number], lambda: self._played(self.tapes[number]))

    def _played(self, tape: Tape) -> Mapping[Layer, NDArray[np.float32]]:
        import numpy as np

        stems = self.playing.stems_of(tape_take(tape, self.playing.performed(tape.source)), tape.source)
        layers: dict[Layer, NDArray[np.float32]] = {layer: stems.by_name[layer] for layer in LAYERS}
        fall = (0.5 + 0.5 * np.cos(np.linspace(0.0, np.pi, FADE_FRAMES))).astype(np.float32)[:, None]
        for cut in tape.cuts:
            if cut.fades:
                end = cut.start_frame + cut.length_frames
                for layer in layers.values():
                    layer[end - FADE_FRAMES : end] *= fall
                    layer[end : end + TAIL_FRAMES + self.playing.tail_frames] = 0.0
        return layers

    def read(self, excerpt: Excerpt) -> NDArray[np.float32]:
        """Return the sound of an excerpt, float32 (frames, 2), the room's tail included."""
        cut = self._laid_out[1][excerpt]
        end = cut.start_frame + cut.length_frames + self.playing.tail_frames
        return self.play(cut.tape)[excerpt.layer][cut.start_frame : end]

    def music(
        self, index: int, balance: Balance, layers: Sequence[Layer] = LAYERS, gain_db: float = 0.0
    ) -> Iterator[NDArray[np.float32]]:
        """Yield a track block by block, without cues.

        Parameters
        ----------
        index
            Which track.
        balance
            Its song's.
        layers
            Which layers are heard.
        gain_db
            The song's gain.
        """
        trims_db = {
            manner: {layer: trim_db + gain_db for layer, trim_db in trims.items()}
            for manner, trims in balance.trims_db.items()
        }
        return self._mixed(self.plan(index), trims_db, balance.flat_gain_db, layers)

    def _mixed(
        self,
        plan: TrackPlan,
        trims_db: Mapping[tuple[Piece, bool], Mapping[Layer, float]],
        flat_gain_db: float,
        layers: Sequence[Layer] = LAYERS,
    ) -> Iterator[NDArray[np.float32]]:
        def gain_of(sounding: Sounding) -> float:
            excerpt = sounding.excerpt
            if excerpt.layer not in layers:
                return 0.0
            source = excerpt.source
            gain_db = trims_db.get((source.piece, source.flat), {}).get(excerpt.layer, 0.0)
            gain_db += (flat_gain_db if source.flat else 0.0) + (GUIDE_DB if sounding.soft else 0.0)
            return float(10.0 ** (gain_db / 20.0))

        return mix_blocks(plan, self.read, gain_of, plan.length_frames)

    def balance(self) -> Balance:
        """Measure what all tracks share, in the whole song at full speed as it is heard."""
        trims_db = {
            manner: self._trims_db(place) if manner[0] == "song" else dict.fromkeys(LAYERS, 0.0)
            for place, manner in enumerate(self._manners)
        }
        demo_lufs, peak_dbtp = self._measured(0, trims_db)
        wanted_db = flat_gain_db = 0.0
        if ("song", True) in self._manners:
            flat_lufs, flat_peak_dbtp = self._measured(self._manners.index(("song", True)), trims_db)
            wanted_db = demo_lufs - flat_lufs
            flat_gain_db = min(wanted_db, peak_dbtp + HEADROOM_DB - flat_peak_dbtp)
        return Balance(trims_db, flat_gain_db, wanted_db - flat_gain_db, demo_lufs, peak_dbtp)

    def _trims_db(self, place: int) -> dict[Layer, float]:
        """Measure the trims of one manner of playing."""
        passage = self._wholes[place].passages[0]
        performed = self.playing.performed(passage.source)
        plan = self._plan(place)
        start = plan.passages[0].start_frame - performed.frame(passage.start_beat)
        heard: dict[Layer, list[tuple[float, float]]] = {}
        for layer in LAYERS:
            gestures = chosen_gestures(performed, layer)
            levels = levels_at(
                self._mixed(plan, {}, 0.0, (layer,)),
                [start + placed.onset_frame for placed in gestures],
                plan.length_frames,
            )
            heard[layer] = [
                (float(level), placed.note.mark_db) for level, placed in zip(levels, gestures, strict=True)
            ]
        return layer_trims_db(heard, None if passage.source.flat else self.playing.front_lu)

    def _measured(
        self, place: int, trims_db: Mapping[tuple[Piece, bool], Mapping[Layer, float]]
    ) -> tuple[float, float]:
        """Return a whole piece's loudness in LUFS (0 for silence, which no gain makes louder) and true peak in dBTP."""
        meter = Meter(SAMPLE_RATE_HZ)
        for block in self._mixed(self._plan(place), trims_db, 0.0):
            meter.feed(block)
        loudness_lufs, peak_dbtp = meter.finish()
        return loudness_lufs if math.isfinite(loudness_lufs) else 0.0, peak_dbtp


def _whole(playing: Playing, source: Source) -> TrackTimeline:
    """Return the timeline of a piece played once, at full speed."""
    stretch = whole_stretch(playing.piece(source.piece))
    return TrackTimeline((Passage(source, stretch.start_beat, stretch.end_beat),))
