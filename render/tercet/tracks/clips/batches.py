"""Clips one after the other in a batch: what a synthesiser plays in one go, and where each clip lies in it.

A batch is played as one take of one layer, put in the room as one, and cut up. It always holds the same clips in the
same places for the same tracks, whichever of them are still to be written, so that its samples are the same to the
last bit.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

from tercet.performing import Take, TakeNote
from tercet.song import LAYERS, Layer
from tercet.sound import SAMPLE_RATE_HZ
from tercet.sound.schedule import FADE_S, RELEASE_S, RING_OUT_S
from tercet.tracks.clips.cutting import NATURAL, Clip, Voice
from tercet.tracks.clips.performed import Performed
from tercet.tracks.timelines import Source

__all__ = ["FADE_FRAMES", "TAIL_FRAMES", "Batch", "ClipSlot", "batch_take", "batches_of"]

GRID_FRAMES = 64
"""Clips begin on multiples of this, as far into a batch as into their piece but for whole steps: so that notes fall
on the same frames of the synthesiser's own grid."""

LEAD_FRAMES = 2_400 // GRID_FRAMES * GRID_FRAMES
"""Silence before a clip's first note, 49 ms: some fonts speak late and are struck sooner."""

TAIL_FRAMES = round((RELEASE_S + 0.02) * SAMPLE_RATE_HZ)
"""After its last end a clip still sounds this long."""

CHOP_TAIL_FRAMES = round(0.3 * SAMPLE_RATE_HZ)
"""A chop dies away by itself in this time."""

RING_FRAMES = round(RING_OUT_S * SAMPLE_RATE_HZ)
FADE_FRAMES = round(FADE_S * SAMPLE_RATE_HZ)

BATCH_FRAMES = 60 * SAMPLE_RATE_HZ
"""A batch that is longer takes no further clip: 23 MB of sound."""


@dataclass(frozen=True, slots=True)
class ClipSlot:
    """Where a clip lies.

    Parameters
    ----------
    batch
        Number of its batch.
    start_frame, length_frames
        In the batch, the room's tail not included.
    piece_frame
        The frame of its piece that `start_frame` stands for.
    fades
        Whether its end rings out, and has to be faded.
    """

    batch: int
    start_frame: int
    length_frames: int
    piece_frame: int
    fades: bool


@dataclass(frozen=True, slots=True)
class Batch:
    """Clips of one layer of one playing, in order, and where each lies."""

    source: Source
    layer: Layer
    clips: tuple[Clip, ...]
    slots: tuple[ClipSlot, ...]
    length_frames: int


def batches_of(
    clips: Iterable[Clip], performed: Callable[[Source], Performed], tail_frames: int
) -> tuple[tuple[Batch, ...], Mapping[Clip, ClipSlot]]:
    """Return batches that hold all clips, and where each lies.

    Parameters
    ----------
    clips
        In any order; each once.
    performed
        Gives the playing of a source.
    tail_frames
        How long the room goes on after a sound.
    """
    by_player: dict[tuple[Source, Layer], list[Clip]] = defaultdict(list)
    for clip in clips:
        by_player[clip.source, clip.layer].append(clip)
    sources = sorted({source for source, _ in by_player}, key=repr)
    batches: list[Batch] = []
    places: dict[Clip, ClipSlot] = {}
    for source, layer in product(sources, LAYERS):
        ordered = sorted(by_player[source, layer], key=lambda each: (each.part, each.voices))
        for batch in _laid_out(source, layer, ordered, performed(source), tail_frames, len(batches)):
            batches.append(batch)
            places.update(zip(batch.clips, batch.slots, strict=True))
    return tuple(batches), places


def _laid_out(
    source: Source,
    layer: Layer,
    ordered: Sequence[Clip],
    performed: Performed,
    tail_frames: int,
    number: int,
) -> Iterator[Batch]:
    """Yield the batches of one layer of a source; `number` is the first one's."""
    clips: list[Clip] = []
    slots: list[ClipSlot] = []
    frame = 0
    for clip in ordered:
        if frame >= BATCH_FRAMES:
            yield Batch(source, layer, tuple(clips), tuple(slots), frame)
            clips, slots, frame, number = [], [], 0, number + 1
        slot = _slot(clip, performed, number, frame)
        clips.append(clip)
        slots.append(slot)
        released = TAIL_FRAMES if slot.fades else 0
        frame = _on_grid(slot.start_frame + slot.length_frames + released + tail_frames + GRID_FRAMES)
    if clips:
        yield Batch(source, layer, tuple(clips), tuple(slots), frame)


def _slot(clip: Clip, performed: Performed, batch: int, frame: int) -> ClipSlot:
    """Return where a clip lies that begins at a frame of a batch."""
    first = min(performed.notes[voice.number].onset_frame for voice in clip.voices)
    piece_frame = _on_grid(first - LEAD_FRAMES - GRID_FRAMES)
    last = max(_last_frame(performed, voice) for voice in clip.voices)
    fades = any(voice.rings_out for voice in clip.voices)
    return ClipSlot(batch, frame, last - piece_frame, piece_frame, fades)


def _last_frame(performed: Performed, voice: Voice) -> int:
    """Return where a voice has died away."""
    placed = performed.notes[voice.number]
    if voice.rings_out:
        return voice.end_frame + RING_FRAMES
    if placed.note.action == "chop":
        return placed.onset_frame + CHOP_TAIL_FRAMES
    return (placed.still_frame if voice.end_frame == NATURAL else voice.end_frame) + TAIL_FRAMES


def _on_grid(frame: int) -> int:
    return -(-frame // GRID_FRAMES) * GRID_FRAMES


def batch_take(batch: Batch, performed: Performed) -> Take:
    """Return a batch as a take, to be played by a synthesiser."""
    notes = tuple(
        _moved(performed, voice, slot)
        for clip, slot in zip(batch.clips, batch.slots, strict=True)
        for voice in clip.voices
    )
    ordered = tuple(sorted(notes, key=lambda note: (note.onset_s, note.string)))
    return Take(ordered, (), (), (), batch.length_frames / SAMPLE_RATE_HZ)


def _moved(performed: Performed, voice: Voice, slot: ClipSlot) -> TakeNote:
    """Return a note in its batch, with its voice's end; one that rings out is let go when its clip is over."""
    placed = performed.notes[voice.number]
    end_frame, free = placed.end_frame, placed.note.free
    if voice.rings_out:
        end_frame = slot.piece_frame + slot.length_frames
    elif voice.end_frame != NATURAL:
        end_frame = min(end_frame, voice.end_frame)
        left_s = (voice.end_frame - placed.onset_frame) / SAMPLE_RATE_HZ
        free = tuple(replace(string, length_s=min(string.length_s, left_s)) for string in free)
    shift = slot.start_frame - slot.piece_frame
    return replace(
        placed.note,
        onset_s=(placed.onset_frame + shift) / SAMPLE_RATE_HZ,
        length_s=max(end_frame - placed.onset_frame, 1) / SAMPLE_RATE_HZ,
        free=free,
    )
