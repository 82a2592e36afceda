"""Quiet strums in the long spaces of the tune, and the rows that the song writes out itself."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from itertools import groupby, pairwise, zip_longest

from tercet.arranging.between import Added
from tercet.arranging.chord_hands import (
    Grip,
    apart,
    beside,
    chord_hand,
    pinned_hand,
    shown_shape,
    sounds_chord,
    tells_chord,
)
from tercet.arranging.fingering import Fingered
from tercet.arranging.model import Gesture, Problem, StringNote
from tercet.arranging.path import AT_EASE_S
from tercet.arranging.piece import Piece, begun
from tercet.arranging.problems import strum_problem
from tercet.arranging.strum_families import Family, family_of, finest_pattern
from tercet.arranging.tune import SHORTEST_SPACE_PULSES
from tercet.neck import shape_midis
from tercet.neck.demands import COSTS, LIMITS, Hands
from tercet.neck.hands import Hand
from tercet.neck.priced_hands import OPEN_HAND, hands_up_to
from tercet.song import Bar, ChordSpan, Meter, Slot, Song
from tercet.song.styles import STYLES
from tercet.theory import STRUM_SIGNS, Chord, Tuning

__all__ = [
    "SlotAt",
    "default_pattern",
    "one_strum_a_bar",
    "slots_of",
    "strokes_in_spaces",
    "strokes_left",
    "strum_gesture",
    "strum_gestures",
    "strums_worth_playing",
]


@dataclass(frozen=True, slots=True)
class SlotAt:
    """One stroke of the strum pattern in the piece as played; `written` when the bar has a strum row of its own.

    `bar_beat` counts from the start of the bar with that index.
    """

    bar_index: int
    bar_beat: Fraction
    beat: Fraction
    slot: Slot
    written: bool


@dataclass(frozen=True, slots=True)
class _Moment:
    """What rings when a strum is struck, and how long there is until the tune's next note.

    Parameters
    ----------
    tune
        The last note of the tune that began no later, ringing or not.
    added
        The last added note that began no later.
    beat, following_beat
        When the strum is struck, and when the tune strikes again or this playing of the section ends.
    following
        The note with which the tune strikes again; None where this playing of the section ends first.
    end_beat
        Until when a strum that is struck now is held.
    visit_beat
        When this playing of the section began.
    broken
        Whether the strings of a broken chord are struck in this space.
    on_tune, on_added
        Whether that note of the tune, and that added one, begin at this very moment.
    """

    tune: Fingered | None
    added: Added | None
    beat: Fraction
    following_beat: Fraction
    following: Fingered | None
    end_beat: Fraction
    visit_beat: Fraction
    broken: bool
    on_tune: bool
    on_added: bool

    @property
    def ringing(self) -> tuple[Fingered | Added, ...]:
        """The written notes that sound at the moment."""
        return tuple(
            item for item in (self.tune, self.added) if item is not None and item.end_beat > self.beat
        )

    @property
    def tune_midi(self) -> int | None:
        """The key of the tune's note before, ringing or not: where its register is."""
        return None if self.tune is None else self.tune.note.midi

    @property
    def busy(self) -> frozenset[int]:
        """Strings that aren't struck now."""
        return frozenset(item.stroke.string for item in self.ringing)

    @property
    def held(self) -> tuple[tuple[int, int], ...]:
        """(string, fret) pairs that the left hand keeps down."""
        return tuple((item.stroke.string, item.stroke.fret) for item in self.ringing if item.reached)


class _Onsets:
    """What is struck before the strums: the tune and the added notes, by beat."""

    def __init__(self, fingered: Sequence[Fingered], added: Sequence[Added]) -> None:
        self.fingered, self.added = fingered, added
        self.starts = [float(item.note.start_beat) for item in fingered]
        self.added_starts = [float(item.note.start_beat) for item in added]
        self.broken_starts = [float(item.note.start_beat) for item in added if item.part == "chord"]
        self.thumb_beats = sorted(
            [item.note.start_beat for item in fingered] + [item.note.start_beat for item in added]
        )
        self.thumb_starts = [float(beat) for beat in self.thumb_beats]


@dataclass(frozen=True, slots=True)
class _Held:
    """The left hand between strums, the chord that it holds, and since when."""

    hand: Hand
    chord: Chord | None
    since_beat: Fraction


