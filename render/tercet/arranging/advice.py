"""Which key and which tuning suit a song, those who play it and those who sing it.

A song is moved to each of the twelve keys and fingered there, in every tuning that is asked for, by the solver that
arranges it: the figures are those of the arrangement that the user gets. All tunings share the key; a tuning whose
string 4 is its lowest may take the tune an octave lower than the others, as players of a class do.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from tercet.arranging.arranger import song_tuning
from tercet.arranging.fingering import Fingered, Shared, finger_tune, may_be_rolled, tune_cost
from tercet.arranging.key_advice import ADVICE_COSTS, KeyAdvice, Sung, TuningAdvice, Voice, sung
from tercet.arranging.piece import Piece, piece_of, sized_for
from tercet.arranging.problems import written_midi
from tercet.arranging.tune import row_notes
from tercet.errors import RequestError
from tercet.neck import common_shape, has_note
from tercet.neck.demands import LIMITS, Hands
from tercet.neck.notes import moves_onto
from tercet.neck.priced_hands import EVERY_STRING, priced_hands
from tercet.song import Note, Players, Song, drop_pins, played_bars, transpose_song
from tercet.theory import LAST_FRET, TUNINGS, Chord, Key, Pitch, Tuning, spell, transpose_key
from tercet.theory.limits import MOST_SEMITONES

__all__ = ["FirstLook", "advise", "advise_each", "can_hold", "first_look", "lower_octaves"]

OCTAVE_LOWER_GAIN = 1.0
"""A tuning takes the tune an octave lower than the others where its total falls by at least this much, about a change
of position a note; or where it falls at all and more notes can be played; or where only then every note has a
string."""

MOST_OCTAVES_WEIGHED = 2
"""Where several octaves of a key fit neck and voice equally well, so many are fingered, the nearest ones."""


def advise(song: Song, tunings: Sequence[Tuning], voice: Voice | None = None) -> tuple[KeyAdvice, ...]:
    """Return the twelve keys for a song, the best first; those in which a pitch would leave MIDI's range are missing.

    A key in which every note has a string stands before any in which one hasn't. Each key is taken in the octave that
    suits neck and voice best. Ties go to the smaller move, then to the move up.

    Parameters
    ----------
    song
        As written. It is moved like `tercet.song.transpose_song` moves it, with the pins that still hold; in another
        tuning than its own it has none.
    tunings
        At least one.
    voice
        Who sings; None where nobody does.

    Raises
    ------
    RequestError
        The song has no tune.
    """
    return _ranked(_Desk(song, tunings, voice, {}))


def advise_each(
    song: Song, tunings: Sequence[Tuning], voice: Voice | None = None
) -> tuple[tuple[KeyAdvice, ...], ...]:
    """Return the twelve keys for each tuning by itself, as `advise` does; what tunings have in common is done once."""
    known: dict[object, _Counts] = {}
    return tuple(_ranked(_Desk(song, [tuning], voice, known)) for tuning in tunings)


def _ranked(desk: _Desk) -> tuple[KeyAdvice, ...]:
    keys = (min(map(desk.key, moves), key=_rank) for moves in desk.octaves)
    return tuple(sorted(keys, key=_rank))


def _rank(key: KeyAdvice) -> tuple[bool, float, int, int]:
    """Return what keys are sorted by; totals that differ by rounding errors alone are equal."""
    return key.off_neck, round(key.total, 9), abs(key.semitones), -key.semitones


def lower_octaves(
    song: Song, tunings: Sequence[Tuning], semitones: int, hands: Sequence[Players]
) -> tuple[bool, ...]:
    """Return for each of the tunings of a mixed class whether it takes the tune an octave lower than the others.

    It is what `advise` assumes; all players of one tuning stay together. A tuning whose string 4 is high stays where
    the others are, and so does one for which the song pins its fingering.

    Parameters
    ----------
    song, tunings
        As for `advise`; with one tuning, or without a tune, nothing is moved.
    semitones
        How far the song is moved for all.
    hands
        Who plays, at least one.
    """
    try:
        desks = [_Desk(replace(song, players=players), tunings, None, {}) for players in hands]
    except _NoTuneError:
        return (False,) * len(tunings)
    return tuple(_goes_lower(desks, tuning, semitones) for tuning in tunings)


def _goes_lower(desks: Sequence[_Desk], tuning: Tuning, semitones: int) -> bool:
    """Whether players of one tuning all take the tune an octave lower.

    Where that alone brings every note onto a string, they do; where it takes one off, they don't. Else it depends on
    the mean of their totals.
    """
    if not all(desk.may_go_lower(tuning, semitones) for desk in desks):
        return False
    here = [desk.advice(tuning, semitones, semitones) for desk in desks]
    lower = [desk.advice(tuning, semitones - 12, semitones) for desk in desks]
    missing = [any(one.off_neck for one in there) for there in (here, lower)]
    if missing[0] != missing[1]:
        return missing[0]
    beyond = [sum(one.missing + one.high for one in there) for there in (here, lower)]
    gain = sum(one.total for one in here) - sum(one.total for one in lower)
    return gain >= (0.0 if beyond[1] < beyond[0] else OCTAVE_LOWER_GAIN * len(desks))


def can_hold(chord: Chord, hands: Hands, frets: tuple[int | None, ...] | None = None) -> bool:
    """Whether some hands can hold a chord over all four strings, its two most telling tones among them.

    What players know by name makes no exception here: a beginner may know how B flat goes and still not hold it.

    Parameters
    ----------
    chord, hands
        What is to sound, and who plays.
    frets
        The shape that the song asks for, string 4 first, None for a string that is not played; with it only that
        shape counts.
    """
    fret_limit = hands.limits.highest_chord_fret
    if frets is not None:
        shape = tuple(fret or 0 for fret in frets)
        board = priced_hands(hands, max(fret_limit, *shape))
        return board.may_hold(shape)
    board = priced_hands(hands, fret_limit)
    held = board.asked & (board.chord(chord).sounding & EVERY_STRING == EVERY_STRING)
    for tone in chord.needed_classes[:2]:
        held &= (board.midis % 12 == tone).any(axis=1)
    return bool(held.any())


# ---- the work


@dataclass(frozen=True, slots=True)
class _Counts:
    """What comes out of one fingering.

    A song on strings of one length that lie equally far apart, moved along with them, has the same. `lowest` and
    `highest` are semitones over string 1. `held_not` are places in the list of the song's chords; `unnamed` counts
    those without a shape that players know by the chord's name.
    """

    notes: int
    missing: int
    added_missing: int
    high: int
    lowest: int
    highest: int
    wanted: int
    audible: int
    shift_per_bar: float
    cost_per_note: float
    held_not: tuple[int, ...]
    time_not_held: float
    unnamed: int


class _NoTuneError(RequestError):
    """There is nothing to move."""


class _Desk:
    """A song that is looked at in many keys: what is worked out once stays here."""

    def __init__(
        self, song: Song, tunings: Sequence[Tuning], voice: Voice | None, counts: dict[object, _Counts]
    ) -> None:
        self._song = song
        self._own = song_tuning(song)
        self._tunings = tuple(tunings)
        self._voice = voice
        self._unpinned, dropped = drop_pins(song)
        self._pinned = bool(dropped)
        piece = piece_of(song, self._own)
        added = frozenset(note.start_beat for note in row_notes(piece, "between"))
        tune = tuple(row_notes(piece))
        if not tune:
            raise _NoTuneError(f"{song.title} has no tune: there is nothing to move to another key")
        self._added = added
        self._on_strings: dict[Tuning, frozenset[int]] = {}
        self._midis = Counter(written_midi(note, piece) for note in tune)
        self._all_midis = {
            written_midi(note, piece) for note in row_notes(piece, "between")
        } | self._midis.keys()
        self._limit = LIMITS[song.players].highest_fret
        self.octaves = tuple(moves for step in range(12) if (moves := self._octaves(step)))
        self._shared = {tuning: Shared(self._board_fret(tuning)) for tuning in self._tunings}
        self._moved: dict[tuple[int, bool], Song] = {}
        self._counts = counts

    def _octaves(self, step: int) -> tuple[int, ...]:
        """Return the moves to the key so many semitones higher that suit neck and voice best, by pitches alone.

        None where some pitch would leave MIDI's range.
        """
        written = [pitch.midi for pitch in _pitches(self._song)]
        lowest, highest = min([*written, *self._midis]), max([*written, *self._midis])
        moves = [
            move
            for move in range(-MOST_SEMITONES, MOST_SEMITONES + 1)
            if move % 12 == step and lowest + move >= 0 and highest + move <= 127
        ]
        misfits = {move: (self._leaves_neck(move), round(self._misfit(move), 9)) for move in moves}
        least = min(misfits.values(), default=(False, 0.0))
        best = [move for move in moves if misfits[move] == least]
        return tuple(sorted(best, key=lambda move: (abs(move), -move))[:MOST_OCTAVES_WEIGHED])

    def key(self, semitones: int) -> KeyAdvice:
        """Return the song moved by some semitones, on all tunings."""
        first = self._song_at(semitones)
        singing = self._sung(semitones)
        return KeyAdvice(
            key=first.key,
            semitones=semitones,
            lowest=spell(min(self._midis) + semitones, first.key),
            highest=spell(max(self._midis) + semitones, first.key),
            sung_octave=singing.octave,
            semitones_outside=singing.semitones_outside,
            tunings=tuple(self._on(tuning, semitones) for tuning in self._tunings),
        )

    def _on(self, tuning: Tuning, semitones: int) -> TuningAdvice:
        """Return the song on one tuning, an octave lower than on the others where these strings take it so."""
        octave = -12 if _goes_lower([self], tuning, semitones) else 0
        return self.advice(tuning, semitones + octave, semitones)

    def may_go_lower(self, tuning: Tuning, semitones: int) -> bool:
        """Whether it may pay to look an octave lower: no more notes would be beyond the strings."""
        if len(self._tunings) == 1 or tuning.reentrant or (not semitones and self._with_pins(tuning)):
            return False
        if semitones - 12 < -MOST_SEMITONES or min(self._all_midis) + semitones - 12 < 0:
            return False
        here, lower = (
            (self._leaves(tuning, move), self._off_neck(tuning, move)) for move in (semitones, semitones - 12)
        )
        return lower <= here

    def advice(self, tuning: Tuning, semitones: int, key_semitones: int) -> TuningAdvice:
        counts = self._counted(tuning, semitones)
        song = self._song_at(semitones)
        singing = self._sung(key_semitones)
        parts = {
            "hands": counts.cost_per_note,
            "notes on no string": (counts.missing + counts.added_missing) / counts.notes,
            "notes above these players' frets": counts.high / counts.notes,
            "wanted rolls that aren't heard": (counts.wanted - counts.audible) / counts.notes,
            "chord that they can't hold": len(counts.held_not),
            "time under such chords": counts.time_not_held,
            "chord without a shape known by name": counts.unnamed,
            "notes outside the voice": singing.share_outside,
            "semitone outside the voice": singing.semitones_outside,
        }
        chords = _chords(self._piece(tuning, semitones)) if counts.held_not else []
        return TuningAdvice(
            tuning=tuning,
            semitones=semitones,
            lowest=spell(tuning.open_midi(1) + counts.lowest, song.key),
            highest=spell(tuning.open_midi(1) + counts.highest, song.key),
            notes=counts.notes,
            missing=counts.missing,
            added_missing=counts.added_missing,
            high=counts.high,
            wanted=counts.wanted,
            audible=counts.audible,
            shift_per_bar=counts.shift_per_bar,
            cost_per_note=counts.cost_per_note,
            not_held=tuple(dict.fromkeys(str(chords[place][0]) for place in counts.held_not)),
            time_not_held=counts.time_not_held,
            parts={name: ADVICE_COSTS[name] * value for name, value in parts.items()},
        )

    def _counted(self, tuning: Tuning, semitones: int) -> _Counts:
        """Return what a fingering comes to, worked out once for strings of one length that lie equally far apart."""
        lowest = tuning.open_midi(1)
        intervals = tuple(pitch.midi - lowest for pitch in tuning.open_pitches)
        length_mm = sized_for(self._song, tuning).scale_length_mm
        alike = (intervals, length_mm, semitones - lowest, self._with_pins(tuning))
        if alike not in self._counts:
            self._counts[alike] = self._count(self._piece(tuning, semitones), self._shared[tuning])
        return self._counts[alike]

    def _with_pins(self, tuning: Tuning) -> bool:
        """Whether the song's own pins may hold there."""
        return self._pinned and tuning.open_pitches == self._own.open_pitches

    def _count(self, piece: Piece, shared: Shared) -> _Counts:
        """Finger a piece and count what comes out."""
        tune, _ = finger_tune(row_notes(piece), piece, row_notes(piece, "between"), shared=shared)
        limit = piece.hands.limits.highest_fret
        wanted = [
            item
            for item in tune
            if item.main and item.note.start_beat not in self._added and may_be_rolled(item.note, piece)
        ]
        positions = [item.hand.position for item in tune if item.hand is not None]
        chords = _chords(piece)
        held_not = [
            place for place, (chord, frets) in enumerate(chords) if not can_hold(chord, piece.hands, frets)
        ]
        return _Counts(
            notes=len(tune),
            missing=_number(tune, lambda item: item.note.off_neck != 0),
            added_missing=sum(note.off_neck != 0 for note in row_notes(piece, "between")),
            high=_number(tune, lambda item: not item.note.off_neck and item.stroke.fret > limit),
            lowest=min(item.note.midi for item in tune) - piece.tuning.open_midi(1),
            highest=max(item.note.midi for item in tune) - piece.tuning.open_midi(1),
            wanted=len(wanted),
            audible=_number(wanted, lambda item: item.stroke.rolled and item.stroke.heard != "masked"),
            shift_per_bar=sum(abs(now - before) for before, now in pairwise(positions)) / len(piece.bars),
            cost_per_note=tune_cost(tune) / len(tune),
            held_not=tuple(held_not),
            time_not_held=_time_under(piece, {chords[place] for place in held_not}),
            unnamed=sum(common_shape(chord, piece.tuning) is None for chord, _ in chords),
        )

    def _piece(self, tuning: Tuning, semitones: int) -> Piece:
        """Return the song as it is arranged there: with its pins only in its own tuning."""
        return piece_of(self._song_at(semitones, with_pins=self._with_pins(tuning)), tuning)

    def _song_at(self, semitones: int, *, with_pins: bool = False) -> Song:
        place = (semitones, with_pins)
        if place not in self._moved:
            self._moved[place], _ = transpose_song(self._song if with_pins else self._unpinned, semitones)
        return self._moved[place]

    # ---- by pitches alone

    def _leaves_neck(self, semitones: int) -> bool:
        """Whether some note is on no string of some tuning, in whatever octave that tuning may take the tune."""
        return any(
            self._leaves(tuning, semitones)
            and not (self.may_go_lower(tuning, semitones) and not self._leaves(tuning, semitones - 12))
            for tuning in self._tunings
        )

    def _leaves(self, tuning: Tuning, semitones: int) -> bool:
        """Whether some note, of the tune or an added one, is on no string."""
        if tuning not in self._on_strings:
            self._on_strings[tuning] = frozenset(midi for midi in range(128) if has_note(tuning, midi))
        return not self._on_strings[tuning].issuperset(midi + semitones for midi in self._all_midis)

    def _misfit(self, semitones: int) -> float:
        """Return what the pitches alone cost: those beyond the strings or the frets of the players, or the voice."""
        necks = []
        for tuning in self._tunings:
            off = self._off_neck(tuning, semitones)
            if self.may_go_lower(tuning, semitones):
                off = self._off_neck(tuning, semitones - 12)
            necks.append(off)
        return sum(necks) / len(necks) + self._sung(semitones).cost

    def _off_neck(self, tuning: Tuning, semitones: int) -> float:
        """Return what notes cost that no string has, or that lie above the players' frets."""
        missing = high = 0
        for midi, times in self._midis.items():
            frets = [midi + semitones - pitch.midi for pitch in tuning.open_pitches]
            least = min((fret for fret in frets if 0 <= fret <= LAST_FRET), default=None)
            missing += times * (least is None)
            high += times * (least is not None and least > self._limit)
        cost = ADVICE_COSTS["notes on no string"] * missing
        return (cost + ADVICE_COSTS["notes above these players' frets"] * high) / self._midis.total()

    def _sung(self, semitones: int) -> Sung:
        return Sung() if self._voice is None else sung(self._midis, self._voice, semitones)

    def _board_fret(self, tuning: Tuning) -> int:
        """Return how far the table of hands must go for all keys that are planned."""
        top = (
            max(move for moves in self.octaves for move in moves)
            + max(self._midis)
            - max(pitch.midi for pitch in tuning.open_pitches)
        )
        return min(max(top, self._limit), LAST_FRET)


