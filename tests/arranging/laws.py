"""What must hold of every arrangement, each law as a plain function that returns what breaks it.

The laws are worked out from the bars as played and from the four strings alone: nothing of the arranger's own
reckoning is used, so that it can't agree with its own mistakes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise, product

from tercet.arranging import Arrangement, Gesture, StringNote
from tercet.neck.hands import Hand
from tercet.song import Bar, ChordSpan, Note, played_bars
from tercet.theory import LAST_FRET
from tests.neck.hand_rules import faults as hand_faults

Law = Callable[[Arrangement], list[str]]

PULSE_BEAT = {"6/8": 3, "9/8": 3, "12/8": 3}
"""Length of the pulse where it isn't the beat."""


def broken_laws(arrangement: Arrangement) -> dict[str, list[str]]:
    """Return the laws that an arrangement breaks, by name, with all that breaks them."""
    found = {name: law(arrangement) for name, law in LAWS.items()}
    return {name: faults for name, faults in found.items() if faults}


# What is written, read anew


def pulse_beat(arrangement: Arrangement) -> Fraction:
    """Return the length of the pulse in beats."""
    return Fraction(PULSE_BEAT.get(str(arrangement.song.meter), 1))


def part_beat(arrangement: Arrangement) -> Fraction:
    """Return half a pulse, or a third of a dotted one."""
    pulse = pulse_beat(arrangement)
    return pulse / (3 if pulse == 3 else 2)


def written(bars: tuple[Bar, ...], row: str) -> list[tuple[Fraction, Fraction, Note]]:
    """Return where each struck note of a row begins and ends, ties joined, with its first written note."""
    struck: list[tuple[Fraction, Fraction, Note]] = []
    tied = False
    for bar in bars:
        notes = bar.melody if row == "melody" else bar.between
        if notes is None:
            tied = False
            continue
        for note in notes:
            end_beat = bar.start_beat + note.start_beat + note.length_beat
            if tied and not note.is_rest:
                struck[-1] = (struck[-1][0], end_beat, struck[-1][2])
            elif not note.is_rest:
                struck.append((bar.start_beat + note.start_beat, end_beat, note))
            tied = note.tied_on and not note.is_rest
    return struck


def chords_at(arrangement: Arrangement, beat: Fraction, until_beat: Fraction) -> list[ChordSpan]:
    """Return the chord that holds at a beat, and those that come in after it up to another."""
    found: list[ChordSpan] = []
    for bar in arrangement.bars:
        if bar.start_beat + bar.length_beat <= beat or bar.start_beat > until_beat:
            continue
        for span in bar.chords:
            start_beat = bar.start_beat + span.start_beat
            if start_beat <= beat:
                found = [span]
            elif start_beat <= until_beat:
                found.append(span)
    return found


def open_midi(arrangement: Arrangement, string: int) -> int:
    """Return what an open string sounds."""
    return arrangement.tuning.open_pitches[4 - string].midi


def tune(arrangement: Arrangement) -> list[Gesture]:
    """Return the gestures that carry the tune."""
    return [gesture for gesture in arrangement.gestures if gesture.notes[-1].part == "tune"]


def end_beat(arrangement: Arrangement, gesture: Gesture) -> Fraction:
    """Return where a note ends: as written; one that is added, where the tune takes its string or its finger."""
    written_beat = gesture.start_beat + gesture.length_beat
    note = gesture.notes[-1]
    if note.part != "added":
        return written_beat
    return min(
        (
            other.start_beat
            for other in tune(arrangement)
            if gesture.start_beat < other.start_beat < written_beat and _takes(other, note)
        ),
        default=written_beat,
    )


def _takes(gesture: Gesture, note: StringNote) -> bool:
    """Whether a gesture strikes the string of a note that rings, or takes the finger from it."""
    struck = note.string in {other.string for other in gesture.notes}
    return struck or (gesture.shape[4 - note.string] or 0) != note.fret


def strums(arrangement: Arrangement) -> list[Gesture]:
    """Return the strums and chops."""
    return [gesture for gesture in arrangement.gestures if gesture.layer == "strums"]


def told(arrangement: Arrangement, gesture: Gesture, words: str) -> bool:
    """Whether a problem that holds some words is reported for a gesture's bar, on whichever pass."""
    place = (gesture.section, gesture.section_bar)
    bars = {other.bar_number for other in arrangement.gestures if (other.section, other.section_bar) == place}
    return any(words in problem.message and problem.bar_number in bars for problem in arrangement.problems)