FEWEST_BARS_VARIED = 4
"""A section of fewer bars is strummed alike on all its passes."""

UP_STRINGS = 3
"""A finger that comes up catches the strings nearest the floor, and no more than these."""


def default_pattern(meter: Meter) -> tuple[Slot, ...]:
    """Return the pattern of a song that gives none: a down stroke on each pulse.

    >>> default_pattern(Meter(6, 8))
    ('d', '.', '.', 'd', '.', '.')
    """
    pulse = int(meter.pulse_beat)
    return tuple("d" if place % pulse == 0 else "." for place in range(meter.upper))


def slots_of(song: Song, bars: Sequence[Bar]) -> Iterator[SlotAt]:
    """Yield the strokes of the song's pattern, or of a bar's own row, in order: all that may be struck there.

    Where the song gives no pattern that is every part of a pulse. A first bar that is shorter than the meter has the
    end of the pattern; a row of its own fills just that bar.
    """
    pattern = song.strum or finest_pattern(song.meter)
    for index, bar in enumerate(bars):
        yield from _slots(song.meter, index, bar, pattern)


def _slots(meter: Meter, index: int, bar: Bar, pattern: Sequence[Slot]) -> Iterator[SlotAt]:
    """Yield the strokes of a pattern in a bar, or of its own row."""
    slots = pattern if bar.strum is None else bar.strum
    filled_beat = meter.bar_beat if bar.strum is None else bar.length_beat
    for beat, slot in zip(_slot_beats(filled_beat, bar.length_beat, len(slots)), slots, strict=True):
        if beat is not None and not STRUM_SIGNS[slot].silent:
            yield SlotAt(index, beat, bar.start_beat + beat, slot, bar.strum is not None)


@lru_cache(maxsize=256)
def _slot_beats(filled_beat: Fraction, length_beat: Fraction, count: int) -> tuple[Fraction | None, ...]:
    """Return where the slots of a pattern fall in a bar; None for those before a bar that is shorter than the meter."""
    beats = [place * filled_beat / count - (filled_beat - length_beat) for place in range(count)]
    return tuple(beat if beat >= 0 else None for beat in beats)


def strum_gestures(
    fingered: Sequence[Fingered], added: Sequence[Added], piece: Piece
) -> tuple[tuple[Gesture, ...], tuple[Problem, ...]]:
    """Return the strums: the pattern in the tune's long spaces, and every stroke of a written strum row.

    No strum falls on the onset of a note of the tune, nor strikes a string on which a written note rings; where a
    written stroke meets a note of the tune, the tune's own stroke stands for it. The pattern leaves out places where
    an added note is played, the last part of a pulse before the next note, when the thumb makes ready, and what a
    quick tempo leaves no time for; and it isn't played at all in a space that has a broken chord. Spaces are measured
    within one playing of a section, so that nothing later changes them.

    Returns
    -------
    strums, problems
        In order; and the written strums that no hand can hold, once for each bar of a section.
    """
    return _struck(([offer] for offer in _with_moments(fingered, added, piece)), piece)


def strokes_in_spaces(
    fingered: Sequence[Fingered], added: Sequence[Added], piece: Piece
) -> tuple[SlotAt, ...]:
    """Return the strokes of pattern and rows that there is room and time for, whether a hand holds the chord or not."""
    return tuple(slot for slot, _ in _with_moments(fingered, added, piece))


def strokes_left(
    slots: Sequence[SlotAt], fingered: Sequence[Fingered], added: Sequence[Added], piece: Piece
) -> tuple[SlotAt, ...]:
    """Return those of some strokes that are still played beside added notes."""
    return tuple(slot for slot, _ in _played(slots, _Onsets(fingered, added), piece))


def _with_moments(
    fingered: Sequence[Fingered], added: Sequence[Added], piece: Piece
) -> list[tuple[SlotAt, _Moment]]:
    """Return the strokes that are played, each with what rings then."""
    onsets = _Onsets(fingered, added)
    return _played(list(_slots_to_play(onsets, piece)), onsets, piece)