def _pitches(song: Song) -> Iterator[Pitch]:
    """Yield every pitch that is written."""
    for section in song.sections:
        for line in section.lines:
            for row in line.rows:
                for cell in (row.pickup, *row.bars):
                    yield from (item.pitch for item in cell or () if isinstance(item, Note) and item.pitch)


def _chords(piece: Piece) -> list[tuple[Chord, tuple[int | None, ...] | None]]:
    """Return the chords of a piece with the shapes that the song asks for, each once, in order of appearance."""
    spans = (span for bar in piece.bars for span in bar.chords)
    return list(dict.fromkeys((span.chord, span.shape) for span in spans if span.chord is not None))


def _number(tune: Sequence[Fingered], which: Callable[[Fingered], bool]) -> int:
    return sum(map(which, tune))


def _time_under(piece: Piece, chords: set[tuple[Chord, tuple[int | None, ...] | None]]) -> float:
    """Return the share of a piece that stands under some chords."""
    spans = [span for bar in piece.bars for span in bar.chords]
    under = sum(span.length_beat for span in spans if span.chord and (span.chord, span.shape) in chords)
    return float(under / sum(span.length_beat for span in spans))


# ---- a first look at a tune that has just come in


_MOST_BARS = 400
"""As played: in longer tunes all keys would take longer to try than anybody waits for an import."""


