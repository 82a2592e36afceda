"""Tracks of one song that are made together: what they share is played once, and all have one gain."""

from __future__ import annotations

import hashlib
import math
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from tercet.song import LAYERS, Layer
from tercet.sound import SAMPLE_RATE_HZ
from tercet.sound.k_weighting import k_weighted_levels_lufs
from tercet.sound.loudness import (
    AROUND_FRAMES,
    Meter,
    MixMeter,
    block_heights,
    decibels,
    loudness_lufs,
    mixed,
    step_frames_of,
)
from tercet.tracks.balance import (
    Balance,
    Variant,
    WholeHeard,
    balance_of,
    chosen_gestures,
    gesture_spans,
    layer_trims_db,
)
from tercet.tracks.clips.batch_cache import Batches
from tercet.tracks.clips.batches import FADE_FRAMES, TAIL_FRAMES, Batch, ClipSlot, batch_take, batches_of
from tercet.tracks.clips.cutting import Clip, PassageClips, clips_of
from tercet.tracks.clips.mixing import Reader, mix_blocks, mix_spans
from tercet.tracks.clips.plan import Sounding, TrackPlan, plan_of
from tercet.tracks.cues import PULSE_DB
from tercet.tracks.easing import Stretch, eased, easing_of
from tercet.tracks.layer_levels import KnownMeter, LayerLevels, head_frames_of
from tercet.tracks.playing import Playing
from tercet.tracks.timelines import ALL, NOTHING, Passage, Source, TrackTimeline, whole_range

__all__ = ["GUIDE_DB", "VERSION", "Recording"]

GUIDE_DB = -14.0
"""How much softer a guide is than what it guides: it can be followed, and doesn't play for the student."""

GESTURES_AT_ONCE = 16
"""Gestures whose levels are measured together: 5 MB of sound."""

VERSION = 4
"""Raised whenever this package makes other samples from the same takes."""