def _played(slots: Sequence[SlotAt], onsets: _Onsets, piece: Piece) -> list[tuple[SlotAt, _Moment]]:
    """Return the strokes that spaces and the time leave room for, each with what rings then."""
    moments = _moments(slots, onsets, piece)
    struck = [offer for offer in zip(slots, moments, strict=True) if _is_struck(*offer, piece)]
    return list(_in_time(struck, onsets, piece))


def _slots_to_play(onsets: _Onsets, piece: Piece) -> Iterator[SlotAt]:
    """Yield the strokes that each bar offers: its own row, the song's pattern, or a bar of the song's family.

    Of a family's bars each takes the first of which something else is played than in the strummed bar before; where
    all sound alike, the first. So what a bar is strummed with depends on that bar and on what comes before. A section
    that comes again is strummed as on its first pass, so that it is printed and learnt once; only its last bar, unless
    the section is short, goes another way. Where the style is plain there is a down stroke on each pulse.
    """
    song, meter = piece.song, piece.song.meter
    family = None
    if song.strum is None:
        family = family_of(meter, song.players, float(piece.part_beat) * piece.beat_s)
    pattern = song.strum or default_pattern(meter)
    if family is None:
        for index, bar in enumerate(piece.bars):
            yield from _slots(meter, index, bar, pattern)
        return
    before: tuple[tuple[Fraction, Slot], ...] = ()
    known: dict[tuple[str, int, bool], tuple[Slot, ...]] = {}
    for index, bar in enumerate(piece.bars):
        own = bar.strum is not None or STYLES[piece.spot(index, Fraction(0)).style].downs
        place = (bar.section, bar.section_bar, _goes_another_way(index, piece))
        if own:
            bars: Sequence[tuple[Slot, ...]] = (pattern,)
        elif place in known:
            bars = (known[place],)
        else:
            usual = known.get((bar.section, bar.section_bar, False))
            bars = [slots for slots in _family_bars(family, index, piece) if slots != usual]
            if not _has_space(index, onsets, piece):
                bars = bars[:1]
        tried: list[tuple[tuple[Slot, ...], list[SlotAt], tuple[tuple[Fraction, Slot], ...]]] = []
        for slots in bars:
            offered = list(_slots(meter, index, bar, slots))
            heard = tuple((slot.bar_beat, slot.slot) for slot, _ in _played(offered, onsets, piece))
            tried.append((slots, offered, heard))
            if heard and heard != before:
                break
        else:
            slots, offered, heard = tried[0]
        before = heard or before
        if not own:
            known.setdefault(place, slots)
        yield from offered


def _has_space(index: int, onsets: _Onsets, piece: Piece) -> bool:
    """Whether the tune may leave a space in a bar that is long enough for strums; some that it does aren't."""
    bar = piece.bars[index]
    visit_beat, visit_end_beat = map(float, piece.visit_beats[index])
    first = begun(onsets.starts, bar.start_beat)
    after = bisect_left(onsets.starts, float(bar.start_beat + bar.length_beat))
    since_beat = onsets.starts[first - 1] if first else visit_beat
    until_beat = onsets.starts[after] if after < len(onsets.starts) else visit_end_beat
    struck = (since_beat, *onsets.starts[first:after], until_beat)
    shortest_beat = float(SHORTEST_SPACE_PULSES * piece.pulse_beat)
    return any(later - earlier > shortest_beat - 1e-6 for earlier, later in pairwise(struck))


def _family_bars(family: Family, index: int, piece: Piece) -> tuple[tuple[Slot, ...], ...]:
    """Return the bars of a family to try in a bar of the piece."""
    bar = piece.bars[index]
    end_beat = bar.start_beat + bar.length_beat
    coming = begun(piece.phrase_starts, bar.start_beat)
    phrase_end = piece.phrase_starts[coming] if coming < len(piece.phrase_starts) else end_beat
    turns = _ends_section(index, piece)
    return family.bars(ends_phrase=turns or phrase_end <= end_beat, turns=turns)


def _ends_section(index: int, piece: Piece) -> bool:
    bar = piece.bars[index]
    return bar.start_beat + bar.length_beat >= piece.visit_beats[index][1]


def _goes_another_way(index: int, piece: Piece) -> bool:
    """Whether a bar is strummed otherwise than on the first pass: the last of a section that comes again."""
    bar = piece.bars[index]
    return bar.pass_number > 1 and bar.section_bar >= FEWEST_BARS_VARIED and _ends_section(index, piece)


