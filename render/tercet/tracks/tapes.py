"""Excerpts one after the other on a tape: what a synthesiser plays in one go, and where each excerpt lies on it.

A tape is played as one take of one layer, put in the room as one, and cut. It always holds the same excerpts in the
same places for the same tracks, whichever of them are still to be written, so that its samples are the same to the
last bit.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

from tercet.performing import Take
from tercet.song import LAYERS
from tercet.sound import SAMPLE_RATE_HZ
from tercet.sound.schedule import FADE_S, RELEASE_S, RING_OUT_S
from tercet.tracks.excerpts import NATURAL, Voice

if TYPE_CHECKING:
    from tercet.performing import TakeNote
    from tercet.song import Layer
    from tercet.tracks.excerpts import Excerpt
    from tercet.tracks.performed import Performed
    from tercet.tracks.timelines import Source

__all__ = ["FADE_FRAMES", "TAIL_FRAMES", "Cut", "Tape", "tape_take", "tapes_of"]

GRID_FRAMES = 64
"""Excerpts begin on multiples of this, as far into a tape as into their piece but for whole steps: so that notes fall
on the same frames of the synthesiser's own grid."""

LEAD_FRAMES = 2_400 // GRID_FRAMES * GRID_FRAMES
"""Silence before an excerpt's first note, 49 ms: some fonts speak late and are struck sooner."""

TAIL_FRAMES = round((RELEASE_S + 0.02) * SAMPLE_RATE_HZ)
"""After its last end an excerpt still sounds this long."""

CHOP_TAIL_FRAMES = round(0.3 * SAMPLE_RATE_HZ)
"""A chop dies away by itself in this time."""

RING_FRAMES = round(RING_OUT_S * SAMPLE_RATE_HZ)
FADE_FRAMES = round(FADE_S * SAMPLE_RATE_HZ)

TAPE_FRAMES = 60 * SAMPLE_RATE_HZ
"""A tape that is longer takes no further excerpt: 23 MB of sound."""


@dataclass(frozen=True, slots=True)
class Cut:
    """Where an excerpt lies.

    Parameters
    ----------
    tape
        Number of its tape.
    start_frame, length_frames
        On the tape, the room's tail not included.
    piece_frame
        The frame of its piece that `start_frame` stands for.
    fades
        Whether its end rings out, and has to be faded.
    """

    tape: int
    start_frame: int
    length_frames: int
    piece_frame: int
    fades: bool


@dataclass(frozen=True, slots=True)
class Tape:
    """Excerpts of one layer of one playing, in order, and where each lies."""

    source: Source
    layer: Layer
    excerpts: tuple[Excerpt, ...]
    cuts: tuple[Cut, ...]
    length_frames: int


def tapes_of(
    excerpts: Iterable[Excerpt], performed: Callable[[Source], Performed], tail_frames: int
) -> tuple[tuple[Tape, ...], Mapping[Excerpt, Cut]]:
    """Return tapes that hold all excerpts, and where each lies.

    Parameters
    ----------
    excerpts
        In any order; each once.
    performed
        Gives the playing of a source.
    tail_frames
        How long the room goes on after a sound.
    """
    by_player: dict[tuple[Source, Layer], list[Excerpt]] = defaultdict(list)
    for excerpt in excerpts:
        by_player[excerpt.source, excerpt.layer].append(excerpt)
    sources = sorted({source for source, _ in by_player}, key=repr)
    tapes: list[Tape] = []
    places: dict[Excerpt, Cut] = {}
    for source, layer in product(sources, LAYERS):
        ordered = sorted(by_player[source, layer], key=lambda each: (each.part, each.voices))
        for tape in _laid_out(source, layer, ordered, performed(source), tail_frames, len(tapes)):
            tapes.append(tape)
            places.update(zip(tape.excerpts, tape.cuts, strict=True))
    return tuple(tapes), places


def _laid_out(
    source: Source,
    layer: Layer,
    ordered: Sequence[Excerpt],
    performed: Performed,
    tail_frames: int,
    number: int,
) -> Iterator[Tape]:
    """Yield the tapes of one layer of a source; `number` is the first one's."""
    excerpts: list[Excerpt] = []
    cuts: list[Cut] = []
    frame = 0
    for excerpt in ordered:
        if frame >= TAPE_FRAMES:
            yield Tape(source, layer, tuple(excerpts), tuple(cuts), frame)
            excerpts, cuts, frame, number = [], [], 0, number + 1
        cut = _cut(excerpt, performed, number, frame)
        excerpts.append(excerpt)
        cuts.append(cut)
        released = TAIL_FRAMES if cut.fades else 0
        frame = _on_grid(cut.start_frame + cut.length_frames + released + tail_frames + GRID_FRAMES)
    if excerpts:
        yield Tape(source, layer, tuple(excerpts), tuple(cuts), frame)


def _cut(excerpt: Excerpt, performed: Performed, tape: int, frame: int) -> Cut:
    """Return where an excerpt lies that begins at a frame of a tape."""
    first = min(performed.notes[voice.number].onset_frame for voice in excerpt.voices)
    piece_frame = _on_grid(first - LEAD_FRAMES - GRID_FRAMES)
    last = max(_last_frame(performed, voice) for voice in excerpt.voices)
    fades = any(voice.rings_out for voice in excerpt.voices)
    return Cut(tape, frame, last - piece_frame, piece_frame, fades)


def _last_frame(performed: Performed, voice: Voice) -> int:
    """Return where a voice has died away."""
    placed = performed.notes[voice.number]
    if voice.rings_out:
        return voice.end_frame + RING_FRAMES
    if placed.note.action == "chop":
        return placed.onset_frame + CHOP_TAIL_FRAMES
    return (placed.end_frame if voice.end_frame == NATURAL else voice.end_frame) + TAIL_FRAMES


def _on_grid(frame: int) -> int:
    return -(-frame // GRID_FRAMES) * GRID_FRAMES


def tape_take(tape: Tape, performed: Performed) -> Take:
    """Return a tape as a take, to be played by a synthesiser."""
    notes = tuple(
        _moved(performed, voice, cut)
        for excerpt, cut in zip(tape.excerpts, tape.cuts, strict=True)
        for voice in excerpt.voices
    )
    ordered = tuple(sorted(notes, key=lambda note: (note.onset_s, note.string)))
    return Take(ordered, (), (), (), tape.length_frames / SAMPLE_RATE_HZ)


def _moved(performed: Performed, voice: Voice, cut: Cut) -> TakeNote:
    """Return a note on its tape, with its voice's end; one that rings out is let go when its excerpt is over."""
    placed = performed.notes[voice.number]
    end_frame = placed.end_frame if voice.end_frame == NATURAL else voice.end_frame
    if voice.rings_out:
        end_frame = cut.piece_frame + cut.length_frames
    shift = cut.start_frame - cut.piece_frame
    return replace(
        placed.note,
        onset_s=(placed.onset_frame + shift) / SAMPLE_RATE_HZ,
        length_s=max(end_frame - placed.onset_frame, 1) / SAMPLE_RATE_HZ,
    )
