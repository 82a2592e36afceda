"""Tracks of one song that are made together: what they share is played once, and all have one gain."""

from __future__ import annotations

import hashlib
import math
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from itertools import islice
from typing import TYPE_CHECKING

from tercet.song import LAYERS
from tercet.sound import SAMPLE_RATE_HZ
from tercet.sound.k_weighting import k_weighted_levels_lufs
from tercet.tracks.balance import WholeHeard, balance_of, chosen_gestures, gesture_spans, layer_trims_db
from tercet.tracks.cues import PULSE_DB
from tercet.tracks.excerpts import excerpts_of
from tercet.tracks.meter import Meter
from tercet.tracks.mixing import mix_blocks, mix_spans
from tercet.tracks.phrases import whole_stretch
from tercet.tracks.plan import plan_of
from tercet.tracks.tapes import FADE_FRAMES, TAIL_FRAMES, tape_take, tapes_of
from tercet.tracks.timelines import ALL, NOTHING, Passage, Source, TrackTimeline

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from tercet.song import Layer
    from tercet.tracks.balance import Balance
    from tercet.tracks.excerpts import Excerpt, Heard
    from tercet.tracks.mixing import Reader
    from tercet.tracks.plan import Sounding, TrackPlan
    from tercet.tracks.playing import Playing
    from tercet.tracks.tape_shelf import TapeShelf
    from tercet.tracks.tapes import Cut, Tape
    from tercet.tracks.timelines import Piece

__all__ = ["GUIDE_DB", "Recording"]

GUIDE_DB = -14.0
"""How much softer a guide is than what it guides: it can be followed, and doesn't play for the student."""

GESTURES_AT_ONCE = 16
"""Gestures whose levels are measured together: 5 MB of sound."""