def _in_time(
    struck: Iterable[tuple[SlotAt, _Moment]], onsets: _Onsets, piece: Piece
) -> Iterator[tuple[SlotAt, _Moment]]:
    """Yield the strokes that there is time for; those of a written strum row are always played."""
    thumb_beats = onsets.thumb_beats

    def space(offer: tuple[SlotAt, _Moment]) -> tuple[bool, Fraction, int]:
        slot, moment = offer
        return slot.written, moment.visit_beat, begun(onsets.thumb_starts, slot.beat)

    for (written, visit_beat, now), group in groupby(struck, key=space):
        offers = list(group)
        if not written:
            before_beat = thumb_beats[now - 1] if now else None
            if before_beat is not None and before_beat < visit_beat and not offers[0][1].ringing:
                before_beat = None
            after_beat = thumb_beats[now] if now < len(thumb_beats) else None
            if after_beat is not None and after_beat > offers[0][1].following_beat:
                after_beat = None
            beats = [slot.beat for slot, _ in offers]
            offers = offers[strums_worth_playing(beats, before_beat, after_beat, piece.beat_s)]
        yield from offers


def _one_strum_each(
    offers: Iterable[Sequence[SlotAt]], fingered: Sequence[Fingered], piece: Piece
) -> tuple[Gesture, ...]:
    """Return one strum for each offer: at the first of its places where a hand can hold the chord beside the tune."""
    offered = list(offers)
    slots = [slot for places in offered for slot in places]
    moments = _moments(slots, _Onsets(fingered, ()), piece)
    return _struck(([(slot, next(moments)) for slot in places] for places in offered), piece)[0]


def _struck(
    offers: Iterable[Sequence[tuple[SlotAt, _Moment]]], piece: Piece
) -> tuple[tuple[Gesture, ...], tuple[Problem, ...]]:
    """Strike once for each offer, at the first of its places where a hand can; tell of written strums that none can."""
    gestures: list[Gesture] = []
    problems: dict[object, Problem] = {}
    hand = _Held(OPEN_HAND, None, Fraction(-1))
    for offer in offers:
        for slot, moment in offer:
            span = piece.chord_at(slot.beat)
            grip = _grip(_hand_now(hand, moment), span, moment, piece.hands, written=slot.written)
            if grip is not None and (_is_asked(slot, piece) or _leaves_time(grip.hand, moment, piece)):
                hand = _Held(grip.hand, span.chord, slot.beat)
                gestures.append(strum_gesture(slot, moment.end_beat - slot.beat, grip, span, piece))
                break
            if grip is None and slot.written and span.chord is not None:
                bar = piece.bars[slot.bar_index]
                problem = strum_problem(bar, span)
                problems.setdefault((bar.section, bar.section_bar, problem.message), problem)
    return tuple(gestures), tuple(problems.values())


def _is_asked(slot: SlotAt, piece: Piece) -> bool:
    """Whether the song itself asks for a stroke, by its pattern or in a row."""
    return slot.written or piece.song.strum is not None


def _leaves_time(hand: Hand, moment: _Moment, piece: Piece) -> bool:
    """Whether a hand that strums has time to get to the tune's next note; where the section ends first, it has."""
    after = None if moment.following is None else moment.following.hand
    if after is None:
        return True
    gap_s = float(moment.following_beat - moment.beat) * piece.beat_s
    return hands_up_to(piece.hands, *hand.frets, *after.frets).has_time(hand, after, gap_s)