def places(arrangement: Arrangement) -> set[int]:
    """Return every pitch that some string has."""
    opens = [open_midi(arrangement, string) for string in (1, 2, 3, 4)]
    return {midi + fret for midi in opens for fret in range(LAST_FRET + 1)}


def off_neck(note: Note, arrangement: Arrangement) -> int:
    """Return by how many octaves a note of the song must be moved before a string has it, up where two are as near."""
    midi, there = _midi(note, arrangement), places(arrangement)
    return min(
        (octaves for octaves in range(-10, 11) if midi + 12 * octaves in there),
        key=lambda octaves: (abs(octaves), -octaves),
    )


def sounding(note: Note, arrangement: Arrangement) -> int:
    """Return the pitch at which a note of the song is to sound: moved by octaves onto the neck, or kept as asked."""
    octaves = 0 if arrangement.song.as_written else off_neck(note, arrangement)
    return _midi(note, arrangement) + 12 * octaves


def emptied(arrangement: Arrangement, gesture: Gesture) -> bool:
    """Whether a gesture's place in the tab is to be left empty: the song keeps a note that no string has."""
    return arrangement.song.as_written and gesture.notes[-1].midi not in places(arrangement)


# The laws


def tune_whole(arrangement: Arrangement) -> list[str]:
    """Every note of the tune is there once: its onset, its length, its pitch."""
    there = [(g.start_beat, g.start_beat + g.length_beat, g.notes[-1].midi) for g in tune(arrangement)]
    asked = [
        (start_beat, end_beat, sounding(note, arrangement))
        for start_beat, end_beat, note in written(played_bars(arrangement.song), "melody")
    ]
    return _differences(asked, there)


def added_whole(arrangement: Arrangement) -> list[str]:
    """Every note of a written `between` row is there once, and no other where the song doesn't ask for it.

    One that begins together with a note of the tune may be left out, where that is told.
    """
    filled = filling(arrangement)
    there = [
        (gesture.start_beat, gesture.start_beat + gesture.length_beat, note.midi)
        for gesture in arrangement.gestures
        for note in gesture.notes
        if note.part == "added" and gesture not in filled
    ]
    asked = [
        (start_beat, end_beat, sounding(note, arrangement))
        for start_beat, end_beat, note in written(played_bars(arrangement.song), "between")
    ]
    onsets = {gesture.start_beat: gesture for gesture in tune(arrangement)}
    left_out = {
        start_beat for start_beat in onsets if told(arrangement, onsets[start_beat], "is left out: no hand")
    }
    return _differences([item for item in asked if item in there or item[0] not in left_out], there)


def filling(arrangement: Arrangement) -> list[Gesture]:
    """Return the added notes in bars without a `between` row, where the song asks for them."""
    if arrangement.song.between != "fill":
        return []
    unwritten = {bar.number for bar in arrangement.bars if bar.between is None}
    return [
        gesture
        for gesture in arrangement.gestures
        if gesture.notes[-1].part == "added" and gesture.bar_number in unwritten
    ]


def filling_leads_under_the_tune(arrangement: Arrangement) -> list[str]:
    """What fills a space lies under a held note of the tune and goes on from it, on pulses or parts of them.

    It is a tone of the chord, or a step that moves on by one or two semitones; never higher than the tune, never on
    its string or its onset; and it ends before the tune goes on. Bars with a strum row of their own are left alone.
    """
    faults = []
    singles = [gesture for gesture in arrangement.gestures if gesture.layer != "strums"]
    for gesture in filling(arrangement):
        beat, note = gesture.start_beat, gesture.notes[-1]
        bar = next(bar for bar in arrangement.bars if bar.number == gesture.bar_number)
        before = [other for other in tune(arrangement) if other.start_beat < beat]
        after = [other for other in singles if other.start_beat > beat]
        chord = chords_at(arrangement, beat, beat)[0].chord
        if not before or not after or chord is None or bar.strum is not None:
            faults.append(f"beat {beat}: not in a space that is to be filled")
            continue
        held = before[-1]
        step = abs(after[0].notes[-1].midi - note.midi)
        if not (note.midi % 12 in chord.pitch_classes or step in (1, 2)):
            faults.append(f"beat {beat}: {note.midi} is no tone of {chord} and moves on by {step}")
        if note.midi > held.notes[-1].midi or note.string == held.notes[-1].string:
            faults.append(f"beat {beat}: {note} over {held.notes[-1]}")
        onsets = {other.start_beat for other in tune(arrangement)}
        rings = beat + gesture.length_beat <= held.start_beat + held.length_beat
        if beat in onsets or not rings or held.length_beat < 2 * pulse_beat(arrangement):
            faults.append(f"beat {beat}: not within a held note")
        if (beat - bar.start_beat) % part_beat(arrangement):
            faults.append(f"beat {beat}: off the pulse and its parts")
    return faults