@dataclass(frozen=True, slots=True)
class FirstLook:
    """What is known of a tune with notes that no string has.

    Parameters
    ----------
    lowest, highest
        Its range as written.
    missing, notes
        How many of its notes, as played, no string of its tuning has.
    semitones, key
        The move that suits best of those that give every note a string, and the key that comes out; None when
        none does.
    tunings
        Names of other tunings that have all its notes as written.
    """

    lowest: Pitch
    highest: Pitch
    missing: int
    notes: int
    semitones: int | None
    key: Key | None
    tunings: tuple[str, ...]


def first_look(song: Song, *, thorough: bool = True) -> FirstLook | None:
    """Return what is to be said of a tune; None when its tuning has all notes.

    Parameters
    ----------
    song
        As it came in.
    thorough
        Whether to weigh all keys, as `advise` does, rather than to take the smallest move.
    """
    tuning = song_tuning(song)
    bars = played_bars(song)
    midis = [
        note.pitch.midi if note.pitch else tuning.midi(*note.position) if note.position else 0
        for bar in bars
        for note in bar.melody
        if note.pitch or note.position
    ]
    missing = sum(not has_note(tuning, midi) for midi in midis)
    if not missing:
        return None
    moves = moves_onto(midis, tuning)
    semitones = moves[0] if moves else None
    key = transpose_key(song.key, semitones) if semitones is not None else None
    if moves and thorough and len(bars) <= _MOST_BARS:
        best = advise(song, (tuning,))[0]
        if best.tunings[0].semitones in moves:
            semitones, key = best.tunings[0].semitones, best.key
    others = tuple(
        name
        for name, other in TUNINGS.items()
        if name != song.tuning and all(has_note(other, midi) for midi in midis)
    )
    lowest, highest = (spell(midi, song.key) for midi in (min(midis), max(midis)))
    return FirstLook(lowest, highest, missing, len(midis), semitones, key, others)
