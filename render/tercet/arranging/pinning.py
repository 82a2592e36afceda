"""Keeping a fingering: the pins and chord shapes that make Tercet find the same arrangement again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass

from tercet.arranging.arranger import arrange
from tercet.arranging.model import Arrangement, Gesture, Problem
from tercet.arranging.piece import Piece, begun, piece_of
from tercet.errors import RequestError, SongError
from tercet.neck.priced_hands import hands_up_to
from tercet.song import Bar, Note, Pin, Source, parse_song
from tercet.song.chord_shapes import WrittenShape
from tercet.song.writer import pinned_text

__all__ = ["PinnedSong", "changed_bars", "note_pins", "pin_song", "shape_pins"]

Frets = tuple[int | None, ...]
_Held = tuple[Frets | None, tuple[int, ...]]

MOST_TRIALS = 12
"""Shapes that would change the arrangement are taken back a few at a time, so many times."""


@dataclass(frozen=True, slots=True)
class PinnedSong:
    """An arrangement file with its fingering written in.

    Parameters
    ----------
    text
        What the file holds now.
    pins, shapes
        How many notes and chords were given one that they didn't have before.
    unpinned
        How many notes stay free: no string has them, other passes play them in another way, or they aren't played
        as the song asks.
    changed
        Bars that are played in another way than before, in rising order; none but in rare cases.
    off_neck
        What is to be said of notes that no string has.
    """

    text: str
    pins: int
    shapes: int
    unpinned: int
    changed: tuple[int, ...] = ()
    off_neck: tuple[Problem, ...] = ()


def pin_song(text: str, file: str = "song.yaml") -> PinnedSong:
    """Arrange a song in its own tuning and write the fingering found into its text.

    Each result is read back and arranged: chord shapes that would change anything are left out.

    Parameters
    ----------
    text
        What the arrangement file holds.
    file
        What to call it in messages.

    Raises
    ------
    SongError
        The text has mistakes.
    RequestError
        The song has no bars to play, or is too large with its pins.
    """
    before = arrange(parse_song(text, file))
    pins, unpinned = note_pins(before)
    shapes = shape_pins(before)
    for trial in range(MOST_TRIALS):
        try:
            written = pinned_text(text, pins, shapes, file)
            after = arrange(parse_song(written, file))
        except SongError as error:
            raise RequestError(f"{file} can't hold its pins: {error.mistakes[0].message}") from error
        changed = changed_bars(before, after)
        if not changed or not shapes:
            break
        # A shape acts on its own bars, and now and then on bars further on.
        touched = _touching(shapes, before, changed)
        shapes = {
            place: frets
            for place, frets in shapes.items()
            if place not in touched and touched and trial < MOST_TRIALS - 2
        }
    off_neck = tuple(problem for problem in before.problems if problem.off_neck)
    return PinnedSong(written, len(pins), len(shapes), unpinned, changed, off_neck)


def changed_bars(before: Arrangement, after: Arrangement) -> tuple[int, ...]:
    """Return the bars in which two arrangements of the same bars are played differently, in rising order."""

    def played(arrangement: Arrangement, number: int) -> list[object]:
        return [
            (gesture.start_beat, gesture.layer, gesture.action, gesture.up, gesture.notes)
            for gesture in arrangement.by_bar[number]
        ]

    return tuple(
        number for number in sorted(before.by_bar) if played(before, number) != played(after, number)
    )


# ---- notes


def note_pins(arrangement: Arrangement) -> tuple[dict[Source, Pin], int]:
    """Return the pins that notes need, and how many notes must stay without.

    A note that several passes share gets the strings if all of them strike the same, else roll or alone if they
    agree in that. What the song itself asks for, and no hand can do, isn't contradicted.
    """
    written = {note.source: note for note in _written_notes(arrangement.bars)}
    continued = set(_continued(arrangement.bars))
    played: dict[Source, list[Gesture]] = defaultdict(list)
    for gesture in arrangement.gestures:
        if gesture.source.line:
            played[gesture.source].append(gesture)
    pins: dict[Source, Pin] = {}
    unpinned = 0
    for place, gestures in played.items():
        note = written.get(place)
        pin = note.pin if note is not None else None
        if pin is not None and pin.strings:
            continue
        found = _pin_for(gestures) if place not in continued else None
        if found is None or note is None or not _agrees(found, note):
            unpinned += 1
        elif found != pin:
            pins[place] = found
    return pins, unpinned


def _agrees(found: Pin, note: Note) -> bool:
    """Whether a pin goes with what the song asks of the note, which no hand may have been able to do."""
    if note.pin is not None and note.pin.action != found.action:
        return False
    return note.position is None or not found.strings or found.strings[-1] == note.position[0]


def _pin_for(gestures: list[Gesture]) -> Pin | None:
    """Return the pin that holds for all of these, or None."""
    for gesture in gestures:
        note = gesture.notes[-1]
        if note.fret is None:
            return None
    struck = {tuple(note.string for note in gesture.notes) for gesture in gestures}
    rolled = {gesture.action == "roll" for gesture in gestures}
    if len(rolled) > 1:
        return None
    return Pin("roll" if rolled == {True} else "alone", struck.pop() if len(struck) == 1 else ())


def _rows(bars: Iterable[Bar]) -> Iterator[Iterator[Note]]:
    """Yield the notes of the melody as played, then those of the between rows."""
    bars = tuple(bars)
    yield (note for bar in bars for note in bar.melody)
    yield (note for bar in bars for note in bar.between or ())


def _written_notes(bars: Iterable[Bar]) -> Iterator[Note]:
    for row in _rows(bars):
        yield from row


def _continued(bars: Iterable[Bar]) -> Iterator[Source]:
    """Yield the places of notes that a tie continues on some pass: they take no pin."""
    for row in _rows(bars):
        tied = False
        for note in row:
            if tied and not note.is_rest:
                yield note.source
            tied = note.tied_on


# ---- chords


def shape_pins(arrangement: Arrangement) -> dict[Source, WrittenShape]:
    """Return the shapes of chords during which the hand never changes, with their fingers.

    A chord gets its shape where everything over it, on every pass, is played with one shape that is rolled or
    strummed at least once. Chords that go on from one to the next in some pass get one together or none.
    """
    piece = piece_of(arrangement.song, arrangement.tuning)
    runs = _chord_runs(piece)
    shapes = _shapes_of_runs(arrangement, piece)
    found: dict[Source, WrittenShape] = {}
    for group in _joined(runs):
        held = {frets for run in group for frets, _ in shapes[run]}
        fingers = {fingers for run in group for _, fingers in shapes[run] if fingers}
        rich = any(run in shapes for run in group)
        asked = any(piece.chords[run].span.shape is not None for run in group)
        if rich and not asked and len(held) == 1 and None not in held:
            frets = held.pop()
            if frets is not None:
                shape = WrittenShape(frets, _one_fingering(frets, fingers, piece))
                found.update({place: shape for run in group for place in runs[run]})
    return found


def _chord_runs(piece: Piece) -> list[set[Source]]:
    """Return for each chord of the piece as played the places in the file where it is written."""
    runs: list[set[Source]] = [set() for _ in piece.chords]
    for bar in piece.bars:
        for span in bar.chords:
            run = begun(piece.chord_starts, bar.start_beat + span.start_beat) - 1
            if span.chord is not None:
                runs[run].add(span.source)
    return runs


def _one_fingering(
    frets: Frets, fingers: Collection[tuple[int, ...]], piece: Piece
) -> tuple[int, ...] | None:
    """Return the fingers that the tune sets on a shape, or where only strums hold it, the usual ones.

    None where the tune sets now these, now those.
    """
    if len(fingers) > 1:
        return None
    if fingers:
        return next(iter(fingers))
    shape = tuple(fret or 0 for fret in frets)
    hand = hands_up_to(piece.hands, *shape).usual_hand(shape)
    return hand.fingers if hand is not None else None


def _shapes_of_runs(arrangement: Arrangement, piece: Piece) -> dict[int, set[_Held]]:
    """Return for each chord the shapes held over it and their fingers; None for one that doesn't take part."""
    shapes: dict[int, set[_Held]] = defaultdict(set)
    sounded: set[int] = set()
    for gesture in arrangement.gestures:
        run = begun(piece.chord_starts, gesture.start_beat) - 1
        if gesture.source.line and gesture.notes[-1].part == "tune":
            span, _ = piece.chord_under(gesture.start_beat, gesture.length_beat)
            run += span is not piece.chords[run].span
        shapes[run].add((gesture.shape if len(gesture.shape) == 4 else None, gesture.fingers))
        if gesture.action != "single":
            sounded.add(run)
    for run in list(shapes):
        if run not in sounded:
            shapes[run].add((None, ()))
    return shapes


def _joined(runs: list[set[Source]]) -> Iterator[list[int]]:
    """Yield the chords that share a place in the file, directly or through others, as groups of indices."""
    group_of: dict[Source, int] = {}
    groups: dict[int, list[int]] = {}
    for run, places in enumerate(runs):
        if not places:
            continue
        groups[run] = [run]
        for other in {group_of[place] for place in places if place in group_of}:
            groups[run] += groups.pop(other)
        for member in groups[run]:
            group_of.update(dict.fromkeys(runs[member], run))
    yield from groups.values()


def _touching(
    shapes: Mapping[Source, WrittenShape], arrangement: Arrangement, changed: Iterable[int]
) -> set[Source]:
    """Return the places of the shapes that hold in some bars, with all that go on with them."""
    piece = piece_of(arrangement.song, arrangement.tuning)
    runs = _chord_runs(piece)
    numbers = set(changed)
    touched = {
        begun(piece.chord_starts, bar.start_beat + span.start_beat) - 1
        for bar in piece.bars
        if bar.number in numbers
        for span in bar.chords
    }
    return {
        place
        for group in _joined(runs)
        if touched.intersection(group)
        for run in group
        for place in runs[run]
        if place in shapes
    }