def _midi(note: Note, arrangement: Arrangement) -> int:
    if note.pitch is not None:
        return note.pitch.midi
    string, fret = note.position or (0, 0)
    return open_midi(arrangement, string) + fret


def _differences(
    asked: list[tuple[Fraction, Fraction, int]], there: list[tuple[Fraction, Fraction, int]]
) -> list[str]:
    missing = [f"missing: {item}" for item in asked if item not in there]
    extra = [f"not written: {item}" for item in there if item not in asked]
    twice = [] if len(there) == len(set(there)) else ["a note appears twice"]
    return missing + extra + twice


def strings_sound_what_they_say(arrangement: Arrangement) -> list[str]:
    """String and fret make the pitch, and the frets are those of the shape; a note without a fret is on no string."""
    faults = []
    for gesture in arrangement.gestures:
        for note in gesture.notes:
            if note.fret is None:
                if not (emptied(arrangement, gesture) and note is gesture.notes[-1]):
                    faults.append(f"beat {gesture.start_beat}: {note} has no fret")
                continue
            if open_midi(arrangement, note.string) + note.fret != note.midi:
                faults.append(f"beat {gesture.start_beat}: {note}")
            if gesture.shape[4 - note.string] != note.fret:
                faults.append(f"beat {gesture.start_beat}: {note} isn't in the shape {gesture.shape}")
    return faults


def staff_is_what_sounds(arrangement: Arrangement) -> list[str]:
    """The notes of the tune that are printed on the staff are the pitches that sound."""
    heard = {(gesture.start_beat, gesture.notes[-1].midi) for gesture in tune(arrangement)}
    return [
        f"beat {start_beat}: {note} is printed and doesn't sound"
        for start_beat, _, note in written(arrangement.bars, "melody")
        if (start_beat, _midi(note, arrangement)) not in heard
    ]


def moved_notes_are_marked_and_told(arrangement: Arrangement) -> list[str]:
    """A note that no string has as written carries its octaves, a sign for each; its pitch is told once."""
    faults = []
    song = arrangement.song
    asked: dict[tuple[Fraction, str], int] = {}
    pitches = set()
    rows = {"tune": "melody", "added": "between"}
    played = {(each.start_beat, rows.get(each.notes[-1].part)) for each in arrangement.gestures}
    for row in ("melody", "between"):
        for start_beat, _, note in written(played_bars(song), row):
            octaves = off_neck(note, arrangement)
            asked[start_beat, row] = octaves
            if octaves and (start_beat, row) in played:
                pitches.add(_midi(note, arrangement))
    for gesture in arrangement.gestures:
        octaves = asked.get((gesture.start_beat, rows.get(gesture.notes[-1].part, "")), 0)
        struck = gesture.notes[-1]
        signs = ("*" if octaves > 0 else "†") * abs(octaves)
        fret = "" if struck.fret is None else str(struck.fret)
        if (struck.off_neck, struck.shown) != (octaves, fret + signs):
            faults.append(f"beat {gesture.start_beat}: {struck} for {octaves}")
        if any(other.off_neck for other in gesture.notes[:-1]):
            faults.append(f"beat {gesture.start_beat}: a string of the chord is marked")
    reported = [problem for problem in arrangement.problems if problem.off_neck]
    if len(reported) != len(pitches) or any(each.unplayable != song.as_written for each in reported):
        faults.append(f"told: {reported}, for {pitches}")
    return faults


