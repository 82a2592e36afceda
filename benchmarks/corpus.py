"""How well folk tunes come out on four strings, against our aims; see README.md beside this file.

Run as ``.venv/bin/python benchmarks/corpus.py``. The tunes are read where music21 keeps them and harmonised here by a
simple rule. What is counted is worked out anew from strings, frets and pitches, not taken from the arranger's word.
"""

from __future__ import annotations

import multiprocessing
import re
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache
from itertools import groupby, islice, pairwise, product
from pathlib import Path
from typing import Any
from zlib import crc32

from measuring import asked, counted, parser_of

from tercet.arranging import Arrangement, Gesture, arrange
from tercet.neck import Shape, fingers_needed, holdable, shape_midis, span_mm
from tercet.neck.demands import LIMITS
from tercet.song import (
    Bar,
    ChordSpan,
    Line,
    Meter,
    Note,
    Players,
    Row,
    Section,
    Song,
    Visit,
    played_bars,
    transpose_song,
    write_song,
)
from tercet.theory import LAST_FRET, TUNINGS, Chord, Key, Tuning, parse_chord, spell, transpose_key

COLLECTIONS: dict[str, int] = {"essenFolksong": 112, "airdsAirs": 32, "oneills1850": 32, "ryansMammoth": 32}
"""Tunes taken of each collection: songs of central Europe; Scottish and English airs; Irish airs and dances;
American fiddle tunes."""

METERS = {(2, 4), (3, 4), (4, 4), (2, 2), (3, 2), (3, 8), (6, 8), (9, 8), (12, 8)}
SHORT_TUNES = 1
LEAST_NOTES, MOST_NOTES, LEAST_BARS = 24, 240, 6
PULSES_A_MINUTE = Fraction(88)

HIGHEST_FRET: dict[Players, int] = {"improving": 7, "beginner": 5}
SCALES_MM = {"high-g": ("concert", 380.0), "low-g": ("concert", 380.0), "baritone": ("baritone", 510.0)}
UNPLAYABLE_COST, UNHEARD_ROLL_COST = 30.0, 5.0
"""What counts beside `Arrangement.cost` when keys are compared: each note that can't be played, and each wanted roll
whose tune isn't on top or level with what is."""

AIMS: dict[str, tuple[float, float, float]] = {
    "playable notes, %": (97.0, 99.5, 99.5),
    "wanted rolls audible, %": (88.0, 96.0, 96.0),
    "position shift a bar, frets": (-0.35, -0.23, -0.23),
    "strums of chord tones only, %": (100.0, 100.0, 100.0),
    "full shapes under strums, where one exists, %": (100.0, 100.0, 100.0),
    "masked and not reported": (0.0, 0.0, 0.0),
}
"""For players who are improving, on high-g, low-g and baritone; a negative figure is the most, not the least."""


# ---- tunes


@dataclass(frozen=True, slots=True)
class Tune:
    """A tune as read.

    Parameters
    ----------
    name, collection
        Its number or file, and where it comes from.
    key, meter
        Minor where the tune has the minor third of its tonic more often than the major one.
    notes
        (start, length, MIDI key number) in beats from the start of the pick-up; what lies between is rest.
    pickup_beat, bars
        Length before the first whole bar, and how many bars follow.
    """

    name: str
    collection: str
    key: Key
    meter: Meter
    notes: tuple[tuple[Fraction, Fraction, int], ...]
    pickup_beat: Fraction
    bars: int


def tunes(most: int) -> Iterator[Tune]:
    """Yield the selection: of each collection's tunes, in order of file and number, evenly spaced ones.

    Where a tune isn't one voice in one usual meter, is too short or too long, or its bars don't add up, the next one
    stands in.
    """
    yield from islice(_of_each_collection(most), most)


def _of_each_collection(most: int) -> Iterator[Tune]:
    total = sum(COLLECTIONS.values())
    for collection, share in COLLECTIONS.items():
        wanted = max(1, round(share * min(most, total) / total))
        places = list(_places(collection))
        taken: set[int] = set()
        for number in range(wanted):
            index = number * len(places) // wanted
            while index < len(places):
                if index not in taken:
                    taken.add(index)
                    tune = _read(collection, *places[index])
                    if tune is not None:
                        yield tune
                        break
                index += 1


