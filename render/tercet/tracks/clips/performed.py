"""A piece played from beginning to end at one speed, in frames: what passages are cut out of."""

from __future__ import annotations

import hashlib
from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from tercet.arranging import Arrangement
from tercet.performing import Take, TakeNote
from tercet.performing.tempo import Clock
from tercet.song import Bar
from tercet.song.note_choice import Choice, NoteFacts
from tercet.sound import SAMPLE_RATE_HZ
from tercet.tracks.timelines import phrase_ranges

__all__ = ["Performed", "PlacedNote", "facts_of"]


@dataclass(frozen=True, slots=True)
class PlacedNote:
    """A note and its frames, counted from the piece's first beat: where it is struck, and where it is damped.

    `still_frame` is where the strings that ring along with it are still, too.
    """

    note: TakeNote
    onset_frame: int
    end_frame: int
    still_frame: int


class Performed:
    """A take of a whole piece, at one speed, without a count-in.

    Parameters
    ----------
    arrangement
        What is played.
    take
        How; from the piece's beginning to its end.
    speed
        1 is the song's tempo.
    clock
        The piece's own, at full speed, as it is played.
    """

    def __init__(self, arrangement: Arrangement, take: Take, speed: Fraction, clock: Clock) -> None:
        self.arrangement = arrangement
        self.take = take
        self.speed = speed
        self.clock = clock
        self.start_s = take.bars[0].start_s
        self._picked: dict[Choice, frozenset[int]] = {}
        self._digests: dict[int, bytes] = {}

    def __getstate__(self) -> dict[str, object]:
        """Return what goes to another process: what choices were found to pick, but not by what."""
        return {name: value for name, value in vars(self).items() if name != "_facts"}

    def seconds(self, beat: Fraction) -> float:
        """Return when a beat of the piece falls, in seconds from its beginning."""
        return self.clock.seconds(beat) / float(self.speed)

    def frame(self, beat: Fraction) -> int:
        """Return the frame of a beat, each rounded by itself: so a passage is as long whenever it is played."""
        return round(self.seconds(beat) * SAMPLE_RATE_HZ)

    @cached_property
    def notes(self) -> tuple[PlacedNote, ...]:
        """The notes in order of their beats as written, then as played."""
        ordered = sorted(self.take.notes, key=lambda note: (note.beat, note.onset_s, note.string))
        return tuple(map(self._placed, ordered))

    def _placed(self, note: TakeNote) -> PlacedNote:
        longest_s = max((note.length_s, *(free.length_s for free in note.free)))
        ends_s = (note.onset_s + note.length_s, note.onset_s + longest_s)
        return PlacedNote(note, self._frame(note.onset_s), *map(self._frame, ends_s))

    def _frame(self, take_s: float) -> int:
        return round((take_s - self.start_s) * SAMPLE_RATE_HZ)

    @cached_property
    def _beats(self) -> list[float]:
        return [float(placed.note.beat) for placed in self.notes]

    def between(self, start_beat: Fraction, end_beat: Fraction) -> range:
        """Return the indices of the notes that belong to some beats."""
        return range(bisect_left(self._beats, float(start_beat)), bisect_left(self._beats, float(end_beat)))

    @cached_property
    def _facts(self) -> tuple[NoteFacts, ...]:
        return facts_of([placed.note for placed in self.notes], self.arrangement)

    def picked(self, choice: Choice) -> frozenset[int]:
        """Return the indices of the notes that a choice picks."""
        if choice not in self._picked:
            self._picked[choice] = frozenset(
                index for index, facts in enumerate(self._facts) if choice.picks(facts)
            )
        return self._picked[choice]

    def digest(self, index: int) -> bytes:
        """Return what stands for all that is known of a note."""
        if index not in self._digests:
            told = repr(self.notes[index]).encode()
            self._digests[index] = hashlib.blake2b(told, digest_size=8).digest()
        return self._digests[index]

    @cached_property
    def part_beats(self) -> tuple[Fraction, ...]:
        """Where the phrases begin; each is made into sound by itself."""
        return tuple(beats.start_beat for beats in phrase_ranges(self.arrangement))

    @cached_property
    def _part_starts(self) -> list[float]:
        return [float(beat) for beat in self.part_beats]

    def part_of(self, index: int) -> int:
        """Return which phrase a note belongs to, counted from 0."""
        return max(bisect_right(self._part_starts, self._beats[index]) - 1, 0)


# ---- what notes can be chosen by


def facts_of(notes: Iterable[TakeNote], arrangement: Arrangement) -> tuple[NoteFacts, ...]:
    """Return what the notes of a take can be chosen by.

    Parameters
    ----------
    notes
        Of one take, whatever its timeline; with a roll come all its strings.
    arrangement
        What that take plays.

    Returns
    -------
    tuple of NoteFacts
        One for each note, in the same order. The strings of a roll have the string and fret of its tune note, the last
        that is struck: so a roll belongs to the turn of its tune note.
    """
    taken = tuple(notes)
    ends = _tune_notes(taken)
    starts = [float(bar.start_beat) for bar in arrangement.bars]
    last_passes = {bar.section: bar.pass_number for bar in arrangement.bars}
    facts = []
    for note in taken:
        bar = arrangement.bars[max(bisect_right(starts, float(note.beat)) - 1, 0)]
        end = ends.get(note.gesture, note)
        facts.append(
            NoteFacts(
                layer=note.layer,
                string=end.string,
                fret=end.fret,
                action=note.action,
                part=note.part,
                bar_number=bar.number,
                section=note.section,
                section_bar=_section_bar(note, bar),
                pass_number=note.pass_number,
                last_pass=last_passes[note.section] == note.pass_number,
                phrase=note.phrase + 1,
            )
        )
    return tuple(facts)


def _tune_notes(notes: tuple[TakeNote, ...]) -> dict[int, TakeNote]:
    """Return the last string struck of each roll, by its gesture."""
    last: dict[int, TakeNote] = {}
    for note in notes:
        if note.action == "roll":
            other = last.get(note.gesture)
            if other is None or note.onset_s >= other.onset_s:
                last[note.gesture] = note
    return last


def _section_bar(note: TakeNote, bar: Bar) -> int:
    """Return which bar of its section a note is in: 0 where it leads into the section from the bar before."""
    here = (note.section, note.pass_number) == (bar.section, bar.pass_number)
    return bar.section_bar if here else 0