def rolls_fall_to_the_tune(arrangement: Arrangement) -> list[str]:
    """A roll strikes neighbouring strings, falling, the tune's last; a single note strikes one string."""
    faults = []
    for gesture in arrangement.gestures:
        if gesture.action not in ("roll", "single"):
            continue
        strings = [note.string for note in gesture.notes]
        parts = [note.part for note in gesture.notes]
        falling = all(above - below == 1 for above, below in pairwise(strings))
        behind = parts == ["chord"] and gesture.layer == "between"  # a string of a broken chord
        carries = (parts[-1] in ("tune", "added") or behind) and all(part == "chord" for part in parts[:-1])
        rests_on = strings[-1] - 1 if len(strings) > 1 and strings[-1] > 1 else None
        if not (falling and carries and (len(strings) > 1) == (gesture.action == "roll")):
            faults.append(f"beat {gesture.start_beat}: {gesture.action} {strings} {parts}")
        if gesture.rests_on != rests_on:
            faults.append(f"beat {gesture.start_beat}: rests on {gesture.rests_on}, not {rests_on}")
    return faults


def the_thumb_has_time(arrangement: Arrangement) -> list[str]:
    """Rolls begin at least 150 ms after each other, but for those that the song itself asks for."""
    asked = {
        start_beat
        for start_beat, _, note in written(arrangement.bars, "melody")
        if note.pin is not None and (note.pin.action == "roll" or len(note.pin.strings) > 1)
    }
    rolls = [gesture.start_beat for gesture in arrangement.gestures if gesture.action == "roll"]
    beat_s = 60 / float(arrangement.song.tempo * pulse_beat(arrangement))
    return [
        f"beat {later}: the roll comes {float(later - earlier) * beat_s:.3f} s after another"
        for earlier, later in pairwise(rolls)
        if float(later - earlier) * beat_s < 0.15 - 1e-9 and later not in asked
    ]


THREE_FINGERS_S = {"beginner": 0.8, "improving": 0.4, "free": 0.15}
"""In less time these players aren't asked to set three fingers."""


def strums_leave_the_hand_time(arrangement: Arrangement) -> list[str]:
    """A strum that the song doesn't ask for lets go of a hand early enough for three fingers to be set anew."""
    if arrangement.song.strum is not None:
        return []
    beat_s = 60 / float(arrangement.song.tempo * pulse_beat(arrangement))
    least_s = THREE_FINGERS_S[arrangement.song.players]
    by_hand = {bar.number for bar in arrangement.bars if bar.strum is not None}
    faults = []
    held: Gesture | None = None
    last: Gesture | None = None
    for gesture in arrangement.gestures:
        if gesture.layer == "strums":
            last = gesture if held is not None and held.shape == gesture.shape else None
            continue
        if held is not None and last is not None and gesture.fingers:
            old, new = _places_pressed(held), _places_pressed(gesture)
            moved = sum(not places <= old.get(finger, set()) for finger, places in new.items())
            time_s = float(gesture.start_beat - last.start_beat) * beat_s
            same = (last.section, last.pass_number) == (gesture.section, gesture.pass_number)
            if moved >= 3 and time_s < least_s - 1e-6 and same and last.bar_number not in by_hand:
                faults.append(f"beat {last.start_beat}: {moved} fingers in {time_s:.2f} s")
        held, last = (gesture if gesture.fingers else None), None
    return faults


def _places_pressed(gesture: Gesture) -> dict[int, set[tuple[int, int | None]]]:
    """Return for each finger in use where it presses, as (column, fret)."""
    pressed: dict[int, set[tuple[int, int | None]]] = {}
    for column, finger in enumerate(gesture.fingers):
        if finger:
            pressed.setdefault(finger, set()).add((column, gesture.shape[column]))
    return pressed


def strums_are_neighbours(arrangement: Arrangement) -> list[str]:
    """A strum strikes neighbouring strings in one direction, none twice."""
    faults = []
    for gesture in strums(arrangement):
        strings = [note.string for note in gesture.notes]
        step = 1 if gesture.up else -1
        if not strings or any(after - before != step for before, after in pairwise(strings)):
            faults.append(f"beat {gesture.start_beat}: {strings}, up: {gesture.up}")
    return faults