VERSION = 2
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

    Attributes
    ----------
    manners
        The manners of playing, (piece, flat), that the balance is measured in: the song's, and flat where a track is.
    """

    def __init__(self, playing: Playing, timelines: Sequence[TrackTimeline], shelf: TapeShelf) -> None:
        self.playing = playing
        self._timelines = tuple(timelines)
        self._shelf = shelf
        sources = [passage.source for each in timelines for passage in each.passages]
        flat = any(source.flat for source in sources if source.piece == "song")
        self.manners: tuple[tuple[Piece, bool], ...] = (("song", False), *([("song", True)] if flat else ()))
        self._plans: dict[int, TrackPlan] = {}
        self._wholes = tuple(_whole(playing, Source(piece, flat=flat)) for piece, flat in self.manners)

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
        """What has to be played, in pieces of a minute or so."""
        return self._laid_out[0]

    def shared_tapes(self, indices: Iterable[int]) -> tuple[int, ...]:
        """Return the numbers of the tapes that the balance is made of, or some tracks but not one track alone."""
        places = [*range(len(self._wholes)), *(len(self._wholes) + index for index in indices)]
        needed = set().union(*map(self._tapes_of, places))
        return tuple(sorted(number for number in needed if self._users[number] > 1))

    def own_tapes(self, index: int) -> tuple[int, ...]:
        """Return the numbers of the tapes that nothing but one track is made of."""
        return tuple(sorted(number for number in self.track_tapes(index) if self._users[number] == 1))

    def track_tapes(self, index: int) -> frozenset[int]:
        """Return the numbers of the tapes that a track is made of."""
        return self._tapes_of(len(self._wholes) + index)

    @cached_property
    def _users(self) -> Counter[int]:
        """For each tape how many tracks need it; a whole, which needs tapes before any track does, counts as two."""
        wholes = range(len(self._wholes))
        return Counter(
            tape for place in (*wholes, *range(len(self._heard))) for tape in self._tapes_of(place)
        )

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
        if place not in self._plans:
            timeline = [*self._wholes, *self._timelines][place]
            self._plans[place] = plan_of(
                timeline,
                self._heard[place],
                self.playing.performed,
                self._laid_out[1],
                self.playing.tail_frames,
            )
        return self._plans[place]

    def cost_frames(self, index: int) -> int:
        """Return how much work a track is: its length, and what is played for it alone."""
        own = sum(self.tapes[number].length_frames for number in self.own_tapes(index))
        return self.plan(index).length_frames + own

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
        for passage, heard in zip(self._plan(place).passages, self._heard[place], strict=True):
            parts.update(repr(passage).encode())
            digests = self.playing.performed(passage.passage.source).digests
            for excerpts in (heard.plain, heard.soft):
                voices = sorted(voice for excerpt in excerpts for voice in excerpt.voices)
                parts.update(b"".join(digests[voice.number] for voice in voices))
                parts.update(repr([voice[1:] for voice in voices]).encode())

    @cached_property
    def _names(self) -> tuple[str, ...]:
        """For each tape what it is kept under: it stands for all that is on it."""
        return tuple(map(self._name, self.tapes))

    def _name(self, tape: Tape) -> str:
        parts = hashlib.blake2b(f"{self._identity} {tape.layer} {tape.cuts!r}".encode(), digest_size=16)
        digests = self.playing.performed(tape.source).digests
        for excerpt in tape.excerpts:
            parts.update(b"".join(digests[voice.number] for voice in excerpt.voices))
            parts.update(repr([voice[1:] for voice in excerpt.voices]).encode())
        return parts.hexdigest()

    def play(self, number: int) -> NDArray[np.float32]:
        """Return the sound of a tape, played if it isn't on the shelf; float32 (frames, 2)."""
        return self._shelf.get(
            self._names[number],
            lambda: self._played(self.tapes[number]),
            for_others=self._users[number] > 1,
        )

    def _played(self, tape: Tape) -> NDArray[np.float32]:
        import numpy as np

        take = tape_take(tape, self.playing.performed(tape.source))
        sound = self.playing.stems_of(take, tape.source, (tape.layer,)).by_name[tape.layer]
        fall = (0.5 + 0.5 * np.cos(np.linspace(0.0, np.pi, FADE_FRAMES))).astype(np.float32)[:, None]
        for cut in tape.cuts:
            if cut.fades:
                end = cut.start_frame + cut.length_frames
                sound[end - FADE_FRAMES : end] *= fall
                sound[end : end + TAIL_FRAMES + self.playing.tail_frames] = 0.0
        return sound

    def read(self, excerpt: Excerpt) -> NDArray[np.float32]:
        """Return the sound of an excerpt, float32 (frames, 2), the room's tail included."""
        cut = self._laid_out[1][excerpt]
        end = cut.start_frame + cut.length_frames + self.playing.tail_frames
        return self.play(cut.tape)[cut.start_frame : end]

    def music(
        self,
        index: int,
        balance: Balance,
        layers: Sequence[Layer] = LAYERS,
        gain_db: float = 0.0,
        spent: Collection[int] = (),
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
        spent
            Numbers of tapes that nothing is made of after this; each is forgotten when it has been read for the last
            time.
        """
        plan = self.plan(index)
        gain_of = self._gains(balance.trims_db, balance.flat_gain_db, layers, gain_db)
        return mix_blocks(plan, self._reader(plan, layers, spent), gain_of, plan.length_frames)

    def _reader(self, plan: TrackPlan, layers: Sequence[Layer], spent: Collection[int]) -> Reader:
        """Return `read` that forgets tapes after their last excerpt in a plan."""
        if not spent:
            return self.read
        cuts = self._laid_out[1]
        excerpts = [sounding.excerpt for sounding in plan.soundings if sounding.excerpt.layer in layers]
        left = Counter(cuts[excerpt].tape for excerpt in excerpts)

        def read(excerpt: Excerpt) -> NDArray[np.float32]:
            sound = self.read(excerpt)
            tape = cuts[excerpt].tape
            left[tape] -= 1
            if not left[tape] and tape in spent:
                self._shelf.forget(self._names[tape])
            return sound

        return read

    def _gains(
        self,
        trims_db: Mapping[tuple[Piece, bool], Mapping[Layer, float]],
        flat_gain_db: float = 0.0,
        layers: Sequence[Layer] = LAYERS,
        gain_db: float = 0.0,
    ) -> Callable[[Sounding], float]:
        """Return what gives an excerpt its gain where it sounds."""

        def gain_of(sounding: Sounding) -> float:
            excerpt = sounding.excerpt
            if excerpt.layer not in layers:
                return 0.0
            source = excerpt.source
            its_db = trims_db.get((source.piece, source.flat), {}).get(excerpt.layer, 0.0) + gain_db
            its_db += (flat_gain_db if source.flat else 0.0) + (GUIDE_DB if sounding.soft else 0.0)
            return float(10.0 ** (its_db / 20.0))

        return gain_of

    def balance(self) -> Balance:
        """Measure what all tracks share, in the whole song at full speed as it is heard."""
        return balance_of({manner: self.heard_whole(manner) for manner in self.manners})

    def heard_whole(self, manner: tuple[Piece, bool]) -> WholeHeard:
        """Measure the whole song at full speed, played in one of the `manners`."""
        place = self.manners.index(manner)
        trims_db = self._trims_db(place)
        plan = self._plan(place)
        meter = Meter(SAMPLE_RATE_HZ)
        for block in mix_blocks(plan, self.read, self._gains({manner: trims_db}), plan.length_frames):
            meter.feed(block)
        loudness_lufs, peak_dbtp = meter.finish()
        return WholeHeard(trims_db, loudness_lufs if math.isfinite(loudness_lufs) else 0.0, peak_dbtp)

    def _trims_db(self, place: int) -> dict[Layer, float]:
        """Measure the trims of one manner of playing."""
        import numpy as np

        passage = self._wholes[place].passages[0]
        performed = self.playing.performed(passage.source)
        plan = self._plan(place)
        start = plan.passages[0].start_frame
        heard: dict[Layer, list[tuple[float, float]]] = {}
        for layer in LAYERS:
            gestures = chosen_gestures(performed, layer)
            spans = gesture_spans((start + placed.onset_frame for placed in gestures), plan.length_frames)
            sounds = mix_spans(plan, self.read, self._gains({}, layers=(layer,)), spans)
            levels: list[float] = []
            while some := list(islice(sounds, GESTURES_AT_ONCE)):
                levels += k_weighted_levels_lufs(np.stack(some), SAMPLE_RATE_HZ).tolist()
            marks_db = [placed.note.mark_db for placed in gestures]
            heard[layer] = list(zip(levels, marks_db, strict=True))
        return layer_trims_db(heard, None if passage.source.flat else self.playing.front_lu)


def _whole(playing: Playing, source: Source) -> TrackTimeline:
    """Return the timeline of a piece played once, at full speed."""
    stretch = whole_stretch(playing.piece(source.piece))
    return TrackTimeline((Passage(source, stretch.start_beat, stretch.end_beat),))
