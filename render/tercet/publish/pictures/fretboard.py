"""The fretboard map: a key's notes, or a song's, on the neck of the class's instrument.

The neck lies as it does in the tab: string 1 on top, the nut on the left (on the right for left-handed players), frets
as far apart as on the instrument. Home, the key's first step, stands in front, its third and fifth behind it, the other
steps farther off. With a song, what its tune plays stands in front of all other notes of the key.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

from tercet.arranging import Arrangement
from tercet.neck import fret_position_mm
from tercet.neck.notes import NeckNote, key_notes, neck_note
from tercet.publish.paragraphs import fitted
from tercet.publish.pictures.looks import FAINT, LOOKS, PAPER, TEXT, TEXT_SOFT
from tercet.publish.shapes import Disc, Drawing, Group, Ink, Path, Shape, Style, Text
from tercet.theory import Key, Tuning
from tercet.wording import counted

__all__ = ["USUAL_FRETS", "FretboardMap", "fretboard_picture", "frets_for", "tune_places"]

USUAL_FRETS = 12
"""Frets that are drawn unless the tune goes higher."""

WIDTH, HEIGHT = 1600.0, 690.0
LEFT, RIGHT = 190.0, 40.0
"""From the left edge to the nut, and from the last fret to the right edge."""

TOP, STRING_GAP = 184.0, 100.0
"""String 1, and from one string to the next."""

NAME_X, OPEN_X = 46.0, 128.0
"""Where strings are named, and where the notes of open strings stand."""

HOME_RADIUS, CHORD_RADIUS, STEP_RADIUS, FAR_RADIUS = 34.0, 30.0, 25.0, 17.0
NARROW = 0.42
"""A mark's radius is at most this part of its fret's width."""

INLAYS = {5: 1, 7: 1, 10: 1, 12: 2, 15: 1}
"""Frets whose place is marked by dots, as on most ukuleles."""

_FRET_NUMBERS: dict[bool, tuple[str, Style]] = {True: (TEXT, "bold"), False: (TEXT_SOFT, "plain")}
"""Colour and style of a fret's number, where there is an inlay and where there is none."""

WOOD = "#f1e7d3"
STRING_INK = "#8b8175"
HOME, CHORD = LOOKS["melody"].colour, LOOKS["between"].colour


@dataclass(frozen=True, slots=True)
class FretboardMap:
    """What is mapped.

    Parameters
    ----------
    key
        None for a neck without notes.
    tuning, frets
        The neck.
    title
        What stands above it.
    played
        (string, fret) pairs of a song's tune; None to map the key alone.
    blank
        Whether notes are empty rings to write into.
    left_handed
        Whether the nut is on the right.
    """

    key: Key | None
    tuning: Tuning
    frets: int
    title: str
    played: frozenset[tuple[int, int]] | None = None
    blank: bool = False
    left_handed: bool = False


def tune_places(arrangement: Arrangement) -> frozenset[tuple[int, int]]:
    """Return the (string, fret) pairs at which an arrangement plays its tune."""
    return frozenset(
        (note.string, note.fret)
        for gesture in arrangement.gestures
        for note in gesture.notes
        if note.part == "tune" and note.fret is not None
    )


def frets_for(places: Collection[tuple[int, int]]) -> int:
    """Return how many frets show all of these places: `USUAL_FRETS`, or as many as it takes."""
    return max(USUAL_FRETS, max((fret for _, fret in places), default=0))


def fretboard_picture(asked: FretboardMap) -> Drawing:
    """Return the picture of a fretboard map, 1600 by 690 units.

    Raises
    ------
    ParameterError
        There are too few frets, or too many.
    """
    notes = _notes(asked)
    layout = _Layout(asked)
    shapes = [*_heading(asked), *_neck(asked, layout)]
    if not asked.blank:
        shapes += _unmarked_open_strings(asked, layout, notes)
    for note, front in notes:
        shapes.append(_blank_mark(note, layout) if asked.blank else _mark(note, layout, front=front))
    shapes += _legend(asked)
    frets, marked = counted(asked.frets, "fret"), counted(len(notes), "note")
    description = f"The neck of a ukulele tuned {asked.tuning.name}, {frets}, {marked} marked."
    return Drawing(WIDTH, HEIGHT, tuple(shapes), PAPER, asked.title, description)