def strings_under_the_tune_are_chord_tones(arrangement: Arrangement) -> list[str]:
    """What is struck besides written notes belongs to the chord, or is the shape that the song pins.

    A roll up to one part of a pulse before a change of chord may belong to the chord that comes.
    """
    faults = []
    for gesture in arrangement.gestures:
        others = [note for note in gesture.notes if note.part == "chord"]
        if not others:
            continue
        early_beat = part_beat(arrangement) if gesture.action == "roll" else Fraction(0)
        spans = chords_at(arrangement, gesture.start_beat, gesture.start_beat + early_beat)
        if not any(_belong(others, span) for span in spans):
            faults.append(f"beat {gesture.start_beat}: {others} under {[str(span.chord) for span in spans]}")
    return faults


def _belong(notes: list[StringNote], span: ChordSpan) -> bool:
    if span.chord is None:
        return False
    if span.shape is not None:
        return all(span.shape[4 - note.string] == note.fret for note in notes)
    return all(note.midi % 12 in span.chord.pitch_classes for note in notes)


def tune_is_on_top(arrangement: Arrangement) -> list[str]:
    """No string of a roll sounds above the tune, unless it doubles it an octave higher or is reported."""
    faults = []
    for gesture in arrangement.gestures:
        top = gesture.notes[-1]
        if gesture.action != "roll":
            continue
        above = [note for note in gesture.notes if note.midi > top.midi and (note.midi - top.midi) % 12]
        if above and not told(arrangement, gesture, "masked"):
            faults.append(f"beat {gesture.start_beat}: {above} above {top}")
    return faults


def no_strum_on_an_onset(arrangement: Arrangement) -> list[str]:
    """No strum falls on the onset of a note of the tune."""
    onsets = {gesture.start_beat for gesture in tune(arrangement)}
    return [f"beat {gesture.start_beat}" for gesture in strums(arrangement) if gesture.start_beat in onsets]


def ringing_strings_are_left_alone(arrangement: Arrangement) -> list[str]:
    """While a note of the tune rings, nothing strikes its string; an added note that must is reported."""
    faults = []
    ringing: Gesture | None = None
    for gesture in arrangement.gestures:
        strikes = {note.string for note in gesture.notes}
        if ringing is not None and gesture.notes[-1].part != "tune":
            rings = gesture.start_beat < ringing.start_beat + ringing.length_beat
            taken = ringing.notes[-1].string in strikes
            if rings and taken and not _excused(arrangement, gesture):
                faults.append(f"beat {gesture.start_beat}: string {ringing.notes[-1].string}")
        if gesture.notes[-1].part == "tune":
            ringing = gesture
    return faults


def _excused(arrangement: Arrangement, gesture: Gesture) -> bool:
    """Whether it is reported that an added note takes a string, or its place is left empty."""
    return told(arrangement, gesture, "takes a string or a finger") or emptied(arrangement, gesture)


def added_notes_are_left_alone(arrangement: Arrangement) -> list[str]:
    """While an added note rings, no strum strikes its string."""
    added = [gesture for gesture in arrangement.gestures if gesture.notes[-1].part == "added"]
    return [
        f"beat {strum.start_beat}: string {gesture.notes[-1].string}"
        for gesture in added
        for strum in strums(arrangement)
        if gesture.start_beat <= strum.start_beat < end_beat(arrangement, gesture)
        and gesture.notes[-1].string in {note.string for note in strum.notes}
    ]


def what_is_let_go_is_told(arrangement: Arrangement) -> list[str]:
    """While an added note rings, the tune strikes another string and leaves the finger on its fret, or it is told."""
    faults = []
    for added in arrangement.gestures:
        note = added.notes[-1]
        if note.part != "added" or emptied(arrangement, added):
            continue
        stops_beat = end_beat(arrangement, added)
        early = stops_beat < added.start_beat + added.length_beat
        if early and not told(arrangement, added, "stops early"):
            faults.append(f"beat {stops_beat}: {note} of beat {added.start_beat}")
    return faults


def one_note_a_string(arrangement: Arrangement) -> list[str]:
    """No string is struck twice at one beat, but for a note that no string has."""
    faults = []
    struck: dict[tuple[Fraction, int], Gesture] = {}
    for gesture in arrangement.gestures:
        for note in gesture.notes:
            key = (gesture.start_beat, note.string)
            if key in struck and not emptied(arrangement, gesture):
                faults.append(f"beat {gesture.start_beat}: string {note.string}")
            struck[key] = gesture
    return faults