def is_held_out(tune: Tune) -> bool:
    """Whether weights may not be chosen by a tune, only judged: half of all, by name."""
    return crc32(f"{tune.collection} {tune.name}".encode()) % 2 == 1


def _places(collection: str) -> Iterator[tuple[Path, int]]:
    """Yield file and number of every tune of a collection."""
    import music21

    paths = {Path(path) for path in music21.corpus.getPaths(fileExtensions=[".abc"])}
    for path in sorted(path for path in paths if path.parent.name == collection):
        for number in re.findall(r"(?m)^X:\s*(\d+)", path.read_text("utf-8", errors="replace")):
            yield path, int(number)


def _read(collection: str, path: Path, number: int) -> Tune | None:
    """Read one tune; None where it doesn't suit."""
    import music21

    try:
        score = music21.corpus.parse(str(path), number=number)
        parts = list(score.parts)
        measures = list(parts[0].getElementsByClass("Measure")) if len(parts) == 1 else []
        flat = parts[0].stripTies().flatten() if measures else None
    except (music21.exceptions21.Music21Exception, AttributeError, IndexError, ValueError):
        return None
    if flat is None or len(measures) < LEAST_BARS:
        return None
    meters = {(sign.numerator, sign.denominator) for sign in flat.getElementsByClass("TimeSignature")}
    tonic = _tonic(flat)
    if len(meters) != 1 or not meters <= METERS or tonic is None:
        return None
    meter = Meter(*meters.pop())
    scale = Fraction(meter.lower, 4)
    starts = [Fraction(measure.offset) * scale for measure in measures]
    pickup_beat = starts[1] - starts[0] if starts[1] - starts[0] < meter.upper else Fraction(0)
    notes = _notes(flat, scale)
    if notes is None or not _bars_add_up(starts, pickup_beat, meter):
        return None
    if not LEAST_NOTES <= len(notes) <= MOST_NOTES:
        return None
    counts = Counter((midi - tonic.tonic_class) % 12 for _, _, midi in notes)
    key = replace(tonic, minor=counts[3] > counts[4])
    if not -7 <= key.fifths <= 7:
        key = transpose_key(key, 0)
    bars = -(-(notes[-1][0] + notes[-1][1] - pickup_beat) // meter.upper)
    return Tune(f"{path.stem} {number}", collection, key, meter, notes, pickup_beat, int(bars))


def _tonic(flat: Any) -> Key | None:
    """Return the tonic that the tune's first key signature names, as a major key."""
    for sign in flat.getElementsByClass("KeySignature"):
        tonic = getattr(sign, "tonic", None) or sign.asKey("major").tonic
        return Key(tonic.step, int(tonic.alter), minor=False) if abs(tonic.alter) <= 1 else None
    return None


def _notes(flat: Any, scale: Fraction) -> tuple[tuple[Fraction, Fraction, int], ...] | None:
    """Return what is struck, grace notes left out; None where two notes sound at once."""
    notes: list[tuple[Fraction, Fraction, int]] = []
    for item in flat.notes:
        if item.duration.isGrace or not item.quarterLength:
            continue
        if "ChordSymbol" in item.classes:
            continue
        start = Fraction(item.offset) * scale
        if not item.isNote or (notes and start < notes[-1][0] + notes[-1][1]):
            return None
        notes.append((start, Fraction(item.quarterLength) * scale, int(item.pitch.midi)))
    return tuple(notes) if notes else None


def _bars_add_up(starts: Sequence[Fraction], pickup_beat: Fraction, meter: Meter) -> bool:
    """Whether bar lines stand where the meter puts them, but for those at repeats within a bar."""
    off = [(start - pickup_beat) % meter.upper != 0 for start in starts[1:]]
    return not any(one and other for one, other in pairwise(off)) and sum(off) * 6 <= len(off)


# ---- chords

MAJOR = {
    "I": (0, ""),
    "IV": (5, ""),
    "V7": (7, "7"),
    "vi": (9, "m"),
    "ii": (2, "m"),
    "V": (7, ""),
    "iii": (4, "m"),
}
MINOR = {"i": (0, "m"), "iv": (5, "m"), "V7": (7, "7"), "VII": (10, ""), "III": (3, ""), "VI": (8, "")}
RARE = {"iii": 0.6, "ii": 0.2, "vi": 0.2, "V": 0.3, "VI": 0.2, "III": 0.2, "VII": 0.2}
CHANGE_COST, HALF_BAR_COST, STRONG_COST, WEAK_COST = 0.5, 0.7, 3.0, 0.5
PROGRESSIONS = {("V7", "I"): -0.5, ("V7", "i"): -0.5, ("V", "I"): -0.3, ("V7", "IV"): 1.0, ("V7", "iv"): 1.0}
CADENCE_COST = 2.0


def chords_of(tune: Tune) -> tuple[tuple[ChordSpan, ...], ...]:
    """Harmonise a tune: triads of its key and V7, one a bar or one each half bar, the cheapest row of them.

    A note on a strong beat that the chord lacks costs `STRONG_COST`, any other `WEAK_COST` a beat. The last chord is
    the tonic, and a dominant before it is preferred. Found by dynamic programming over the halves of bars.
    """
    degrees = MINOR if tune.key.minor else MAJOR
    halves = 2 if tune.meter.pulses % 2 == 0 and tune.meter.pulses > 1 else 1
    span_beat = Fraction(tune.meter.upper, halves)
    tonic = "i" if tune.key.minor else "I"
    count = tune.bars * halves
    costs: dict[str, tuple[float, tuple[str, ...]]] = {"": (0.0, ())}
    for place in range(count):
        start = tune.pickup_beat + place * span_beat
        options: dict[str, tuple[float, tuple[str, ...]]] = {}
        for name in [tonic] if place == count - 1 else degrees:
            here = _fit_cost(tune, degrees[name], start, start + span_beat) + RARE.get(name, 0.0)
            options[name] = min(
                (
                    cost
                    + here
                    + _change_cost(before, name, within_bar=place % halves > 0)
                    + CADENCE_COST * (place == count - 1 and before not in ("V7", "V", tonic)),
                    (*path, name),
                )
                for before, (cost, path) in costs.items()
            )
        costs = options
    path = costs[tonic][1]
    return tuple(
        tuple(_spans(path[bar * halves : (bar + 1) * halves], degrees, tune.key, span_beat))
        for bar in range(tune.bars)
    )


def _fit_cost(tune: Tune, degree: tuple[int, str], start: Fraction, end: Fraction) -> float:
    tones = {(interval + degree[0]) % 12 for interval in parse_chord(f"C{degree[1]}").quality.intervals}
    cost = 0.0
    for onset, length, midi in tune.notes:
        sounding = min(onset + length, end) - max(onset, start)
        if sounding <= 0 or (midi - tune.key.tonic_class) % 12 in tones:
            continue
        cost += STRONG_COST if onset <= start else WEAK_COST * float(sounding / tune.meter.pulse_beat)
    return cost


def _change_cost(before: str, name: str, *, within_bar: bool) -> float:
    if before in ("", name):
        return 0.0
    return CHANGE_COST + HALF_BAR_COST * within_bar + PROGRESSIONS.get((before, name), 0.0)


def _spans(
    names: Sequence[str], degrees: dict[str, tuple[int, str]], key: Key, span_beat: Fraction
) -> Iterator[ChordSpan]:
    start = Fraction(0)
    for name, group in groupby(names):
        length = span_beat * len(list(group))
        semitones, quality = degrees[name]
        root = spell(60 + key.tonic_class + semitones, key).name
        yield ChordSpan(start, length, parse_chord(root + quality))
        start += length


# ---- songs


def song_of(tune: Tune) -> Song:
    """Return a tune with its chords as a song: one section, four bars a line."""
    cells = [
        _cell(tune, tune.pickup_beat + bar * tune.meter.upper, tune.meter.bar_beat)
        for bar in range(tune.bars)
    ]
    pickup = _cell(tune, Fraction(0), tune.pickup_beat) if tune.pickup_beat else None
    chords = chords_of(tune)
    lines = tuple(
        Line(
            (
                Row("chords", (), chords[first : first + 4]),
                Row("melody", (), tuple(cells[first : first + 4]), pickup if first == 0 else None),
            )
        )
        for first in range(0, tune.bars, 4)
    )
    return Song(
        title=tune.name,
        sections=(Section("tune", lines, tune.pickup_beat),),
        form=(Visit("tune", 1, last=True),),
        key=tune.key,
        meter=tune.meter,
        tempo=PULSES_A_MINUTE,
    )


def _cell(tune: Tune, start: Fraction, length: Fraction) -> tuple[Note, ...]:
    """Return the notes and rests of one bar, or of the pick-up."""
    made: list[Note] = []
    reached, end = start, start + length
    for onset, duration, midi in tune.notes:
        first, last = max(onset, start), min(onset + duration, end)
        if first >= last:
            continue
        if first > reached:
            made.append(Note(reached - start, first - reached))
        goes_on = onset < start
        pitch = None if goes_on else spell(midi, tune.key)
        made.append(Note(first - start, last - first, pitch, goes_on))
        reached = last
    if reached < end:
        made.append(Note(reached - start, end - reached))
    return tuple(made)


# ---- what comes out


@dataclass(slots=True)
class Figures:
    """What is counted over one or more arrangements; `misses` says where it went wrong."""

    tunes: int = 0
    notes: int = 0
    playable: int = 0
    wanted: int = 0
    audible: int = 0
    octave: int = 0
    reachable: int = 0
    rollable: int = 0
    bars: int = 0
    shift: int = 0
    strums: int = 0
    clean_strums: int = 0
    full_strums: int = 0
    may_be_full: int = 0
    masked: int = 0
    masked_silent: int = 0
    keys: Counter[str] = field(default_factory=Counter)
    misses: list[str] = field(default_factory=list)

    def add(self, other: Figures) -> None:
        """Add another arrangement's figures."""
        for name in self.__slots__:
            mine, more = getattr(self, name), getattr(other, name)
            if isinstance(mine, Counter):
                mine.update(more)
            else:
                setattr(self, name, mine + more)


def measure(arrangement: Arrangement, highest_fret: int) -> Figures:
    """Count what an arrangement plays, from strings, frets and pitches."""
    figures = Figures(tunes=1, bars=len(arrangement.bars), keys=Counter([str(arrangement.song.key)]))
    changes = _chord_changes(arrangement.bars)
    told = {problem.bar_number for problem in arrangement.problems if "masked" in problem.message}
    fingered = any(gesture.fingers for gesture in arrangement.gestures)
    position = 0
    for gesture in arrangement.gestures:
        if gesture.layer == "strums":
            _count_strum(figures, gesture, arrangement)
        elif gesture.notes[-1].part == "tune":
            _count_note(
                figures, gesture, arrangement, highest_fret, hand=bool(gesture.fingers) or not fingered
            )
            _count_roll(
                figures, gesture, arrangement, highest_fret, wanted=_is_wanted(gesture, arrangement, changes)
            )
            others = [note.midi - gesture.notes[-1].midi for note in gesture.notes[:-1]]
            if any(over > 0 and over % 12 for over in others):
                figures.masked += 1
                if gesture.bar_number not in told or (fingered and gesture.heard != "masked"):
                    figures.masked_silent += 1
            now = gesture.position or min((fret for fret in gesture.shape if fret), default=position)
            figures.shift += abs(now - position) if position and now else 0
            position = now or position
    return figures


def _share(part: int, whole: int) -> float:
    return 100 * part / whole if whole else 100.0


ROWS: dict[str, Callable[[Figures], float]] = {
    "notes that some string has, %": lambda figures: _share(figures.reachable, figures.notes),
    "playable notes, %": lambda figures: _share(figures.playable, figures.notes),
    "wanted rolls possible by pitch, %": lambda figures: _share(figures.rollable, figures.wanted),
    "wanted rolls audible, %": lambda figures: _share(figures.audible, figures.wanted),
    "… on top, level or an octave below, %": lambda figures: _share(
        figures.audible + figures.octave, figures.wanted
    ),
    "position shift a bar, frets": lambda figures: figures.shift / max(figures.bars, 1),
    "strums of chord tones only, %": lambda figures: _share(figures.clean_strums, figures.strums),
    "full shapes under strums, where one exists, %": lambda figures: _share(
        figures.full_strums, figures.may_be_full
    ),
    "strums": lambda figures: figures.strums,
    "masked": lambda figures: figures.masked,
    "masked and not reported": lambda figures: figures.masked_silent,
}


def _chord_changes(bars: Sequence[Bar]) -> frozenset[Fraction]:
    spans = [(bar.start_beat + span.start_beat, span.chord) for bar in bars for span in bar.chords]
    comes = {beat for (_, before), (beat, now) in pairwise(spans) if now != before and now is not None}
    return frozenset(comes | ({spans[0][0]} if spans[0][1] is not None else set()))


def _is_wanted(gesture: Gesture, arrangement: Arrangement, changes: frozenset[Fraction]) -> bool:
    """Whether a roll is wanted: on a chord change, a downbeat, or a long note, if it lasts an eighth and 150 ms."""
    meter, song = arrangement.song.meter, arrangement.song
    quarter_beat = Fraction(meter.lower, 4)
    beat_s = 60 / float(song.tempo * meter.pulse_beat)
    if gesture.length_beat < quarter_beat / 2 or float(gesture.length_beat) * beat_s < 0.15:
        return False
    long_beat = meter.pulse_beat if meter.pulse_beat > 1 else 2 * quarter_beat
    return gesture.start_beat in changes or gesture.bar_beat == 0 or gesture.length_beat >= long_beat


def _count_note(
    figures: Figures, gesture: Gesture, arrangement: Arrangement, highest_fret: int, *, hand: bool
) -> None:
    note, tuning = gesture.notes[-1], arrangement.tuning
    frets = tuple(fret or 0 for fret in gesture.shape)
    written_midi = note.midi - 12 * note.off_neck
    sounds = note.fret is not None and tuning.midi(note.string, note.fret) == written_midi
    held = len(frets) == 4 and holdable(
        (frets[0], frets[1], frets[2], frets[3]), arrangement.song.scale_length_mm
    )
    figures.notes += 1
    figures.reachable += _has(written_midi, tuning, highest_fret)
    if sounds and held and hand and max(frets) <= highest_fret:
        figures.playable += 1
        return
    why = (
        "no string has it" if not sounds else f"fret {max(frets)}" if max(frets) > highest_fret else "no hand"
    )
    figures.misses.append(
        f"unplayable: {why}: {spell(written_midi, arrangement.song.key)} over {_chord_name(gesture, arrangement)}"
    )


def _count_roll(
    figures: Figures, gesture: Gesture, arrangement: Arrangement, highest_fret: int, *, wanted: bool
) -> None:
    if not wanted:
        return
    note = gesture.notes[-1]
    others = [other.midi - note.midi for other in gesture.notes[:-1]]
    chord = _chord_at(gesture.start_beat, arrangement.bars)
    figures.wanted += 1
    if note.off_neck:
        return  # heard, but not the tune as it is written
    figures.rollable += chord is not None and _may_roll(
        note.midi, _tones(chord), arrangement.tuning, highest_fret
    )
    if others and max(others) <= 0:
        figures.audible += 1
        return
    octave = bool(others) and all(over <= 0 or over % 12 == 0 for over in others)
    figures.octave += octave
    kind = "octave" if octave else "masked" if others else "no roll"
    where = (
        "no chord" if chord is None else "chord tone" if note.midi % 12 in _tones(chord) else "off the chord"
    )
    figures.misses.append(
        f"roll: {kind}: {spell(note.midi, arrangement.song.key)} {where}, string {note.string}"
    )


def _has(midi: int, tuning: Tuning, highest_fret: int) -> bool:
    return any(0 <= midi - tuning.open_midi(string) <= highest_fret for string in (4, 3, 2, 1))


@lru_cache(maxsize=4096)
def _may_roll(midi: int, tones: frozenset[int], tuning: Tuning, highest_fret: int) -> bool:
    """Whether some roll carries a note on top by pitch alone: chord tones no higher on the strings from 4 or 3 on."""

    def supports(string: int) -> bool:
        frets = range(min(highest_fret, midi - tuning.open_midi(string)) + 1)
        return any((tuning.open_midi(string) + fret) % 12 in tones for fret in frets)

    stops = [string for string in (3, 2, 1) if 0 <= midi - tuning.open_midi(string) <= highest_fret]
    return any(
        all(supports(string) for string in range(start, stop, -1))
        for stop in stops
        for start in (4, 3)
        if start > stop
    )


def _count_strum(figures: Figures, gesture: Gesture, arrangement: Arrangement) -> None:
    chord = _chord_at(gesture.start_beat, arrangement.bars)
    struck = {note.midi % 12 for note in gesture.notes}
    figures.strums += 1
    if chord is None:
        figures.misses.append("strum: over no chord")
        return
    shape = {
        (arrangement.tuning.open_midi(4 - place) + fret) % 12
        for place, fret in enumerate(gesture.shape)
        if fret is not None
    }
    figures.clean_strums += struck <= _tones(chord)
    telling = {(chord.root_class + interval) % 12 for interval in chord.quality.needed[:2]}
    if not _full_shape_exists(chord, _ringing(gesture, arrangement), arrangement):
        return
    figures.may_be_full += 1
    figures.full_strums += telling <= shape
    if not telling <= shape:
        figures.misses.append(f"strum: {chord}: {gesture.shape} has no third or no root")
    if not struck <= _tones(chord):
        figures.misses.append(f"strum: {chord}: {gesture.shape} strikes a strange note")


def _ringing(strum: Gesture, arrangement: Arrangement) -> tuple[tuple[int, int], ...]:
    """Return string and fret of the tune's note that rings under a strum."""
    return tuple(
        (note.string, note.fret)
        for gesture in arrangement.gestures
        if (note := gesture.notes[-1]).part == "tune"
        and note.fret is not None
        and gesture.start_beat <= strum.start_beat < gesture.start_beat + gesture.length_beat
    )


def _full_shape_exists(chord: Chord, ringing: tuple[tuple[int, int], ...], arrangement: Arrangement) -> bool:
    """Whether these players can hold some shape of the chord beside a note, third and root in it."""
    limits, tuning = LIMITS[arrangement.song.players], arrangement.tuning
    telling = {(chord.root_class + interval) % 12 for interval in chord.quality.needed[:2]}

    def suits(shape: Shape) -> bool:
        fingers = fingers_needed(shape) if limits.barre else sum(fret > 0 for fret in shape)
        return (
            telling <= {midi % 12 for midi in shape_midis(shape, tuning)}
            and fingers <= limits.most_fingers
            and span_mm(shape, arrangement.song.scale_length_mm) <= limits.widest_mm
        )

    highest_fret, scale_mm = limits.highest_chord_fret, arrangement.song.scale_length_mm
    return any(map(suits, _chord_shapes(_tones(chord), tuning, highest_fret, scale_mm, ringing)))


@lru_cache(maxsize=4096)
def _chord_shapes(
    classes: frozenset[int],
    tuning: Tuning,
    highest_fret: int,
    scale_length_mm: float,
    held: tuple[tuple[int, int], ...] = (),
    idle: tuple[int, ...] = (),
) -> tuple[Shape, ...]:
    """Return every holdable shape whose strings sound only the given pitch classes, in rising order of frets.

    Parameters
    ----------
    classes
        Pitch classes that may sound, 0 to 11.
    tuning, highest_fret, scale_length_mm
        The neck; frets 0 to `highest_fret` are used, at most 15.
    held
        (string, fret) pairs that are fixed, whatever they sound.
    idle
        Strings that needn't sound: they may also stay open.
    """
    fixed = dict(held)
    choices: list[tuple[int, ...]] = []
    for string in (4, 3, 2, 1):
        if string in fixed:
            choices.append((fixed[string],))
            continue
        open_midi = tuning.open_midi(string)
        frets = range(min(highest_fret, LAST_FRET) + 1)
        choices.append(
            tuple(
                fret for fret in frets if (open_midi + fret) % 12 in classes or (fret == 0 and string in idle)
            )
        )
    return tuple(
        (four, three, two, one)
        for four, three, two, one in product(*choices)
        if holdable((four, three, two, one), scale_length_mm)
    )


def _chord_at(beat: Fraction, bars: Sequence[Bar]) -> Chord | None:
    for bar in bars:
        if bar.start_beat <= beat < bar.start_beat + bar.length_beat:
            for span in bar.chords:
                if span.start_beat <= beat - bar.start_beat < span.start_beat + span.length_beat:
                    return span.chord
    return None


def _chord_name(gesture: Gesture, arrangement: Arrangement) -> str:
    return str(_chord_at(gesture.start_beat, arrangement.bars) or "N.C.")


@lru_cache(maxsize=512)
def _tones(chord: Chord) -> frozenset[int]:
    return frozenset((chord.root_class + interval) % 12 for interval in chord.quality.intervals)


# ---- the best key


def best_arrangement(song: Song, tuning: Tuning, highest_fret: int) -> Arrangement:
    """Return a song arranged in its best key: the lowest cost, with what can't be played and heard added."""

    def cost(arrangement: Arrangement) -> float:
        figures = measure(arrangement, highest_fret)
        return (
            arrangement.cost
            + UNPLAYABLE_COST * (figures.notes - figures.playable)
            + UNHEARD_ROLL_COST * (figures.wanted - figures.audible)
        )

    midis = [item.pitch.midi for bar in played_bars(song) for item in bar.melody if item.pitch is not None]
    shifts = shifts_of(midis, tuning, highest_fret)
    return min((arrange(transpose_song(song, shift)[0], tuning) for shift in shifts), key=cost)


def shifts_of(midis: Sequence[int], tuning: Tuning, highest_fret: int) -> Iterator[int]:
    """Yield for each of the twelve keys by how many semitones to move: into the octaves with most notes in reach."""
    low = tuning.lowest_midi
    high = max(pitch.midi for pitch in tuning.open_pitches) + highest_fret
    for key in range(12):
        outside = {
            shift: sum(not low <= midi + shift <= high for midi in midis) for shift in range(key - 24, 25, 12)
        }
        yield from (shift for shift, count in outside.items() if count == min(outside.values()))


_Case = tuple[str, Players]


def _figures_of(tune: Tune) -> tuple[str, dict[_Case, Figures]]:
    """Return where a tune is from, and its figures for every tuning and all players."""
    song = song_of(tune)
    found: dict[_Case, Figures] = {}
    for players, highest_fret in HIGHEST_FRET.items():
        for name, (instrument, scale_mm) in SCALES_MM.items():
            asked = replace(
                song, players=players, instrument=instrument, scale_length_mm=scale_mm, tuning=name
            )
            found[name, players] = measure(best_arrangement(asked, TUNINGS[name], highest_fret), highest_fret)
    return tune.collection, found


# ---- the table


def main() -> int:
    """Read, arrange, count and print."""
    parser = parser_of("Arrange folk tunes in their best keys and count what comes out.", 1)
    parser.add_argument(
        "--tunes", type=int, default=sum(COLLECTIONS.values()), help="how many (default: all)"
    )
    parser.add_argument("--misses", type=int, default=0, help="also list so many of the commonest misses")
    parser.add_argument("--write", type=Path, help="only write the tunes into a folder, as song files")
    options = asked(parser)
    began_s = time.monotonic()
    selection = list(tunes(SHORT_TUNES if options.short else options.tunes))
    if options.write:
        for number, tune in enumerate(selection):
            name = f"{'held-out' if is_held_out(tune) else 'tune'}-{number:03}.yaml"
            (options.write / name).write_text(write_song(song_of(tune)), "utf-8")
        return 0
    print(f"{len(selection)} tunes read in {time.monotonic() - began_s:.0f} s", file=sys.stderr)
    sums: dict[tuple[str, _Case], Figures] = defaultdict(Figures)
    with multiprocessing.get_context("spawn").Pool(2) as pool:
        for number, (collection, found) in enumerate(pool.imap(_figures_of, selection, chunksize=2), 1):
            for case, figures in found.items():
                sums["all", case].add(figures)
                sums[collection, case].add(figures)
            if number % 20 == 0:
                print(f"{number} tunes, {time.monotonic() - began_s:.0f} s", file=sys.stderr)
    counted("notes arranged", sum(figures.notes for (which, _), figures in sums.items() if which == "all"))
    _show(sums, selection)
    if options.misses:
        _show_misses(sums, options.misses)
    return 0 if options.short else _missed_aims(sums)


def _missed_aims(sums: Mapping[tuple[str, _Case], Figures]) -> int:
    """Return 1 if a figure of players who are improving misses its aim."""
    return int(
        any(
            not _meets(ROWS[row](sums["all", (name, "improving")]), aims[place])
            for row, aims in AIMS.items()
            for place, name in enumerate(SCALES_MM)
        )
    )


def _show(sums: Mapping[tuple[str, _Case], Figures], selection: Sequence[Tune]) -> None:
    notes = sum(len(tune.notes) for tune in selection)
    where = ", ".join(
        f"{count} {name}" for name, count in Counter(tune.collection for tune in selection).items()
    )
    print(f"{len(selection)} tunes, {notes} notes ({where})")
    for players, highest_fret in HIGHEST_FRET.items():
        print(f"\nplayers: {players} (frets up to {highest_fret})\n")
        columns = [sums["all", (name, players)] for name in SCALES_MM]
        print(f"| {'':36} |" + "".join(f" {name:>20} |" for name in SCALES_MM))
        print("|---" * (len(SCALES_MM) + 1) + "|")
        for row, value in ROWS.items():
            aims = AIMS.get(row) if players == "improving" else None
            cells = [
                _cell_text(value(figures), aims and aims[place]) for place, figures in enumerate(columns)
            ]
            print(f"| {row:36} |" + "".join(f" {cell:>20} |" for cell in cells))
        for row in ("playable notes, %", "wanted rolls audible, %"):
            for collection in COLLECTIONS:
                parts = [
                    sums[collection, (name, players)]
                    for name in SCALES_MM
                    if (collection, (name, players)) in sums
                ]
                cells = [f"{ROWS[row](figures):.2f}" for figures in parts]
                print(f"| {f'{row}: {collection}':36} |" + "".join(f" {cell:>20} |" for cell in cells))
        for name, figures in zip(SCALES_MM, columns, strict=True):
            print(
                f"{name}: best keys "
                + ", ".join(f"{key} {count}" for key, count in figures.keys.most_common(6))
            )


def _cell_text(value: float, aim: float | None) -> str:
    if aim is None:
        return f"{value:.2f}"
    met = _meets(value, aim)
    return f"{value:.2f} ({'≤' if aim <= 0 else '≥'} {abs(aim):g}{'' if met else ', missed'})"


def _meets(value: float, aim: float) -> bool:
    """Whether a figure meets an aim: at least so much, or, if the aim is negative or none, at most that."""
    return value <= -aim if aim <= 0 else value >= aim


def _show_misses(sums: Mapping[tuple[str, _Case], Figures], most: int) -> None:
    for name in SCALES_MM:
        print(f"\n{name}, improving: commonest misses")
        for miss, count in Counter(sums["all", (name, "improving")].misses).most_common(most):
            print(f"{count:5}  {miss}")


if __name__ == "__main__":
    raise SystemExit(main())