def _notes(asked: FretboardMap) -> list[tuple[NeckNote, bool]]:
    """Return the notes that are marked, what is far first, each with whether it stands in front."""
    if asked.key is None:
        return []
    of_key = key_notes(asked.key, asked.tuning, asked.frets)
    if asked.played is None:
        return [(note, True) for note in of_key]
    played = [
        (neck_note(string, fret, asked.key, asked.tuning), True)
        for string, fret in sorted(asked.played, reverse=True)
        if fret <= asked.frets
    ]
    far = [(note, False) for note in of_key if (note.string, note.fret) not in asked.played]
    return played if asked.blank else [*far, *played]


@dataclass(frozen=True, slots=True)
class _Layout:
    """Where strings and frets lie in the drawing."""

    asked: FretboardMap

    def x(self, x: float) -> float:
        """Return the place of a place that is given for the right hand."""
        return WIDTH - x if self.asked.left_handed else x

    def fret_line(self, fret: int) -> float:
        """Return where a fret lies, for the right hand; 0 is the nut."""
        part = fret_position_mm(fret, 1.0) / fret_position_mm(self.asked.frets, 1.0)
        return LEFT + (WIDTH - LEFT - RIGHT) * part

    def note_x(self, fret: int) -> float:
        """Return where a note is marked, for the right hand: in the middle of its fret, or before the nut."""
        return 0.5 * (self.fret_line(fret - 1) + self.fret_line(fret)) if fret else OPEN_X

    def widest_radius(self, fret: int) -> float:
        """Return how large a mark may be at a fret."""
        return NARROW * (self.fret_line(fret) - self.fret_line(fret - 1)) if fret else HOME_RADIUS

    @staticmethod
    def string_y(string: int) -> float:
        """Return where a string lies: 1 on top."""
        return TOP + STRING_GAP * (string - 1)


def _heading(asked: FretboardMap) -> Iterator[Shape]:
    yield fitted(Text(40.0, 66.0, asked.title, 44.0, TEXT, style="bold", name="title"), WIDTH - 80.0, 22.0)
    strings = " ".join(str(pitch) for pitch in asked.tuning.open_pitches)
    facts = [str(asked.key)] if asked.key is not None and str(asked.key) not in asked.title else []
    facts.append(f"{asked.tuning.name}: {strings}" if asked.tuning.name != "custom" else strings)
    yield Text(40.0, 106.0, " · ".join(facts), 25.0, TEXT_SOFT, name="facts")


def _neck(asked: FretboardMap, layout: _Layout) -> Iterator[Shape]:
    """Yield wood, inlays, frets with their numbers, nut and strings."""
    top, bottom = layout.string_y(1) - 46.0, layout.string_y(4) + 54.0
    nut, end = layout.x(LEFT), layout.x(WIDTH - RIGHT)
    yield Path(
        ((nut, top), (end, top), (end, bottom), (nut, bottom)), Ink(fill=WOOD), closed=True, name="wood"
    )
    for fret, dots in INLAYS.items():
        if fret <= asked.frets:
            yield from _inlay(layout, fret, dots)
    for fret in range(1, asked.frets + 1):
        x = layout.x(layout.fret_line(fret))
        yield Path(((x, top), (x, bottom)), Ink(stroke="#b3a58c", width=3.0), name="fret line")
        middle = layout.x(layout.note_x(fret))
        colour, style = _FRET_NUMBERS[fret in INLAYS]
        yield Text(middle, bottom + 34.0, str(fret), 22.0, colour, "middle", style, "fret number")
    yield Path(((nut, top), (nut, bottom)), Ink(stroke=TEXT, width=10.0), name="nut")
    for string in (1, 2, 3, 4):
        y = layout.string_y(string)
        ink = Ink(stroke=STRING_INK, width=3.0)
        yield Path(((nut, y), (end, y)), ink, name="string line")
        yield Text(layout.x(NAME_X), y + 12.0, str(string), 34.0, TEXT_SOFT, "middle", "bold", name="string")


def _unmarked_open_strings(
    asked: FretboardMap, layout: _Layout, notes: Collection[tuple[NeckNote, bool]]
) -> Iterator[Shape]:
    """Yield the names of open strings that aren't notes of the key: they have no mark, but players look for them."""
    marked = {note.string for note, _ in notes if note.fret == 0}
    for string, pitch in zip((4, 3, 2, 1), asked.tuning.open_pitches, strict=True):
        if string not in marked:
            x, y = layout.x(OPEN_X), layout.string_y(string) + 8.0
            yield Text(x, y, pitch.name, 23.0, TEXT_SOFT, "middle", name="open string")