def _moments(slots: Sequence[SlotAt], onsets: _Onsets, piece: Piece) -> Iterator[_Moment]:
    """Yield for each stroke what rings then, and until when it is held: to the next stroke, or the tune's next note."""
    fingered, added = onsets.fingered, onsets.added
    for slot, next_slot in zip_longest(slots, slots[1:]):
        visit_beat, visit_end_beat = piece.visit_beats[slot.bar_index]
        place = float(slot.beat)
        now = bisect_right(onsets.starts, place)
        added_now = bisect_right(onsets.added_starts, place)
        following = fingered[now] if now < len(fingered) else None
        if following is not None and following.note.start_beat >= visit_end_beat:
            following = None
        following_beat = visit_end_beat if following is None else following.note.start_beat
        space_beat = max(fingered[now - 1].note.start_beat, visit_beat) if now else visit_beat
        yield _Moment(
            tune=fingered[now - 1] if now else None,
            added=added[added_now - 1] if added_now else None,
            beat=slot.beat,
            following_beat=following_beat,
            following=following,
            end_beat=following_beat if next_slot is None else min(following_beat, next_slot.beat),
            visit_beat=visit_beat,
            broken=bisect_left(onsets.broken_starts, float(space_beat))
            < bisect_left(onsets.broken_starts, float(following_beat)),
            on_tune=bool(now) and onsets.starts[now - 1] == place,
            on_added=bool(added_now) and onsets.added_starts[added_now - 1] == place,
        )


def _is_struck(slot: SlotAt, moment: _Moment, piece: Piece) -> bool:
    """Whether a stroke is played: off the tune's onsets, and for the pattern only in a space that is long enough."""
    if moment.on_tune:
        return False
    if slot.written:
        return True
    if moment.broken or moment.on_added or moment.following_beat - slot.beat < piece.part_beat:
        return False
    since_beat = settled_beat = moment.visit_beat
    tune = moment.tune
    if tune is not None and (end_beat := tune.note.end_beat) > moment.visit_beat:
        since_beat = tune.note.start_beat
        settled_beat = min(since_beat + piece.part_beat, end_beat)
    return slot.beat >= settled_beat and (
        moment.following_beat - since_beat >= SHORTEST_SPACE_PULSES * piece.pulse_beat
    )


def _hand_now(strummed: _Held, moment: _Moment) -> _Held:
    """Return the hand at a moment: as the last strum left it, or a later note of the tune.

    Where a section begins with a strum, the hand is taken as open, so that all passes begin alike.
    """
    tune = moment.tune
    if tune is not None and tune.note.start_beat > strummed.since_beat:
        chord = tune.note.chord if tune.note.end_beat > moment.beat else None
        strummed = _Held(tune.hand or OPEN_HAND, chord, tune.note.start_beat)
    if strummed.since_beat < moment.visit_beat and not moment.ringing:
        return _Held(OPEN_HAND, None, moment.visit_beat)
    return strummed


def _grip(held: _Held, span: ChordSpan, moment: _Moment, hands: Hands, *, written: bool) -> Grip | None:
    """Return what the hand holds for a strum and the strings struck, or None for no strum.

    The hand stays where it is if it holds the chord, third and root included where any hand could; else it forms it.
    The largest group of strings comes first, of equal ones that further from the tune's register; one string alone is
    only struck, and hands are only stretched, where the song writes the strum itself.
    """
    chord, now = span.chord, held.hand
    if chord is None:
        return None
    if span.shape is not None:
        return pinned_hand(span, hands, moment.busy, moment.held)
    stays = held.chord == chord and all(now.frets[4 - string] == fret for string, fret in moment.held)
    for strings in _further_first(moment.busy, moment.tune_midi, hands.tuning):
        if len(strings) == 1 and not written:
            continue
        holds = stays and sounds_chord(now.frets, chord, hands, strings)
        if holds and tells_chord(now.frets, chord, hands):
            return Grip(now, strings)
        formed = chord_hand(chord, hands, now, moment.held, strings, moment.tune_midi)
        if holds and not (formed is not None and tells_chord(formed.frets, chord, hands)):
            return Grip(now, strings)
        if formed is None and written:
            freer = replace(hands, limits=LIMITS["free"])
            formed = chord_hand(chord, freer, now, moment.held, strings, moment.tune_midi)
        if formed is not None:
            return Grip(formed, strings)
    return None


@lru_cache(maxsize=1024)
def _further_first(
    busy: frozenset[int], tune_midi: int | None, tuning: Tuning
) -> tuple[tuple[int, ...], ...]:
    """Return the groups of free strings, the largest first, of equal ones that which lies further from the tune."""
    return tuple(
        sorted(
            beside(busy),
            key=lambda group: (-len(group), -apart(group, OPEN_HAND.frets, tune_midi, tuning)),
        )
    )


