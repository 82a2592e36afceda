"""Excerpts one after the other on a tape: what a synthesiser plays in one go, and where each excerpt lies on it.

A tape is played as one take, put in the room as one, and cut. It always holds the same excerpts in the same places for
the same tracks, whichever of them are still to be written, so that its samples are the same to the last bit.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from render.perform import Take
from render.sound import SAMPLE_RATE_HZ
from render.sound.schedule import FADE_S, RELEASE_S, RING_OUT_S
from render.tracks.excerpts import NATURAL, Voice

if TYPE_CHECKING:
    from render.perform import TakeNote
    from render.song import Layer
    from render.tracks.excerpts import Excerpt
    from render.tracks.performed import Performed
    from render.tracks.timelines import Source

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

TAPE_FRAMES = 30 * SAMPLE_RATE_HZ
"""A tape that is longer takes no further excerpt."""


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
    """The bundles of one tape, in order: excerpts of one phrase, at most one a layer, that lie side by side."""

    source: Source
    bundles: tuple[tuple[Excerpt, ...], ...]
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
    by_source: dict[Source, list[Excerpt]] = defaultdict(list)
    for excerpt in excerpts:
        by_source[excerpt.source].append(excerpt)
    tapes: list[Tape] = []
    places: dict[Excerpt, Cut] = {}
    for source in sorted(by_source, key=repr):
        for tape in _laid_out(source, by_source[source], performed(source), tail_frames, len(tapes)):
            tapes.append(tape)
            for bundle, cut in zip(tape.bundles, tape.cuts, strict=True):
                places.update((each, _own_cut(each, performed(source), cut)) for each in bundle)
    return tuple(tapes), places


def _laid_out(
    source: Source, excerpts: Sequence[Excerpt], performed: Performed, tail_frames: int, number: int
) -> Iterator[Tape]:
    """Yield the tapes of one source."""
    bundles: list[tuple[Excerpt, ...]] = []
    cuts: list[Cut] = []
    frame = 0
    for bundle in _bundles(excerpts):
        if frame >= TAPE_FRAMES:
            yield Tape(source, tuple(bundles), tuple(cuts), frame)
            bundles, cuts, frame, number = [], [], 0, number + 1
        cut = _cut(bundle, performed, number, frame)
        bundles.append(bundle)
        cuts.append(cut)
        released = TAIL_FRAMES if cut.fades else 0
        frame = _on_grid(cut.start_frame + cut.length_frames + released + tail_frames + GRID_FRAMES)
    if bundles:
        yield Tape(source, tuple(bundles), tuple(cuts), frame)


def _bundles(excerpts: Sequence[Excerpt]) -> Iterator[tuple[Excerpt, ...]]:
    """Yield excerpts of one phrase side by side, one a layer, in order of the piece.

    Strings of different layers never strike one another's notes off: in the whole piece each note has ended before.
    """
    by_part: dict[int, dict[Layer, list[Excerpt]]] = defaultdict(lambda: defaultdict(list))
    for excerpt in sorted(excerpts, key=lambda each: (each.part, each.voices)):
        by_part[excerpt.part][excerpt.layer].append(excerpt)
    for part in sorted(by_part):
        columns = list(by_part[part].values())
        for row in range(max(map(len, columns))):
            yield tuple(column[row] for column in columns if row < len(column))


def _cut(bundle: Sequence[Excerpt], performed: Performed, tape: int, frame: int) -> Cut:
    """Return where a bundle lies that begins at a frame of a tape or soon after."""
    voices = [voice for excerpt in bundle for voice in excerpt.voices]
    first = min(performed.notes[voice.number].onset_frame for voice in voices)
    piece_frame = _on_grid(first - LEAD_FRAMES - GRID_FRAMES)
    last = max(_last_frame(performed, voice) for voice in voices)
    fades = any(voice.rings_out for voice in voices)
    return Cut(tape, frame, last - piece_frame, piece_frame, fades)


def _own_cut(excerpt: Excerpt, performed: Performed, bundle: Cut) -> Cut:
    """Return where an excerpt of a bundle begins to sound and has died away."""
    own = _cut([excerpt], performed, bundle.tape, 0)
    start_frame = bundle.start_frame + own.piece_frame - bundle.piece_frame
    return replace(own, start_frame=start_frame)


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
        for bundle, cut in zip(tape.bundles, tape.cuts, strict=True)
        for excerpt in bundle
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
