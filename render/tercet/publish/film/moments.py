"""What head and foot of a film show at a time: the section, what is counted, whose turn it is, the shapes."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from tercet.publish.film.cards import Foot, Head, LegendRow
from tercet.publish.film.sizes import FRAME_RATE_HZ
from tercet.publish.film.times import FilmTimes
from tercet.publish.pictures.shapes_used import ShapeUse, chord_at, shapes_used
from tercet.song import LAYERS, SECOND
from tercet.wording import nth_time

__all__ = ["Moments"]

NEAREST_S = 0.5 / FRAME_RATE_HZ
"""What happens shows on the nearest frame, which may come so much before it."""

SHAPES_SHOWN = 3
"""The one that is held, and those that come next."""


@dataclass(frozen=True)
class Moments:
    """Head and foot of a track's film at any time.

    Parameters
    ----------
    times
        What happens when.
    title, track
        What the song and the track are called.
    """

    times: FilmTimes
    title: str
    track: str

    def head(self, now_s: float) -> Head:
        """Return what stands above the music."""
        turns = self.times.turns
        turn = turns[max(bisect_right(self._turn_starts, now_s + NEAREST_S) - 1, 0)]
        tells = self._turns_tell and turn.whose != "count-in"
        counted, of = self._counted(now_s)
        return Head(
            self.title,
            self._place(now_s),
            self.track,
            turn.whose if tells else "",
            turn.step if tells else "",
            counted,
            of,
        )

    def foot(self, now_s: float) -> Foot:
        """Return the shape that is held, and what comes next."""
        taken = bisect_right(self._change_starts, now_s + NEAREST_S)
        at = max(taken - 1, 0)
        return Foot(tuple(use for _, use in self._changes[at : at + SHAPES_SHOWN]), taken > 0)

    @cached_property
    def legend(self) -> tuple[LegendRow, ...]:
        """The layers of the track, each as heard if any of its notes is."""
        there = {stroke.note.layer for stroke in self.times.strokes}
        heard = {stroke.note.layer for stroke in self.times.strokes if stroke.shown != "yours"}
        return tuple(LegendRow(layer, layer in heard) for layer in LAYERS if layer in there)

    @cached_property
    def _turn_starts(self) -> list[float]:
        return [turn.start_s for turn in self.times.turns]

    @cached_property
    def _turns_tell(self) -> bool:
        """Whether turns differ in whose they are, or in what sets them apart."""
        kinds = {(turn.whose, turn.step) for turn in self.times.turns if turn.whose != "count-in"}
        return len(kinds) > 1

    # ---- what is counted

    def _counted(self, now_s: float) -> tuple[int, int]:
        """Return the number that is counted now, 0 before the first, and up to which; zeros while the music plays."""
        counts, turns = self.times.counts, self.times.turns
        counting = [turn for turn in turns if turn.whose == "count-in"]
        if not any(turn.start_s <= now_s + NEAREST_S < turn.end_s for turn in counting):
            return 0, 0
        at = bisect_right(self._count_starts, now_s + NEAREST_S) - 1
        return counts[at].number if at >= 0 else 0, max((count.number for count in counts), default=0)

    @cached_property
    def _count_starts(self) -> list[float]:
        return [count.onset_s for count in self.times.counts]

    # ---- where the sound is

    @cached_property
    def _bar_starts(self) -> list[float]:
        return [bar.start_s for bar in self.times.bars]

    def _place(self, now_s: float) -> str:
        """Return the section and the bar that are played, in words; nothing for what is no song."""
        bar = self.times.bars[max(bisect_right(self._bar_starts, now_s + NEAREST_S) - 1, 0)]
        if bar.piece == "tune-up":
            return ""
        bars = self.times.pieces[bar.piece].bars
        written = bars[bar.index]
        passes = max(each.pass_number for each in bars if each.section == written.section)
        name = written.section + (f", {nth_time(written.pass_number)}" if passes > 1 else "")
        return f"{name} · bar {written.number} of {bars[-1].number}" if written.section_bar else name

    # ---- the shapes

    @cached_property
    def _changes(self) -> tuple[tuple[float, ShapeUse], ...]:
        """When which shape is taken."""
        found: list[tuple[float, ShapeUse]] = []
        for onset_s, use in self._shapes():
            if not found or found[-1][1] != use:
                found.append((onset_s, use))
        return tuple(found)

    def _shapes(self) -> Iterator[tuple[float, ShapeUse]]:
        """Yield the shape of every stroke that has one."""
        pieces = self.times.pieces.items()
        known = {piece: {(use.chord, use.frets): use for use in shapes_used(each)} for piece, each in pieces}
        bars = {piece: {bar.number: bar for bar in each.bars} for piece, each in pieces}
        for stroke in self.times.strokes:
            if stroke.note.layer == SECOND:
                continue
            gesture = self.times.pieces[stroke.piece].gestures[stroke.note.gesture]
            key = chord_at(gesture, bars[stroke.piece][gesture.bar_number]), gesture.shape
            if gesture.action != "single" and key in known[stroke.piece]:
                yield stroke.onset_s, known[stroke.piece][key]

    @cached_property
    def _change_starts(self) -> list[float]:
        return [start_s for start_s, _ in self._changes]
