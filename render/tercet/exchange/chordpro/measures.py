"""Stanzas become measures of a lead sheet: words on rests, a place of its own for each syllable."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from tercet.exchange.chordpro.drafts import DraftBar, Part, Stanza
from tercet.exchange.leadsheet import LeadChord, LeadMeasure, LeadNote, TuneError
from tercet.exchange.words import plain_name
from tercet.song import Meter, Syllable
from tercet.theory.limits import MOST_BARS

__all__ = ["measures_of", "pulse_quarter", "section_name"]

_HOLD = Syllable("")
_MOST_SUNG = 64
_NUMBERED = re.compile(r"-\d+$")

Places = dict[Fraction, Syllable]


def pulse_quarter(meter: tuple[int, int]) -> Fraction:
    """Return how long the pulse of a meter is, in quarters."""
    return Meter(*meter).pulse_beat * Fraction(4, meter[1])


def section_name(kind: str, label: str) -> str:
    """Return the section that a label means: all verses are one section, sung several times.

    >>> section_name("verse", "Verse 2"), section_name("", ""), section_name("bridge", "")
    ('verse', '', 'bridge')
    """
    name = plain_name(label) or plain_name(kind)
    return _NUMBERED.sub("", name) or name


def measures_of(stanzas: Sequence[Stanza], file: str, *, own: bool) -> tuple[LeadMeasure, ...]:
    """Return all measures, in the order sung.

    Parameters
    ----------
    stanzas
        In the order sung; each has bars.
    file
        What to call it in messages.
    own
        Whether Tercet wrote the file: there the bar before a pick-up has the parts of the time that it is left with.

    Raises
    ------
    TuneError
        More bars than a song may have, or more words than a bar.
    """
    if sum(len(stanza.bars) for stanza in stanzas) > MOST_BARS:
        raise TuneError(
            f"{file} has more than {MOST_BARS} bars, and a song has at most so many: cut it in two"
        )
    names = _names(stanzas)
    laid = [
        _Laid(stanza, name) for stanza, name in zip(_with_pickups_alike(stanzas, names), names, strict=True)
    ]
    for before, after in pairwise(laid):
        before.leave(after.pickup_quarter, own=own)
    for stanza in laid:
        stanza.lay(file)
    groups: dict[tuple[object, ...], list[_Laid]] = {}
    for stanza in laid:
        groups.setdefault((stanza.name, len(stanza.places), stanza.pickup_quarter), []).append(stanza)
    for group in groups.values():
        _share_places(group)
    return tuple(_numbered(measure for stanza in laid for measure in stanza.measures()))


def _names(stanzas: Sequence[Stanza]) -> list[str]:
    """Return the section of each stanza; those without a label share one where their chords are the same."""
    letters: dict[object, str] = {}
    found = []
    for stanza in stanzas:
        name = stanza.name or section_name(stanza.kind, stanza.label)
        if not name:
            chords = tuple(tuple(part.chord for part in bar.parts) for bar in stanza.bars)
            name = letters.setdefault(chords, f"part-{_letter(len(letters))}")
        found.append(name)
    return found


def _with_pickups_alike(stanzas: Sequence[Stanza], names: Sequence[str]) -> list[Stanza]:
    """Return the stanzas, all passes of a section with a pick-up of one length where one has one."""
    longest: dict[tuple[str, int], Fraction] = {}
    for stanza, name in zip(stanzas, names, strict=True):
        if stanza.pickup is not None:
            place = name, len(stanza.bars)
            longest[place] = max(longest.get(place, Fraction(0)), stanza.pickup_beat or Fraction(1))
    alike = []
    for stanza, name in zip(stanzas, names, strict=True):
        beat = longest.get((name, len(stanza.bars)))
        if beat is None:
            alike.append(stanza)
            continue
        first = stanza.bars[0]
        pickup = stanza.pickup or DraftBar(first.line, first.row, [Part()], first.meter)
        alike.append(replace(stanza, pickup=pickup, pickup_beat=beat))
    return alike


def _letter(number: int) -> str:
    turn, place = divmod(number, 26)
    return f"{chr(ord('a') + place)}{turn + 1 if turn else ''}"


def _numbered(measures: Iterator[LeadMeasure]) -> Iterator[LeadMeasure]:
    for number, measure in enumerate(measures, 1):
        yield replace(measure, number=str(number))


class _Laid:
    """A stanza with its words and chords at their places, in quarters from the start of each bar."""

    def __init__(self, stanza: Stanza, name: str) -> None:
        self.name = name
        self._stanza = stanza
        self._bars = [*([stanza.pickup] if stanza.pickup else []), *stanza.bars]
        self.lengths = [Fraction(4 * bar.meter[0], bar.meter[1]) for bar in self._bars]
        self._parts_fill = list(self.lengths)
        if stanza.pickup is not None and stanza.pickup_beat is not None:
            beat = Fraction(4, stanza.pickup.meter[1])
            self.lengths[0] = self._parts_fill[0] = min(stanza.pickup_beat * beat, self.lengths[0] - beat / 2)
        self.pickup_quarter = self.lengths[0] if stanza.pickup is not None else Fraction(0)
        self.places: list[Places] = []
        self._chords: list[tuple[LeadChord, ...]] = []

    def leave(self, quarters: Fraction, *, own: bool) -> None:
        """Leave so much time at the end to the pick-up that follows."""
        if quarters and quarters < self.lengths[-1] and len(self._bars) > bool(self._stanza.pickup):
            self.lengths[-1] -= quarters
            if own:
                self._parts_fill[-1] = self.lengths[-1]

    def lay(self, file: str) -> None:
        """Give chords and words their places."""
        for bar, filled, length in zip(self._bars, self._parts_fill, self.lengths, strict=True):
            places, chords = _laid(bar, filled)
            if len(places) > _MOST_SUNG or len(bar.parts) > _MOST_SUNG:
                many = max(len(places), len(bar.parts))
                raise TuneError(
                    f"line {bar.line} of {file}: one bar holds {many}, be they words or chords, "
                    f"and a bar has at most {_MOST_SUNG}: write [|] where the next one begins"
                )
            self.places.append(_within(places, length))
            self._chords.append(tuple(chord for chord in chords if chord.start_quarter < length))

    def measures(self) -> Iterator[LeadMeasure]:
        """Yield the measures, not numbered yet."""
        row = -1
        for index, bar in enumerate(self._bars):
            starts = sorted(self.places[index])
            edges = [*starts, self.lengths[index]]
            notes = tuple(
                LeadNote(start, end - start, None, words=((1, self.places[index][start]),))
                for start, end in zip(starts, edges[1:], strict=True)
            )
            yield LeadMeasure(
                "",
                self.lengths[index],
                bar.meter,
                notes,
                self._chords[index],
                repeat_start=bar.repeat_start,
                repeat_times=bar.repeat_times,
                endings=bar.endings,
                section=self.name if index == 0 else "",
                new_line=bar.row != row,
            )
            row = bar.row


def _within(places: Places, length: Fraction) -> Places:
    """Return words at places before an end: those that would come later share the last place's time."""
    late = [
        syllable for start, syllable in sorted(places.items(), key=lambda each: each[0]) if start >= length
    ]
    if not late:
        return places
    kept = {start: syllable for start, syllable in places.items() if start < length}
    last = max(kept, default=Fraction(0))
    step = (length - last) / (len(late) + 1)
    kept |= {last + step * (index + 1): syllable for index, syllable in enumerate(late)}
    return kept


