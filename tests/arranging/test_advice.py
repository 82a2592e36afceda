"""Key advice: its figures are those of the arrangement, and what it weighs decides."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from itertools import product
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tercet.arranging import Arrangement, arrange
from tercet.arranging.advice import advise, advise_each, can_hold, lower_octaves
from tercet.arranging.fingering import Shared, finger_tune
from tercet.arranging.key_advice import ADVICE_COSTS, VOICES, KeyAdvice, Sung, Voice, sung
from tercet.arranging.piece import piece_of
from tercet.arranging.report import report_of
from tercet.arranging.tune import row_notes
from tercet.errors import RequestError
from tercet.neck import span_mm
from tercet.neck.demands import LIMITS, Hands
from tercet.song import Line, Note, Players, Row, Section, Song, read_song
from tercet.song.transpose import drop_pins, transpose_song
from tercet.theory import LAST_FRET, TUNINGS, Chord, Pitch, Tuning, parse_chord, parse_key
from tests.arranging.strategies import songs
from tests.arranging.written import section, song

SONGS = sorted((Path(__file__).parents[2] / "songs").glob("*.yaml"))
HIGH_G, LOW_G, BARITONE = TUNINGS.values()


def two_chords(first: str, second: str, players: Players) -> Song:
    """Return a short tune in the key of its first chord, the second chord in its middle bar."""
    made = song(section("verse", "C5 A4 F4 A4 | Bb4:2 D5:2 | C5:4", f"{first} | {second} | {first}"))
    return replace(made, players=players, key=parse_key(first))


def by_key(keys: tuple[KeyAdvice, ...]) -> dict[str, KeyAdvice]:
    return {str(key.key): key for key in keys}


# ---- the figures


def arrangement_of(written: Song, semitones: int, tuning: Tuning) -> Arrangement:
    """Return what the user gets for a key and a tuning."""
    pinned = written if tuning.name == written.tuning else drop_pins(written)[0]
    return arrange(transpose_song(pinned, semitones)[0], tuning)


@pytest.mark.parametrize("tuning", TUNINGS.values(), ids=lambda tuning: tuning.name)
@pytest.mark.parametrize("path", SONGS[::3], ids=lambda path: path.stem)
def test_the_figures_are_those_of_the_arrangement(path: Path, tuning: Tuning) -> None:
    written = read_song(path)
    for key in advise(written, [tuning]):
        (one,) = key.tunings
        made = arrangement_of(written, key.semitones, tuning)
        tune = [gesture for gesture in made.gestures if gesture.notes[-1].part == "tune"]
        limit = LIMITS[written.players].highest_fret
        assert made.song.key == key.key
        assert one.notes == len(tune)
        assert one.cost_per_note == pytest.approx(made.cost / len(tune))
        assert one.shift_per_bar == pytest.approx(report_of(made).totals.shift_per_bar)
        assert one.missing == sum(gesture.notes[-1].off_neck != 0 for gesture in tune)
        assert one.high == sum(
            (gesture.notes[-1].fret or 0) > limit and not gesture.notes[-1].off_neck for gesture in tune
        )
        audible = sum(gesture.action == "roll" and gesture.heard != "masked" for gesture in tune)
        assert one.audible == audible <= one.wanted <= one.notes
        sounding = sorted(gesture.notes[-1].midi for gesture in tune)
        assert (one.lowest.midi, one.highest.midi) == (sounding[0], sounding[-1])


def test_a_tune_is_moved_to_where_it_lies_well() -> None:
    tune = section("verse", "D5 B4 G#4 B4 | B4:2 E5:2 | E5:4", "E | B7 | E")
    written = song(tune, key=parse_key("E"), players="beginner", tempo=Fraction(60))
    best = advise(written, [HIGH_G])[0]
    assert (str(best.key), best.semitones, best.suits) == ("A major", -7, True)
    (figures,) = best.tunings
    assert (figures.notes, figures.wanted, figures.audible) == (7, 5, 5)
    assert (figures.playable, figures.audible_rolls, figures.shift_per_bar) == (1.0, 1.0, 0.0)
    assert (str(best.lowest), str(best.highest)) == ("C#4", "A4")
    # Faster, there the three fingers of an E7 come too soon after an A.
    assert str(advise(replace(written, tempo=Fraction(88)), [HIGH_G])[0].key) == "D major"


def test_there_is_one_entry_for_each_key_in_order_of_total() -> None:
    keys = advise(read_song(SONGS[0]), [HIGH_G, LOW_G])
    assert sorted(key.semitones % 12 for key in keys) == list(range(12))
    assert [key.total for key in keys] == sorted(key.total for key in keys)
    assert keys == advise(read_song(SONGS[0]), [HIGH_G, LOW_G])


def test_a_total_is_the_sum_of_its_weighed_parts() -> None:
    voice = Voice("C4-C5", Pitch.parse("C4"), Pitch.parse("C5"))
    key = by_key(advise(two_chords("F", "Bb", "beginner"), [HIGH_G], voice))["G major"]
    (one,) = key.tunings
    assert (str(key.lowest), str(key.highest)) == ("G4", "E5")
    assert (one.high, one.notes, key.semitones_outside) == (1, 7, 4)
    assert list(one.parts) == list(ADVICE_COSTS)
    assert one.parts["notes above these players' frets"] == pytest.approx(20.0 / 7)
    assert one.parts["semitone outside the voice"] == pytest.approx(0.75 * 4)
    assert one.parts["notes outside the voice"] == pytest.approx(10.0 * 3 / 7)
    assert one.parts["hands"] == one.cost_per_note
    assert one.total == key.total == pytest.approx(sum(one.parts.values()))


def test_a_song_without_a_tune_is_refused() -> None:
    with pytest.raises(RequestError, match="made up has no tune"):
        advise(song(section("verse", ".:4", "C")), [HIGH_G])


def test_pins_hold_in_the_songs_own_tuning_where_their_string_has_the_note() -> None:
    plain = song(section("verse", "C5:4 | A4:4", "C | F"))
    pinned = song(section("verse", "C5:4[1] | A4:4[1]", "C | F"))
    assert [key.tunings[0].audible for key in advise(pinned, [HIGH_G]) if not key.semitones] == [0]
    assert [key.tunings[0].audible for key in advise(plain, [HIGH_G]) if not key.semitones] == [2]
    assert advise(pinned, [LOW_G]) == advise(plain, [LOW_G])
    higher = [key.tunings[0].audible for key in advise(pinned, [HIGH_G]) if key.semitones > 0]
    assert set(higher) == {0}


# ---- chords


def hands_of(players: Players, tuning: Tuning = HIGH_G) -> Hands:
    return Hands(tuning, 380.0, LIMITS[players])


@pytest.mark.parametrize(
    "name", ["C", "F", "G7", "G", "Am", "Dm", "D", "A", "A7", "D7", "E7", "Em", "Gm", "B7", "C7", "Fm"]
)
def test_beginners_can_hold_what_they_are_taught(name: str) -> None:
    assert can_hold(parse_chord(name), hands_of("beginner"))


@pytest.mark.parametrize("name", ["Bb", "Bm", "B", "Db", "F#", "Bbm"])
def test_beginners_cant_hold_what_takes_a_barre_or_four_fingers(name: str) -> None:
    assert not can_hold(parse_chord(name), hands_of("beginner"))
    assert can_hold(parse_chord(name), hands_of("improving"))


@pytest.mark.parametrize("tuning", TUNINGS.values(), ids=lambda tuning: tuning.name)
def test_can_hold_is_what_trying_every_shape_finds(tuning: Tuning) -> None:
    letters = [(letter, alter) for letter in "CDEFGAB" for alter in (-1, 0, 1)]
    for (letter, alter), quality in product(letters, ("", "m", "7", "m7", "maj7", "dim", "6")):
        chord = Chord(letter, alter, parse_chord("C" + quality).quality)
        tried = any(beginners_shape(frets, chord, tuning) for frets in product(range(5), repeat=4))
        assert can_hold(chord, hands_of("beginner", tuning)) == tried, str(chord)


def beginners_shape(frets: tuple[int, ...], chord: Chord, tuning: Tuning) -> bool:
    """Whether three fingers, one a string, can hold a shape that sounds a chord and its two most telling tones."""
    classes = {(pitch.midi + fret) % 12 for pitch, fret in zip(tuning.open_pitches, frets, strict=True)}
    return (
        classes <= chord.pitch_classes
        and set(chord.needed_classes[:2]) <= classes
        and sum(fret > 0 for fret in frets) <= 3
        and span_mm(frets, 380.0) <= 60.0
    )


def test_the_songs_own_shape_counts_alone() -> None:
    f_major = parse_chord("F")
    assert can_hold(f_major, hands_of("beginner"), (2, 0, 1, 0))
    assert not can_hold(f_major, hands_of("beginner"), (5, 5, 5, 8))
    assert can_hold(f_major, hands_of("improving"), (5, 5, 5, 8))


def test_a_key_with_b_flat_is_refused_for_beginners_alone() -> None:
    beginner = by_key(advise(two_chords("F", "Bb", "beginner"), [HIGH_G]))["F major"]
    improving = by_key(advise(two_chords("F", "Bb", "improving"), [HIGH_G]))["F major"]
    assert (beginner.suits, beginner.tunings[0].not_held) == (False, ("Bb",))
    assert beginner.tunings[0].time_not_held == pytest.approx(1 / 3)
    assert (improving.suits, improving.tunings[0].not_held) == (True, ())
    assert beginner.tunings[0].parts["chord that they can't hold"] == 2.5
    assert beginner.tunings[0].parts["time under such chords"] == pytest.approx(10 / 3)


def test_without_their_weight_such_chords_would_be_recommended(monkeypatch: pytest.MonkeyPatch) -> None:
    tune = section("verse", "F4 A4 C5 A4 | Bb4:4 | A4:2 C5:2", "F | Bb | F")
    written = song(tune, players="beginner", key=parse_key("F"))
    assert str(advise(written, [HIGH_G])[0].key) == "C major"
    monkeypatch.setitem(ADVICE_COSTS, "chord that they can't hold", 0.0)
    monkeypatch.setitem(ADVICE_COSTS, "time under such chords", 0.0)
    wrong = advise(written, [HIGH_G])[0]
    assert (str(wrong.key), wrong.suits, wrong.tunings[0].not_held) == ("F major", False, ("Bb",))


# ---- several tunings


def test_tunings_that_play_together_share_key_and_mean() -> None:
    written = replace(read_song(SONGS[2]), players="beginner")
    together = advise(written, [HIGH_G, LOW_G])
    alone = [{key.semitones: key for key in advise(written, [tuning])} for tuning in (HIGH_G, LOW_G)]
    for key in together:
        totals = [one.total for one in key.tunings]
        assert key.total == pytest.approx(sum(totals) / 2)
        assert key.worst is key.tunings[totals.index(max(totals))]
        for one, keys in zip(key.tunings, alone, strict=True):
            if key.semitones == one.semitones and key.semitones in keys:
                assert one.total == pytest.approx(keys[key.semitones].total)


def test_a_baritone_takes_the_tune_an_octave_lower_where_that_is_much_better() -> None:
    written = song(section("verse", "G4 B4 D5 G5 | E5:2 D5:2 | G4:4", "G | C | G"), key=parse_key("G"))
    kept = {key.semitones: key for key in advise(written, [HIGH_G, BARITONE])}[0]
    assert [one.semitones for one in kept.tunings] == [0, -12]
    assert (str(kept.tunings[1].lowest), str(kept.tunings[1].highest)) == ("G3", "G4")
    assert {key.semitones: key for key in advise(written, [HIGH_G])}[0].tunings[0].semitones == 0
    # A reentrant tuning stays with the others.
    assert all(one.semitones == key.semitones for key in advise(written, [HIGH_G]) for one in key.tunings)


@pytest.mark.parametrize("path", SONGS[::4], ids=lambda path: path.stem)
def test_what_tunings_have_in_common_changes_nothing(path: Path) -> None:
    written = read_song(path)
    each = advise_each(written, [HIGH_G, LOW_G, BARITONE], VOICES["high"])
    assert each == tuple(advise(written, [tuning], VOICES["high"]) for tuning in (HIGH_G, LOW_G, BARITONE))


# ---- the solver's work, shared between keys


@settings(max_examples=20, deadline=None)
@given(songs(), st.lists(st.integers(-12, 12), min_size=2, max_size=3), st.sampled_from([0, 9, LAST_FRET]))
def test_sharing_choices_between_keys_changes_no_fingering(
    written: Song, moves: list[int], highest_fret: int
) -> None:
    shared = Shared(highest_fret)
    for semitones in moves:
        piece = piece_of(transpose_song(written, semitones)[0], LOW_G)
        tune = tuple(row_notes(piece))
        assert finger_tune(tune, piece, shared=shared) == finger_tune(tune, piece)


def test_choices_from_other_notes_would_be_noticed() -> None:
    piece = piece_of(song(section("verse", "C5:4 | A4:4", "C | F")), HIGH_G)
    shared = Shared(0)
    right = finger_tune(row_notes(piece), piece, shared=shared)
    first, second = list(shared.asked)[:2]
    shared.asked[first], shared.asked[second] = shared.asked[second], shared.asked[first]
    assert finger_tune(row_notes(piece), piece, shared=shared) != right


# ---- the voice


@pytest.mark.parametrize(
    ("lowest", "highest", "semitones", "found"),
    [
        ("C4", "C5", 0, Sung(0, 0, 0.0)),  # within G3 to C5
        ("C4", "C5", 2, Sung(0, 2, 0.5)),
        ("C4", "C5", -6, Sung(0, 1, 0.5)),
        ("C4", "C5", 7, Sung(-1, 0, 0.0)),  # an octave below the strings
        ("C2", "C3", 0, Sung(2, 0, 0.0)),
        ("F3", "D5", 0, Sung(0, 4, 1.0)),  # wider than the voice: as little beyond it as may be
    ],
)
def test_how_a_tune_lies_in_a_low_voice(lowest: str, highest: str, semitones: int, found: Sung) -> None:
    midis = Counter({Pitch.parse(lowest).midi: 1, Pitch.parse(highest).midi: 1})
    assert sung(midis, VOICES["low"], semitones) == found


def test_the_voices_are_what_two_choir_voices_share_less_a_tone() -> None:
    choir = {"soprano": ("C4", "A5"), "alto": ("F3", "D5"), "tenor": ("B2", "G4"), "bass": ("E2", "E4")}
    midis = {name: [Pitch.parse(end).midi for end in ends] for name, ends in choir.items()}
    for name, women, men in (("low", "alto", "bass"), ("high", "soprano", "tenor")):
        lowest = max(midis[women][0], midis[men][0] + 12) + 2
        highest = min(midis[women][1], midis[men][1] + 12) - 2
        assert (VOICES[name].lowest.midi, VOICES[name].highest.midi) == (lowest, highest)


def test_a_voice_moves_the_song() -> None:
    written = song(section("verse", "E4 G4 C5 G4 | E5:2 C5:2 | C5:4", "C | C | C"))
    assert advise(written, [LOW_G])[0].semitones == -3
    alto = Voice("A3-A4", Pitch.parse("A3"), Pitch.parse("A4"))
    best = advise(written, [LOW_G], alto)[0]
    assert (best.semitones, best.semitones_outside, best.sung_octave) == (-7, 0, 0)
    assert (str(best.lowest), str(best.highest)) == ("A3", "A4")


# ---- octaves


def test_a_key_is_taken_in_the_octave_that_fits_the_neck() -> None:
    low = song(section("verse", "C2 E2 G2 E2 | C2:4", "C | C"))
    moved = {str(key.key): (key.semitones, key.tunings[0].missing) for key in advise(low, [HIGH_G])}
    assert moved["C major"] == (24, 0)
    assert moved["A major"] == (21, 2)  # A3 is on no string, C#4 and E4 are
    assert moved["F major"] == (17, 4)
    high = song(section("verse", "C6 E6 G6 E6 | C6:4", "C | C"))
    moved = {str(key.key): (key.semitones, key.tunings[0].missing) for key in advise(high, [HIGH_G])}
    assert moved["C major"] == (-24, 0)
    assert moved["A major"] == (-15, 0)


def test_of_two_octaves_that_fit_the_cheaper_one_is_taken() -> None:
    narrow = song(section("verse", "A3 G3 A3 B3 | C4:4", "Am | C"), key=parse_key("C"))
    found = {key.semitones % 12: key.semitones for key in advise(narrow, [LOW_G])}
    costs = {}
    for semitones in (0, 12):
        made = arrange(transpose_song(narrow, semitones)[0], LOW_G)
        assert not any(problem.unplayable for problem in made.problems)
        costs[semitones] = made.cost
    assert found[0] == min(costs, key=lambda semitones: (costs[semitones], abs(semitones)))
    assert costs[0] != costs[12]


def test_keys_in_which_a_pitch_would_leave_midis_range_are_missing() -> None:
    pitches = [Pitch.parse(text) for text in ("C-1", "F9", "C4", "C4")]
    notes = tuple(Note(Fraction(place), Fraction(1), pitch) for place, pitch in enumerate(pitches))
    wide = song(Section("verse", (Line((Row("melody", (), (notes,)),)),)))
    assert sorted(key.semitones for key in advise(wide, [HIGH_G])) == [0, 1, 2]
    assert len(advise(song(section("verse", "C1 C8 C4 .", "C")), [HIGH_G])) == 12


WIDE = section("verse", "E4 G4 B4 D5 | G5 B5 A5 F#5 | E5:2 B4:2 | E4:4", "Em | G | Em | Em")
"""A tune of nineteen semitones."""


@pytest.mark.parametrize("semitones", range(-9, 6))
@pytest.mark.parametrize("players", get_args(Players))
def test_kits_take_the_octaves_that_advice_assumes(semitones: int, players: Players) -> None:
    written = song(WIDE, key=parse_key("E minor"), players=players)
    tunings = [HIGH_G, TUNINGS["low-g"], TUNINGS["baritone"]]
    lower = lower_octaves(written, tunings, semitones, [players])
    assert lower[0] is False
    for key in advise(written, tunings):
        if key.semitones == semitones:
            assert lower == tuple(one.semitones != semitones for one in key.tunings)


def test_frets_beyond_the_players_reach_bring_a_set_down() -> None:
    written = song(WIDE, key=parse_key("E minor"), players="improving")
    tunings = [HIGH_G, TUNINGS["baritone"]]
    made = arrange(written, TUNINGS["baritone"])
    assert max(gesture.notes[-1].fret or 0 for gesture in made.gestures) > LIMITS["improving"].highest_fret
    assert lower_octaves(written, tunings, 0, ["improving"]) == (False, True)
    assert lower_octaves(written, tunings, 0, ["beginner", "improving"]) == (False, True)
    assert lower_octaves(written, tunings[1:], 0, ["improving"]) == (
        False,
    )  # alone there is nobody to differ from


def test_a_set_never_goes_down_to_where_notes_have_no_string() -> None:
    low = section("verse", "C4 E4 G4 C5 | B4 A4 G4 E4", "C | C")
    written = song(low, players="improving")
    assert lower_octaves(written, [HIGH_G, TUNINGS["low-g"]], 0, ["improving"]) == (False, False)


def test_a_song_that_pins_its_fingering_stays_where_it_is() -> None:
    pinned = section("verse", "E4 G4 B4 D5 | G5 B5[1] A5 F#5", "Em | G")
    written = song(pinned, tuning="baritone", players="improving")
    assert lower_octaves(written, [HIGH_G, TUNINGS["baritone"]], 0, ["improving"]) == (False, False)


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_keys_in_which_every_note_has_a_string_come_first(path: Path) -> None:
    for tunings in ([HIGH_G], [HIGH_G, TUNINGS["baritone"]]):
        keys = advise(read_song(path), tunings)
        assert [key.off_neck for key in keys] == sorted(key.off_neck for key in keys)