def strum_gesture(slot: SlotAt, length_beat: Fraction, grip: Grip, span: ChordSpan, piece: Piece) -> Gesture:
    """Return the gesture of one strum or chop."""
    shape, strings = grip.hand.frets, grip.strings
    spot = piece.spot(slot.bar_index, slot.bar_beat)
    sign = STRUM_SIGNS[slot.slot]
    midis = shape_midis(shape, piece.tuning)
    struck = tuple(reversed(strings))[:UP_STRINGS] if sign.up else strings
    return Gesture(
        layer="strums",
        action="chop" if sign.chop else "strum",
        start_beat=slot.beat,
        length_beat=length_beat,
        notes=tuple(StringNote(name, shape[4 - name], midis[4 - name], "chord") for name in struck),
        bar_number=piece.bars[slot.bar_index].number,
        section=spot.place.section,
        section_bar=spot.place.section_bar,
        pass_number=spot.pass_number,
        bar_beat=spot.place.bar_beat,
        phrase=spot.phrase,
        accent=sign.accent or piece.accented(spot, "strums"),
        up=sign.up,
        shape=shown_shape(shape, strings, span.shape),
    )


# ---- how many strums a space is worth: the right hand between thumb and strum


def strums_worth_playing(
    beats: Sequence[Fraction], before_beat: Fraction | None, after_beat: Fraction | None, beat_s: float
) -> slice:
    """Return which strums of a space are played: the run of neighbours that costs least, the longest of equals.

    What a run costs is a sum of one part for its first strum and one for its last, so each is chosen by itself. Where
    the first would then come after the last, no run pays.

    Parameters
    ----------
    beats
        Where the space could be strummed, in order.
    before_beat, after_beat
        Where the thumb struck last and strikes next; None where it doesn't, so that nothing hurries.
    beat_s
        How long a beat lasts, in seconds.
    """
    if not beats:
        return slice(0, 0)
    worth = -COSTS["strum in a space"]

    def there(first: int) -> float:
        gap_beat = None if before_beat is None else beats[first] - before_beat
        return _change("thumb to strum", gap_beat, beat_s)

    def back(last: int) -> float:
        gap_beat = None if after_beat is None else after_beat - beats[last]
        return _change("strum to thumb", gap_beat, beat_s)

    places = range(len(beats))
    first = min(places, key=lambda place: (there(place) + worth * place, place))
    last = min(places, key=lambda place: (back(place) - worth * place, -place))
    pays = there(first) + back(last) <= worth * (last - first + 1)
    return slice(first, last + 1) if pays else slice(0, 0)


def _change(name: str, gap_beat: Fraction | None, beat_s: float) -> float:
    """Return what a change of the right hand costs: its weight at half a second, more with less time."""
    return 0.0 if gap_beat is None else COSTS[name] * AT_EASE_S / (float(gap_beat) * beat_s)


# ---- a part for beginners

READY_S = 0.25
"""Beginners strum between two pulses only where they have this long before and after."""


def one_strum_a_bar(fingered: Sequence[Fingered], piece: Piece) -> tuple[Gesture, ...]:
    """Return one down strum for each bar, where the tune leaves room for it.

    That is the bar's first pulse on which no note of the tune begins. Where each pulse has a note, it is the first half
    pulse without one, if there is time; and where the hand can't hold the chord beside the tune there, the next such
    place. A bar without any, or without a chord, has no strum; nor has a pick-up.
    """
    onsets = frozenset(item.note.start_beat for item in fingered)
    return _one_strum_each(
        (list(_places(index, bar, onsets, piece)) for index, bar in enumerate(piece.bars)), fingered, piece
    )


def _places(index: int, bar: Bar, onsets: frozenset[Fraction], piece: Piece) -> Iterator[SlotAt]:
    """Yield the places of a bar where nothing of the tune begins: pulses, then halves of pulses."""
    if not bar.section_bar:
        return
    pulses = [piece.pulse_beat * place for place in range(piece.song.meter.pulses)]
    halves = [beat + piece.part_beat for beat in pulses] if _has_time(piece) else []
    for beat in (*pulses, *halves):
        if beat < bar.pickup_from and bar.start_beat + beat not in onsets:
            yield SlotAt(index, beat, bar.start_beat + beat, "d", written=False)


def _has_time(piece: Piece) -> bool:
    return float(piece.part_beat) * piece.beat_s >= READY_S