def hands_can_hold_it(arrangement: Arrangement) -> list[str]:
    """A left hand can hold every shape: four fingers, a barre on the lowest fret only, at most 85 mm."""
    faults = []
    for gesture in arrangement.gestures:
        frets = tuple(fret or 0 for fret in gesture.shape)
        if not can_hold(frets, arrangement.song.scale_length_mm) and not emptied(arrangement, gesture):
            faults.append(f"beat {gesture.start_beat}: {gesture.shape}")
    return faults


def fingers_can_hold_it(arrangement: Arrangement) -> list[str]:
    """The fingers that are given press just the frets of the shape, as a left hand can."""
    faults = []
    for gesture in arrangement.gestures:
        if not gesture.fingers:
            continue
        four, three, two, one = (fret or 0 for fret in gesture.shape)
        first, second, third, fourth = gesture.fingers
        hand = Hand((four, three, two, one), (first, second, third, fourth), gesture.position)
        found = hand_faults(hand, arrangement.song.scale_length_mm)
        faults += [f"beat {gesture.start_beat}: {hand}: {fault}" for fault in found]
    return faults


def strums_are_full(arrangement: Arrangement) -> list[str]:
    """Where easy fingers could sound third and root beside the tune, the hand under a strum does, unless pinned."""
    faults = []
    for gesture in strums(arrangement):
        span = chords_at(arrangement, gesture.start_beat, gesture.start_beat)[0]
        if span.chord is None or span.shape is not None:
            continue
        ringing = tuple(
            (note.string, note.fret)
            for other in arrangement.gestures
            for note in other.notes
            if note.part != "chord"
            and other.start_beat <= gesture.start_beat < end_beat(arrangement, other)
            and note.fret is not None
        )
        opens = tuple(pitch.midi for pitch in arrangement.tuning.open_pitches)
        sounding = {midi + (fret or 0) for midi, fret in zip(opens, gesture.shape, strict=True)}
        telling = frozenset(span.chord.needed_classes[:2])
        if telling <= {midi % 12 for midi in sounding}:
            continue
        tones = frozenset(span.chord.pitch_classes)
        if _full_shape_exists(opens, tones, telling, ringing, arrangement.song.scale_length_mm):
            faults.append(f"beat {gesture.start_beat}: {gesture.shape} is a thin {span.chord}")
    return faults


@lru_cache(maxsize=4096)
def _full_shape_exists(
    opens: tuple[int, ...],
    tones: frozenset[int],
    telling: frozenset[int],
    ringing: tuple[tuple[int, int], ...],
    scale_length_mm: float,
) -> bool:
    """Whether three fingers on frets 1 to 4, at most 60 mm apart, make a shape that has all the telling tones."""
    fixed = dict(ringing)
    for frets in product(*([fixed[string]] if string in fixed else range(5) for string in (4, 3, 2, 1))):
        pressed = [fret for fret in frets if fret]
        classes = {(midi + fret) % 12 for midi, fret in zip(opens, frets, strict=True)}
        others = {
            (midi + fret) % 12
            for midi, fret, string in zip(opens, frets, (4, 3, 2, 1), strict=True)
            if string not in fixed
        }
        apart_mm = (
            scale_length_mm * (2 ** (-min(pressed) / 12) - 2 ** (-max(pressed) / 12)) if pressed else 0.0
        )
        easy = len(pressed) <= 3 and apart_mm <= 60 and can_hold(frets, scale_length_mm)
        if easy and others <= tones and telling <= classes:
            return True
    return False


def can_hold(frets: tuple[int, ...], scale_length_mm: float) -> bool:
    """Whether fingers can be found for a shape, tried out one barre after the other."""
    pressed = [fret for fret in frets if fret]
    if not pressed:
        return True
    nut_mm = [scale_length_mm - scale_length_mm / 2 ** (fret / 12) for fret in (min(pressed), max(pressed))]
    span_frets = 5 if min(pressed) >= 5 else 4
    if nut_mm[1] - nut_mm[0] > 85.0 or max(pressed) - min(pressed) >= span_frets:
        return False
    return min(_fingers(frets)) <= 4


def _fingers(frets: tuple[int, ...]) -> Iterator[int]:
    """Yield the fingers needed without a barre, and with each that the index finger could make."""
    yield sum(fret > 0 for fret in frets)
    lowest = min(fret for fret in frets if fret)
    for first in range(4):
        for last in range(first + 1, 5):
            under = frets[first:last]
            if all(under) and under[0] == under[-1] == lowest:
                yield 1 + sum(fret > 0 for fret in frets) - under.count(lowest)


