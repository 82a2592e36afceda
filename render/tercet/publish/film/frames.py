"""The frames of a film, one after the other: still parts are drawn once, and only what changes is laid over them."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from math import ceil

from tercet.publish.film.cards import Foot, Head, TitleCard, foot_drawing, head_drawing, title_drawing
from tercet.publish.film.layout import Layout
from tercet.publish.film.lines import FilmLine, PieceLines, piece_lines
from tercet.publish.film.moments import Moments
from tercet.publish.film.moving import LineKey, Lit, Visit, along, lit_marks, visits_of
from tercet.publish.film.pixels import Picture, Sprite, picture_of, sprite_of
from tercet.publish.film.sizes import FRAME_RATE_HZ, POINTER_STEP, TITLE_S, FilmSize, frame_at
from tercet.publish.film.times import FilmTimes
from tercet.publish.pictures.looks import PAPER, TEXT
from tercet.publish.shapes import Drawing, Ink, Path
from tercet.tracks.timelines import Piece

__all__ = ["Film"]

WAITING_INK = 0.45
"""Ink of the line that isn't played now: it stands farther away."""

STAYS_S = 0.7
"""So long a line that has been played stays before what comes next takes its place; at most half of the next line."""

POINTER_INK, POINTER_WIDTH = 0.12, 26.0
"""Of the upright band that goes along with the sound."""

LONGEST_STILL = 30
"""A frame comes again after so many, for players that wait for one."""

MOST_STILLS = 48
"""Still parts that are kept: some 60 MB of them."""

Box = tuple[int, int, int, int]
"""Even pixels that were changed: x, y, width, height."""


@dataclass(frozen=True, slots=True)
class _Slot:
    """What stands in the upper or in the lower place: a line of music, and whether it is played now."""

    line: LineKey
    active: bool


@dataclass(frozen=True, slots=True)
class _Stills:
    """All that stands still for a while: the head, both lines, the foot."""

    head: Head
    upper: _Slot | None
    lower: _Slot | None
    foot: Foot