def _inlay(layout: _Layout, fret: int, dots: int) -> Iterator[Shape]:
    x = layout.x(layout.note_x(fret))
    between = ((2, 3),) if dots == 1 else ((1, 2), (3, 4))
    for one, other in between:
        y = 0.5 * (layout.string_y(one) + layout.string_y(other))
        yield Disc(x, y, 8.0, Ink(fill=FAINT), name="inlay")


def _mark(note: NeckNote, layout: _Layout, *, front: bool) -> Group:
    """Return the mark of a note: its name, and beside it the step of the key; rings stand for open strings too."""
    x, y = layout.x(layout.note_x(note.fret)), layout.string_y(note.string)
    radius, ink, colour = _look(note, front=front)
    radius = min(radius, layout.widest_radius(note.fret))
    size = (1.05 if len(note.pitch.name) == 1 else 0.86) * radius
    shapes: list[Shape] = [Disc(x, y, radius, ink, name="mark")]
    shapes.append(Text(x, y + 0.36 * size, note.pitch.name, size, colour, "middle", "bold", name="name"))
    if front:
        step_size = max(0.72 * radius, 14.0)
        place = x + 0.58 * radius, y + radius + 0.78 * step_size
        shapes.append(Text(*place, note.degree, step_size, TEXT, style="bold", name="degree"))
    title = f"{note.pitch}, step {note.degree}: string {note.string}, {_where(note)}"
    return Group(tuple(shapes), f"note {'front' if front else 'far'}", title)


def _look(note: NeckNote, *, front: bool) -> tuple[float, Ink, str]:
    """Return how large a note's mark is, its ink, and the colour of its name."""
    if not front:
        return FAR_RADIUS, Ink(fill=PAPER, stroke=FAINT, width=3.0), TEXT_SOFT
    if note.degree == "1":
        return HOME_RADIUS, Ink(fill=HOME, stroke=HOME, width=3.0), PAPER
    if note.degree in ("3", "5"):
        return CHORD_RADIUS, Ink(fill=CHORD, stroke=CHORD, width=3.0), PAPER
    return STEP_RADIUS, Ink(fill=PAPER, stroke=TEXT, width=3.0), TEXT


def _blank_mark(note: NeckNote, layout: _Layout) -> Group:
    """Return an empty ring, alike for every note."""
    x, y = layout.x(layout.note_x(note.fret)), layout.string_y(note.string)
    radius = min(CHORD_RADIUS, layout.widest_radius(note.fret))
    ring = Disc(x, y, radius, Ink(fill=PAPER, stroke=TEXT, width=2.5), name="mark")
    return Group((ring,), "note blank", f"string {note.string}, {_where(note)}")


def _where(note: NeckNote) -> str:
    return f"fret {note.fret}" if note.fret else "open"


def _legend(asked: FretboardMap) -> Iterator[Shape]:
    """Yield one line at the foot that says what the marks mean."""
    y = HEIGHT - 40.0
    if asked.key is None:
        yield Text(40.0, y + 8.0, "Write in the notes you know.", 25.0, TEXT_SOFT, name="legend")
        return
    if asked.blank:
        task = (
            f"Write the name of each note of {_of(asked)} in its ring, and its step in {asked.key} beside it."
        )
        yield fitted(Text(40.0, y + 8.0, task, 25.0, TEXT_SOFT, name="legend"), WIDTH - 80.0, 14.0)
        return
    x = 60.0
    samples = [
        ("1", "home: the tune comes to rest here"),
        ("3", "third and fifth: the home chord"),
        ("2", "other steps"),
    ]
    for degree, means in samples:
        radius, ink, _ = _look(NeckNote(1, 0, asked.tuning.open_pitches[3], degree), front=True)
        yield Disc(x, y, 0.62 * radius, replace(ink, width=2.5), name="sample")
        yield Text(x + 30.0, y + 8.0, means, 23.0, TEXT, name="legend")
        x += 74.0 + 12.0 * len(means)
    if asked.played is not None:
        yield Disc(x, y, 11.0, Ink(fill=PAPER, stroke=FAINT, width=2.5), name="sample")
        yield Text(x + 30.0, y + 8.0, "not in the tune", 23.0, TEXT_SOFT, name="legend")


def _of(asked: FretboardMap) -> str:
    return str(asked.key) if asked.played is None else "the tune"