def _laid(bar: DraftBar, filled: Fraction) -> tuple[Places, tuple[LeadChord, ...]]:
    """Return the words and chords of a bar whose parts fill so many quarters."""
    places: Places = {}
    chords = []
    size = filled / max(len(bar.parts), 1)
    for index, part in enumerate(bar.parts):
        start = index * size
        if part.chord is not None:
            chords.append(replace(part.chord, start_quarter=start))
        for offset, syllable in zip(_offsets(part, size, bar.meter), part.sung, strict=True):
            places[start + offset] = syllable
    return places, tuple(chords)


def _offsets(part: Part, size: Fraction, meter: tuple[int, int]) -> list[Fraction]:
    """Return where in a part its syllables start: on pulses where these suffice, else on beats, halves, quarters."""
    count = len(part.sung)
    beat = Fraction(4, meter[1])
    units = [pulse_quarter(meter), beat, beat / 2, beat / 4]
    unit = next((unit for unit in units if size // unit >= count), size / max(count, 1))
    return [unit * index for index in range(count)]


def _share_places(group: Sequence[_Laid]) -> None:
    """Give all passes of a section the same rests: a syllable goes on where another pass has one more."""
    for index in range(len(group[0].places)):
        shortest = min(laid.lengths[index] for laid in group)
        for laid in group:
            laid.places[index] = _within(laid.places[index], shortest)
        sung = [laid.places[index] for laid in group]
        starts = sorted({start for places in sung for start in places})
        if not starts:
            continue
        shared = sorted({Fraction(0), *starts})
        if len(shared) > _MOST_SUNG:
            continue
        for laid in group:
            own = laid.places[index]
            laid.places[index] = {start: own.get(start, _HOLD) for start in shared}