class Recording:
    """Tracks of one song that are made together.

    Parameters
    ----------
    playing
        The song and its sound.
    timelines
        Of the tracks; `plan` and `blocks` count them from 0.
    cache
        Where what was played is kept.
    variants
        The variants, (piece, flat), that can be heard whole; those that the tracks need without it. None of them where
        the balance is known.

    Attributes
    ----------
    variants
        As above.
    """

    def __init__(
        self,
        playing: Playing,
        timelines: Sequence[TrackTimeline],
        cache: Batches,
        *,
        variants: Iterable[Variant] | None = None,
    ) -> None:
        self.playing = playing
        self._timelines = tuple(timelines)
        self._cache = cache
        self.variants = self.needed_variants if variants is None else tuple(variants)
        self._plans: dict[int, TrackPlan] = {}
        self._wholes = tuple(_whole(playing, Source(piece, flat=flat)) for piece, flat in self.variants)

    def near(self) -> Recording:
        """Return the recording as played near the bars of its tracks alone, where that is less; without its `variants`.

        It sounds the same; where the whole song has been played already, it is this one.
        """
        passages = [passage for each in self._timelines for passage in each.passages]
        if any(passage.source.piece != "song" for passage in passages):
            return self
        start_beat = min(passage.start_beat for passage in passages)
        end_beat = max(passage.end_beat for passage in passages)
        playing = self.playing.near((start_beat, end_beat))
        return self if playing is None else Recording(playing, self._timelines, self._cache, variants=())

    @property
    def needed_variants(self) -> tuple[Variant, ...]:
        """What the tracks are balanced by: the song as marked, and played flat where a track is."""
        sources = [passage.source for each in self._timelines for passage in each.passages]
        flat = any(source.flat for source in sources if source.piece == "song")
        return (("song", False), ("song", True)) if flat else (("song", False),)

    @cached_property
    def _heard(self) -> tuple[tuple[PassageClips, ...], ...]:
        return clips_of([*self._wholes, *self._timelines], self.playing.performed)

    @cached_property
    def _laid_out(self) -> tuple[tuple[Batch, ...], Mapping[Clip, ClipSlot]]:
        clips = dict.fromkeys(
            clip for track in self._heard for heard in track for clip in (*heard.plain, *heard.soft)
        )
        return batches_of(clips, self.playing.performed, self.playing.tail_frames)

    @property
    def batches(self) -> tuple[Batch, ...]:
        """What has to be played, in pieces of a minute or so."""
        return self._laid_out[0]

    def shared_batches(self, indices: Iterable[int]) -> tuple[int, ...]:
        """Return the numbers of the batches that the balance is made of, or some tracks but not one track alone."""
        places = [*range(len(self._wholes)), *(len(self._wholes) + index for index in indices)]
        needed = set().union(*map(self._batches_of, places))
        return tuple(sorted(number for number in needed if self._users[number] > 1))

    def own_batches(self, index: int) -> tuple[int, ...]:
        """Return the numbers of the batches that nothing but one track is made of."""
        return tuple(sorted(number for number in self.track_batches(index) if self._users[number] == 1))

    def track_batches(self, index: int) -> frozenset[int]:
        """Return the numbers of the batches that a track is made of."""
        return self._batches_of(len(self._wholes) + index)

    @cached_property
    def _users(self) -> Counter[int]:
        """For each batch how many tracks need it; a whole, which needs batches before any track does, counts as two."""
        wholes = range(len(self._wholes))
        return Counter(
            batch for place in (*wholes, *range(len(self._heard))) for batch in self._batches_of(place)
        )

    def _batches_of(self, place: int) -> frozenset[int]:
        slots = self._laid_out[1]
        return frozenset(
            slots[clip].batch for heard in self._heard[place] for clip in (*heard.plain, *heard.soft)
        )

    def let_go(self, batches: Iterable[int]) -> None:
        """Forget batches that nothing more will be made of."""
        for number in batches:
            self._cache.forget(self._names[number])

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
        own = sum(self.batches[number].length_frames for number in self.own_batches(index))
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
            performed = self.playing.performed(passage.passage.source)
            for clips in (heard.plain, heard.soft):
                voices = sorted(voice for clip in clips for voice in clip.voices)
                parts.update(b"".join(performed.digest(voice.number) for voice in voices))
                parts.update(repr([voice[1:] for voice in voices]).encode())

    @cached_property
    def _names(self) -> tuple[str, ...]:
        """For each batch what it is kept under: it stands for all that is on it."""
        return tuple(map(self._name, self.batches))

    def _name(self, batch: Batch) -> str:
        parts = hashlib.blake2b(f"{self._identity} {batch.layer} {batch.slots!r}".encode(), digest_size=16)
        performed = self.playing.performed(batch.source)
        for clip in batch.clips:
            parts.update(b"".join(performed.digest(voice.number) for voice in clip.voices))
            parts.update(repr([voice[1:] for voice in clip.voices]).encode())
        return parts.hexdigest()

    def play(self, number: int) -> NDArray[np.float32]:
        """Return the sound of a batch, played if it isn't kept; float32 (frames, 2)."""
        return self._cache.get(
            self._names[number],
            lambda: self._played(self.batches[number]),
            for_others=self._users[number] > 1,
        )

    def _played(self, batch: Batch) -> NDArray[np.float32]:
        take = batch_take(batch, self.playing.performed(batch.source))
        sound = self.playing.stems_of(take, batch.source, (batch.layer,)).by_name[batch.layer]
        fall = (0.5 + 0.5 * np.cos(np.linspace(0.0, np.pi, FADE_FRAMES))).astype(np.float32)[:, None]
        for slot in batch.slots:
            if slot.fades:
                end = slot.start_frame + slot.length_frames
                sound[end - FADE_FRAMES : end] *= fall
                sound[end : end + TAIL_FRAMES + self.playing.tail_frames] = 0.0
        return sound

    def read(self, clip: Clip) -> NDArray[np.float32]:
        """Return the sound of a clip, float32 (frames, 2), the room's tail included."""
        slot = self._laid_out[1][clip]
        end = slot.start_frame + slot.length_frames + self.playing.tail_frames
        return self.play(slot.batch)[slot.start_frame : end]

    def music(
        self,
        index: int,
        balance: Balance,
        layers: Sequence[Layer] = LAYERS,
        gain_db: float = 0.0,
        drop_after: Collection[int] = (),
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
        drop_after
            Numbers of batches that nothing is made of after this; each is forgotten when it has been read for the last
            time.
        """
        plan = self.plan(index)
        gain_of = self._gains(balance.trims_db, balance.flat_gain_db, layers, gain_db)
        blocks = mix_blocks(plan, self._reader(plan, layers, drop_after), gain_of, plan.length_frames)
        return eased(blocks, self._stretches(plan, balance))

    def eased_db(self, index: int, balance: Balance) -> float:
        """Return by how much the highest peaks of a track are lowered."""
        easings = [each.easing for each in self._stretches(self.plan(index), balance) if each.easing]
        return max((float(each.down_db.max()) for each in easings), default=0.0)

    def _stretches(self, plan: TrackPlan, balance: Balance) -> list[Stretch]:
        """Return where each passage of a track, with what comes before it, lies in the song, and what lowers it."""
        found = []
        for placed in plan.passages:
            source = placed.passage.source
            easing = balance.flat_easing if source.flat else balance.easing
            found.append(
                Stretch(
                    placed.count_frame,
                    placed.zero_frame(self.playing.performed(source)),
                    float(source.speed),
                    easing if source.piece == "song" else None,
                )
            )
        return found

    def _reader(self, plan: TrackPlan, layers: Sequence[Layer], drop_after: Collection[int]) -> Reader:
        """Return `read` that forgets batches after their last clip in a plan."""
        if not drop_after:
            return self.read
        slots = self._laid_out[1]
        clips = [sounding.clip for sounding in plan.soundings if sounding.clip.layer in layers]
        left = Counter(slots[clip].batch for clip in clips)

        def read(clip: Clip) -> NDArray[np.float32]:
            sound = self.read(clip)
            batch = slots[clip].batch
            left[batch] -= 1
            if not left[batch] and batch in drop_after:
                self._cache.forget(self._names[batch])
            return sound

        return read

    def _gains(
        self,
        trims_db: Mapping[Variant, Mapping[Layer, float]],
        flat_gain_db: float = 0.0,
        layers: Sequence[Layer] = LAYERS,
        gain_db: float = 0.0,
    ) -> Callable[[Sounding], float]:
        """Return what gives a clip its gain where it sounds."""

        def gain_of(sounding: Sounding) -> float:
            clip = sounding.clip
            if clip.layer not in layers:
                return 0.0
            source = clip.source
            its_db = trims_db.get((source.piece, source.flat), {}).get(clip.layer, 0.0) + gain_db
            its_db += (flat_gain_db if source.flat else 0.0) + (GUIDE_DB if sounding.soft else 0.0)
            return float(10.0 ** (its_db / 20.0))

        return gain_of

    def balance(self) -> Balance:
        """Measure what all tracks share, in the whole song at full speed as it is heard."""
        return balance_of({variant: self.heard_whole(variant) for variant in self.variants})

    def heard_whole(self, variant: Variant) -> WholeHeard:
        """Measure the whole song at full speed, played in one of the `variants`."""
        place = self.variants.index(variant)
        trims_db = self._trims_db(place)
        layers = self.playing.arrangement.song.layers
        mixes = _mixes(len(layers))
        flat = variant[1]
        split_frames = self._split_frames(variant)
        meter = MixMeter(SAMPLE_RATE_HZ, ((0,),) if flat else mixes, split_frames)
        heights = []
        for blocks in zip(*(self._layer_blocks(place, layer, trims_db) for layer in layers), strict=True):
            meter.feed(*((mixed(blocks, mixes[0]),) if flat else blocks))
            if self.playing.loud or flat:
                heights.append(np.max([block_heights(mixed(blocks, mix)) for mix in mixes], axis=0))
        products = meter.finish_products()
        levels = LayerLevels(
            (layers,) if flat else tuple((layer,) for layer in layers),
            split_frames,
            products.astype(np.float32),
            dict(zip(((0,),) if flat else mixes, meter.peaks, strict=True)),
        )
        lufs = loudness_lufs(products.sum(axis=(1, 2, 3)), self._plan(place).length_frames, SAMPLE_RATE_HZ)
        peak_dbtp = decibels(max(peak.height for peak in meter.peaks))
        heard = WholeHeard(trims_db, lufs if math.isfinite(lufs) else 0.0, peak_dbtp, levels=levels)
        if not heights:
            return heard
        start_frame = self._plan(place).passages[0].start_frame
        return replace(heard, easing=easing_of(np.concatenate(heights), start_frame, peak_dbtp))

    def _split_frames(self, variant: Variant) -> int:
        """Return where steps of the whole have to be split for the sake of the tracks that are mixes of its layers."""
        places = (self._mix_of_whole(index) for index in range(len(self._timelines)))
        shifts = [place[2] for place in places if place is not None and place[0] == variant]
        return -shifts[0] % step_frames_of(SAMPLE_RATE_HZ) if shifts else 0

    def _mix_of_whole(self, index: int) -> tuple[Variant, tuple[Layer, ...], int] | None:
        """Return which whole a track is a mix of, of which layers, and how many frames later; None for others."""
        plan = self.plan(index)
        source = plan.passages[0].passage.source
        variant = (source.piece, source.flat)
        if len(plan.passages) > 1 or variant not in self.variants:
            return None
        whole = self._plan(self.variants.index(variant))
        layers = tuple(dict.fromkeys(sounding.clip.layer for sounding in plan.soundings))
        shift = plan.passages[0].start_frame - whole.passages[0].start_frame
        found = {(each.start_frame - shift, each.clip, each.soft) for each in plan.soundings}
        wanted = {
            (each.start_frame, each.clip, False) for each in whole.soundings if each.clip.layer in layers
        }
        return (variant, layers, shift) if found == wanted else None

    def meter(self, index: int, balance: Balance, gain_db: float) -> Meter | KnownMeter:
        """Return what measures a track under a gain: as little of it as isn't known."""
        plan = self.plan(index)
        place = self._mix_of_whole(index)
        levels = None if place is None else balance.levels.get(place[0])
        if place is None or levels is None or self.eased_db(index, balance):
            return Meter(SAMPLE_RATE_HZ)
        variant, layers, shift_frames = place
        mix = levels.mix(layers)
        head_frames = head_frames_of(plan.cues)
        if mix is None or not levels.fits(shift_frames) or 2 * head_frames > plan.length_frames:
            return Meter(SAMPLE_RATE_HZ)
        if levels.peaks[mix].frame + shift_frames < head_frames + AROUND_FRAMES:
            return Meter(SAMPLE_RATE_HZ)
        gain_db += balance.flat_gain_db if variant[1] else 0.0
        return KnownMeter(levels, mix, shift_frames, plan.length_frames, head_frames, gain_db)

    def _layer_blocks(
        self, place: int, layer: Layer, trims_db: Mapping[Layer, float]
    ) -> Iterator[NDArray[np.float32]]:
        """Yield one layer of a whole block by block, with its trim."""
        plan = self._plan(place)
        gain_of = self._gains({self.variants[place]: trims_db}, layers=(layer,))
        return mix_blocks(plan, self.read, gain_of, plan.length_frames)

    def _trims_db(self, place: int) -> dict[Layer, float]:
        """Measure the trims of one variant."""
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


def _mixes(layers: int) -> tuple[tuple[int, ...], ...]:
    """Return the mixes that a song is heard in: all of its layers, each alone, and all but each."""
    whole = tuple(range(layers))
    alone, left_out = (
        [(number,) for number in whole],
        [(*whole[:each], *whole[each + 1 :]) for each in whole],
    )
    return tuple(mix for mix in dict.fromkeys([whole, *alone, *left_out]) if mix)


def _whole(playing: Playing, source: Source) -> TrackTimeline:
    """Return the timeline of a piece played once, at full speed."""
    beats = whole_range(playing.piece(source.piece))
    return TrackTimeline((Passage(source, beats.start_beat, beats.end_beat),))