def pattern_only_in_long_spaces(arrangement: Arrangement) -> list[str]:
    """Strums that the song doesn't write out fall in spaces of at least two pulses, well before the next note."""
    pulse = pulse_beat(arrangement)
    onsets = sorted(gesture.start_beat for gesture in tune(arrangement))
    end_beat = arrangement.bars[-1].start_beat + arrangement.bars[-1].length_beat
    faults = []
    for gesture in strums(arrangement):
        bar = next(bar for bar in arrangement.bars if bar.number == gesture.bar_number)
        if bar.strum is not None:
            continue
        before = max((beat for beat in onsets if beat < gesture.start_beat), default=Fraction(0))
        after = min((beat for beat in onsets if beat > gesture.start_beat), default=end_beat)
        if after - before < 2 * pulse or after - gesture.start_beat < part_beat(arrangement):
            faults.append(f"beat {gesture.start_beat}: between {before} and {after}")
    return faults


def written_strums_are_played(arrangement: Arrangement) -> list[str]:
    """Every stroke of a bar's own strum row is played, but where the tune strikes or no chord stands."""
    onsets = {gesture.start_beat for gesture in tune(arrangement)}
    there = {gesture.start_beat: gesture for gesture in strums(arrangement)}
    faults = []
    for bar in arrangement.bars:
        for place, slot in enumerate(bar.strum or ()):
            beat = bar.start_beat + bar.length_beat * place / len(bar.strum or ())
            gesture = there.get(beat)
            chord = chords_at(arrangement, beat, beat)[0].chord
            if slot == "." or chord is None or beat in onsets:
                faults += [f"beat {beat}: {slot} is struck"] if gesture is not None else []
            elif gesture is None:
                left_out = any(
                    "the written strum is left out" in problem.message for problem in arrangement.problems
                )
                faults += [] if left_out else [f"beat {beat}: {slot} is missing"]
            elif _slot_of(gesture) != slot:
                faults.append(f"beat {beat}: {slot} is played as {_slot_of(gesture)}")
    return faults


def _slot_of(gesture: Gesture) -> str:
    if gesture.action == "chop":
        return "x"
    letter = "u" if gesture.up else "d"
    return letter.upper() if gesture.accent else letter


def places_agree(arrangement: Arrangement) -> list[str]:
    """Gestures are in order, and each says rightly where it stands: bar, section, pass, place in the bar."""
    faults = []
    starts = [gesture.start_beat for gesture in arrangement.gestures]
    if starts != sorted(starts):
        faults.append("not in order")
    by_number = {bar.number: bar for bar in arrangement.bars}
    for gesture in arrangement.gestures:
        bar = by_number[gesture.bar_number]
        inside = bar.start_beat <= gesture.start_beat < bar.start_beat + bar.length_beat
        if gesture.section_bar:
            beat = bar.start_beat + gesture.bar_beat
            same = (bar.section, bar.section_bar, bar.pass_number)
            right = (gesture.section, gesture.section_bar, gesture.pass_number) == same
        else:
            beat = bar.start_beat + bar.length_beat + gesture.bar_beat
            after = by_number[gesture.bar_number + 1]
            right = (gesture.section, gesture.pass_number, 1) == (
                after.section,
                after.pass_number,
                after.section_bar,
            )
        if not (inside and right and beat == gesture.start_beat):
            faults.append(
                f"beat {gesture.start_beat}: {gesture.section} {gesture.section_bar} {gesture.bar_beat}"
            )
    return faults