@dataclass(frozen=True)
class Film:
    """A film of a track, to be taken frame by frame.

    Parameters
    ----------
    size
        Of its frames.
    times
        What happens when.
    card
        The title.
    track
        What the track is, in a few words.
    left_handed
        Whether shapes are mirrored.
    """

    size: FilmSize
    times: FilmTimes
    card: TitleCard
    track: str = ""
    left_handed: bool = False
    _kept: dict[Hashable, Picture] = field(default_factory=dict, repr=False, compare=False)

    @property
    def frame_count(self) -> int:
        """How many frames it has: it ends with the sound."""
        return ceil((TITLE_S + self.times.length_s) * FRAME_RATE_HZ)

    def frames(self) -> Iterator[tuple[int, Picture]]:
        """Yield the frames that differ from the one before, each with its number; the last of all comes too.

        A picture is good until the next is taken.
        """
        title = picture_of(title_drawing(self.card, self._layout))
        begins = frame_at(TITLE_S)
        for frame in range(0, begins, LONGEST_STILL):
            yield frame, title
        canvas, base = self._paper, self._paper
        stills: _Stills | None = None
        changed: list[Box] = []
        waiting = list(reversed(self._lit))
        lit: list[Lit] = []
        told = begins
        for frame in range(begins, self.frame_count):
            now_s = frame / FRAME_RATE_HZ - TITLE_S
            before = lit
            lit = [each for each in lit if each.end > frame]
            while waiting and waiting[-1].first <= frame:
                lit.append(waiting.pop())
            at_rest = self._stills(now_s)
            same = (
                at_rest == stills and lit == before and frame % POINTER_STEP and frame - told < LONGEST_STILL
            )
            if same and frame + 1 < self.frame_count:
                continue
            if at_rest != stills:
                stills = at_rest
                base = self._composed(at_rest)
                canvas, changed = base.copy(), []
            for box in changed:
                canvas.restore(base, *box)
            changed = list(self._marked(canvas, now_s, lit, at_rest))
            told = frame
            yield frame, canvas

    # ---- what stands still

    @cached_property
    def _layout(self) -> Layout:
        return Layout(self.size)

    @cached_property
    def _paper(self) -> Picture:
        return picture_of(Drawing(self.size.width, self.size.height, (), PAPER, "paper"))

    @cached_property
    def _pieces(self) -> dict[Piece, PieceLines]:
        room = self._layout.line_room
        return {piece: piece_lines(each, room) for piece, each in self.times.pieces.items()}

    @cached_property
    def _moments(self) -> Moments:
        return Moments(self.times, self.card.title, self.track)

    def _stills(self, now_s: float) -> _Stills:
        upper, lower = self._slots(now_s)
        return _Stills(self._moments.head(now_s), upper, lower, self._moments.foot(now_s))

    def _composed(self, stills: _Stills) -> Picture:
        """Return a frame without what moves."""
        layout = self._layout
        whole = self._paper.copy()
        whole.put(self._still(stills.head, lambda: head_drawing(stills.head, layout)), 0, 0)
        foot = self._still(
            stills.foot,
            lambda: foot_drawing(stills.foot, self._moments.legend, layout, left_handed=self.left_handed),
        )
        whole.put(foot, 0, layout.foot_y)
        for place, slot in enumerate((stills.upper, stills.lower)):
            if slot is not None:
                picture = self._line(slot.line).picture
                if not slot.active:
                    picture = self._waiting(slot.line)
                whole.put(picture, layout.margin, layout.line_y(place, picture.height))
        return whole

    def _still(self, key: Hashable, draw: Callable[[], Drawing]) -> Picture:
        return self._keep(key, lambda: picture_of(draw()))

    def _waiting(self, key: LineKey) -> Picture:
        """Return a line that isn't played now."""
        return self._keep(key, lambda: self._line(key).picture.paled(WAITING_INK, self._paper))

    def _keep(self, key: Hashable, make: Callable[[], Picture]) -> Picture:
        """Return a picture that is made once, as long as it is among the last that were wanted."""
        found = self._kept.pop(key, None)
        self._kept[key] = made = make() if found is None else found
        if len(self._kept) > MOST_STILLS:
            del self._kept[next(iter(self._kept))]
        return made

    def _line(self, key: LineKey) -> FilmLine:
        piece, number = key
        return self._pieces[piece].lines[number]

    # ---- the two lines

    @cached_property
    def _visits(self) -> tuple[Visit, ...]:
        return visits_of(self.times, self._pieces)

    @cached_property
    def _visit_starts(self) -> list[float]:
        return [visit.start_s for visit in self._visits]

    def _visit_at(self, now_s: float) -> int:
        return max(bisect_right(self._visit_starts, now_s) - 1, 0)

    def _slots(self, now_s: float) -> tuple[_Slot | None, _Slot | None]:
        """Return what stands above and below: lines take their places in turn."""
        at = self._visit_at(now_s)
        other = self._other(at, now_s)
        played = _Slot(self._visits[at].line, active=True)
        waiting = None if other is None else _Slot(self._visits[other].line, active=False)
        return (played, waiting) if at % 2 == 0 else (waiting, played)

    def _other(self, at: int, now_s: float) -> int | None:
        """Return which visit the other line belongs to: for a moment the one before, then the one that comes next."""
        last = at + 1 == len(self._visits)
        start_s = self._visit_starts[at]
        length_s = (self.times.length_s if last else self._visit_starts[at + 1]) - start_s
        if at and (last or now_s < start_s + min(STAYS_S, length_s / 2)):
            return at - 1
        return None if last else at + 1

    # ---- what moves

    @cached_property
    def _lit(self) -> tuple[Lit, ...]:
        return lit_marks(self.times, self._pieces)

    def _marked(self, canvas: Picture, now_s: float, lit: Sequence[Lit], stills: _Stills) -> Iterator[Box]:
        """Lay the pointer and the marks over the canvas, and yield the boxes that they changed."""
        layout = self._layout
        corners: dict[LineKey, tuple[int, int]] = {}
        for place, slot in enumerate((stills.upper, stills.lower)):
            if slot is None or (slot.line in corners and not slot.active):
                continue
            height = self._line(slot.line).picture.height
            corners[slot.line] = layout.margin, layout.line_y(place, height)
        visit = self._visits[self._visit_at(now_s)]
        if now_s >= visit.start_s and visit.line in corners:
            yield self._point(canvas, visit, now_s, corners[visit.line])
        for one in sorted(lit, key=lambda each: each.level_db):
            if one.line in corners:
                left, top = corners[one.line]
                yield canvas.lay(one.mark.sprite, left + one.mark.x, top + one.mark.y)

    def _point(self, canvas: Picture, visit: Visit, now_s: float, corner: tuple[int, int]) -> Box:
        line = self._line(visit.line)
        sprite = self._pointer(max(2 * round((line.foot - line.top) / 2), 2))
        x = corner[0] + 2 * round((along(visit.path, now_s) - sprite.width / 2) / 2)
        return canvas.lay(sprite, x, corner[1] + 2 * round(line.top / 2))

    @cached_property
    def _pointers(self) -> dict[int, Sprite]:
        return {}

    def _pointer(self, height: int) -> Sprite:
        """Return an upright band of a height."""
        if height not in self._pointers:
            width = max(2 * round(POINTER_WIDTH * self.size.unit / 2), 2)
            corners = ((0.0, 0.0), (float(width), 0.0), (float(width), float(height)), (0.0, float(height)))
            drawing = Drawing(width, height, (Path(corners, Ink(fill=TEXT), closed=True),), "none", "now")
            self._pointers[height] = sprite_of(drawing).thinned(POINTER_INK)
        return self._pointers[height]