def passes_are_fingered_alike(arrangement: Arrangement) -> list[str]:
    """A note of the tune is played alike on every pass, except in bars that were replaced for the pass.

    In a pick-up the chord belongs to the section before, so only single notes must agree there, in their strings. Where
    the song adds another note on one pass, that note may be struck otherwise; its layer stays.
    """
    added = [
        (start_beat, end_beat, (_midi(note, arrangement), note.position))
        for start_beat, end_beat, note in written(arrangement.bars, "between")
    ]
    own = {bar.number for bar in arrangement.bars if bar.own}
    known: dict[object, Gesture] = {}
    faults = []
    for gesture in tune(arrangement):
        if gesture.bar_number in own:
            continue
        place = (gesture.section, gesture.section_bar, gesture.bar_beat, gesture.notes[-1].midi)
        beat = gesture.start_beat
        if gesture.section_bar and known.setdefault((place, "layer"), gesture).layer != gesture.layer:
            faults.append(f"beat {beat}: {gesture.layer}, on another pass not")
        beside = [
            (start_beat == beat, voiced)
            for start_beat, end_beat, voiced in added
            if start_beat <= beat < end_beat
        ]
        style = arrangement.song.style_of(gesture.section, gesture.pass_number)
        first = known.setdefault((place, style, *beside), gesture)
        alike = gesture.notes == first.notes
        if gesture.section_bar:
            alike = alike and (gesture.shape, gesture.layer) == (first.shape, first.layer)
        elif "roll" in (gesture.action, first.action):
            alike = True
        if not alike:
            faults.append(f"beat {gesture.start_beat}: {gesture.notes}, before {first.notes}")
    return faults


def styles_are_kept(arrangement: Arrangement) -> list[str]:
    """Where the style has no rolls none is struck; in a ringing tune only on notes of two pulses, or where it is asked.

    Single strings of a chord are struck only where it is broken.

    Each of those sounds the chord, three semitones or more under the note of the tune that rings, off its string and
    its onset; it has ended when the tune comes nearer. Bars with a row of their own are left alone.
    """
    faults = []
    rung = tune(arrangement)
    onsets = {gesture.start_beat for gesture in rung}
    rows = {bar.number for bar in arrangement.bars if bar.between is not None or bar.strum is not None}
    asked = {beat for beat, _, note in written(arrangement.bars, "melody") if note.pin is not None}
    for gesture in arrangement.gestures:
        beat, note = gesture.start_beat, gesture.notes[-1]
        style = arrangement.song.style_of(gesture.section, gesture.pass_number)
        if gesture.action == "roll" and style in ("plain", "broken"):
            faults.append(f"beat {beat}: a roll in style {style}")
        short = gesture.length_beat < 2 * pulse_beat(arrangement) and beat not in asked
        if gesture.action == "roll" and style == "ringing" and short:
            faults.append(f"beat {beat}: a short roll in style {style}")
        if gesture.action != "single" or note.part != "chord":
            continue
        span = chords_at(arrangement, beat, beat)[0]
        if style != "broken" or gesture.layer != "between" or gesture.bar_number in rows or beat in onsets:
            faults.append(f"beat {beat}: no place for the string of a chord")
        if not _belong([note], span):
            faults.append(f"beat {beat}: {note.midi} is no tone of {span.chord}")
        ends_beat = beat + gesture.length_beat
        for other in rung:
            over = other.notes[-1]
            rings = other.start_beat <= beat < other.start_beat + other.length_beat
            comes = beat < other.start_beat < ends_beat
            if (rings or comes) and (over.string == note.string or over.midi < note.midi + 3):
                faults.append(f"beat {beat}: {note} beside the tune's {over}")
    return faults


LAWS: dict[str, Law] = {
    "the tune is whole": tune_whole,
    "added notes are whole": added_whole,
    "filling leads under the tune": filling_leads_under_the_tune,
    "strings sound what they say": strings_sound_what_they_say,
    "the staff is what sounds": staff_is_what_sounds,
    "moved notes are marked and told": moved_notes_are_marked_and_told,
    "rolls fall to the tune": rolls_fall_to_the_tune,
    "the thumb has time": the_thumb_has_time,
    "strums leave the hand time": strums_leave_the_hand_time,
    "strums are neighbours": strums_are_neighbours,
    "strings under the tune are chord tones": strings_under_the_tune_are_chord_tones,
    "the tune is on top": tune_is_on_top,
    "no strum on an onset": no_strum_on_an_onset,
    "ringing strings are left alone": ringing_strings_are_left_alone,
    "added notes are left alone": added_notes_are_left_alone,
    "one note a string": one_note_a_string,
    "what is let go is told": what_is_let_go_is_told,
    "hands can hold it": hands_can_hold_it,
    "fingers can hold it": fingers_can_hold_it,
    "strums are full": strums_are_full,
    "the pattern only in long spaces": pattern_only_in_long_spaces,
    "written strums are played": written_strums_are_played,
    "places agree": places_agree,
    "passes are fingered alike": passes_are_fingered_alike,
    "styles are kept": styles_are_kept,
}
