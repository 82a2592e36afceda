"""Chord names: every quality in every spelling, against a table of notes written by hand."""

from __future__ import annotations

import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.theory import Chord, ChordNameError, parse_chord
from tercet.theory.chords import QUALITIES, Quality

NOTES = {
    "C": 0,
    "Db": 1,
    "D": 2,
    "Eb": 3,
    "D#": 3,
    "E": 4,
    "F": 5,
    "Gb": 6,
    "G": 7,
    "G#": 8,
    "A": 9,
    "Bbb": 9,
    "Bb": 10,
    "B": 11,
}

ON_C = {
    "C": "C E G",
    "Cm": "C Eb G",
    "C7": "C E G Bb",
    "Cmaj7": "C E G B",
    "Cm7": "C Eb G Bb",
    "Cmmaj7": "C Eb G B",
    "C6": "C E G A",
    "Cm6": "C Eb G A",
    "C6/9": "C E G A D",
    "C9": "C E G Bb D",
    "Cmaj9": "C E G B D",
    "Cm9": "C Eb G Bb D",
    "Cadd9": "C E G D",
    "Cmadd9": "C Eb G D",
    "Csus2": "C D G",
    "Csus4": "C F G",
    "C7sus4": "C F G Bb",
    "C9sus4": "C F G Bb D",
    "Cdim": "C Eb Gb",
    "Cdim7": "C Eb Gb Bbb",
    "Cm7b5": "C Eb Gb Bb",
    "Caug": "C E G#",
    "C7#5": "C E G# Bb",
    "C7b5": "C E Gb Bb",
    "C7b9": "C E G Bb Db",
    "C7#9": "C E G Bb D#",
    "C11": "C E G Bb D F",
    "Cm11": "C Eb G Bb D F",
    "C13": "C E G Bb D A",
    "C5": "C G",
}
"""Notes of each quality on C, as a textbook spells them."""

SPELLINGS = {
    "C": "C CM Cmaj Cmajor",
    "Cm": "Cm Cmin Cmi C- C− Cminor",
    "C7": "C7 Cdom7",
    "Cmaj7": "Cmaj7 CM7 CMaj7 Cma7 C7M C7maj CΔ CΔ7 C∆ C△7 Cj7",
    "Cm7": "Cm7 Cmin7 Cmi7 C-7 C−7 C–7",
    "Cmmaj7": "Cmmaj7 Cm(maj7) CmM7 CmMaj7 Cminmaj7 C-maj7 C-Δ C-Δ7 C−Δ7 CmΔ CmΔ7",
    "C6": "C6 Cmaj6 CM6",
    "Cm6": "Cm6 Cmin6 Cmi6 C-6",
    "C6/9": "C6/9 C69 C6(9) C6add9 C6／9",
    "C9": "C9 Cdom9",
    "Cmaj9": "Cmaj9 CM9 CMaj9 Cma9 CΔ9",
    "Cm9": "Cm9 Cmin9 Cmi9 C-9",
    "Cadd9": "Cadd9 Cadd2 C(add9) C2",
    "Cmadd9": "Cmadd9 Cm(add9) Cmadd2 Cm2 C-add9",
    "Csus2": "Csus2",
    "Csus4": "Csus4 Csus C4",
    "C7sus4": "C7sus4 C7sus",
    "C9sus4": "C9sus4 C9sus",
    "Cdim": "Cdim C° Cº C˚ Co Cmb5 Cm(b5) Cm♭5 Cm(♭5)",
    "Cdim7": "Cdim7 C°7 Cº7 Co7",
    "Cm7b5": "Cm7b5 Cø Cø7 CØ CØ7 C∅ C⌀7 Cm7(b5) Cm7♭5 Cm7(♭5) Cmin7b5 Cmin7(b5) Cmi7b5 C-7b5 C-7(b5) C−7(♭5) Cm7-5",
    "Caug": "Caug C+ C＋ C(#5) C(♯5)",
    "C7#5": "C7#5 C+7 Caug7 C7+ C7(#5) C7♯5 C7+5",
    "C7b5": "C7b5 C7(b5) C7♭5 C7-5 C7−5",
    "C7b9": "C7b9 C7(b9) C7♭9 C7(♭9) C7-9",
    "C7#9": "C7#9 C7(#9) C7♯9 C7(♯9) C7+9",
    "C11": "C11 Cdom11",
    "Cm11": "Cm11 Cmin11 Cmi11 C-11",
    "C13": "C13 Cdom13",
    "C5": "C5",
}
"""Every way to write each of them."""

# fmt: off
ROOTS = {
    "C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11,
    "C#": 1, "D#": 3, "E#": 5, "F#": 6, "G#": 8, "A#": 10, "B#": 0,
    "Cb": 11, "Db": 1, "Eb": 3, "Fb": 4, "Gb": 6, "Ab": 8, "Bb": 10,
}
# fmt: on
PAIRS = [(spelling, name) for name, spellings in SPELLINGS.items() for spelling in spellings.split()]


def classes(name: str) -> set[int]:
    return {NOTES[note] for note in ON_C[name].split()}


@pytest.mark.parametrize(("spelling", "name"), PAIRS)
def test_every_spelling_is_read_as_its_chord(spelling: str, name: str) -> None:
    chord = parse_chord(spelling)
    assert str(chord) == name
    assert chord.pitch_classes == classes(name)
    assert chord.root_class == 0


def test_every_quality_and_every_spelling_of_the_table_is_tested() -> None:
    assert {"C" + quality.name for quality in QUALITIES} == set(ON_C) == set(SPELLINGS)
    tested = {spelling for spelling, _ in PAIRS}
    assert [f"C{also}" for quality in QUALITIES for also in quality.also if f"C{also}" not in tested] == []


@pytest.mark.parametrize("quality", QUALITIES, ids=lambda quality: quality.name or "major")
def test_the_tones_that_tell_a_chord_are_tones_of_it(quality: Quality) -> None:
    """What four strings must sound is in the chord, each once; a third and a seventh, where there are any, tell it."""
    assert set(quality.needed) <= set(quality.intervals)
    assert len(quality.needed) == len(set(quality.needed)) == min(len(quality.intervals), 3)
    assert quality.intervals[0] == 0
    assert list(quality.intervals) == sorted(set(quality.intervals))
    hidden = {4} if 17 in quality.intervals else set()  # an eleventh stands in place of the major third
    assert set(quality.intervals) & ({3, 4, 10, 11} - hidden) <= set(quality.needed)


def test_no_spelling_stands_for_two_qualities() -> None:
    spellings = [spelling for quality in QUALITIES for spelling in (quality.name, *quality.also)]
    assert len(spellings) == len(set(spellings))


@pytest.mark.parametrize("root", ROOTS)
@pytest.mark.parametrize("name", ON_C)
def test_every_quality_on_every_root(root: str, name: str) -> None:
    chord = parse_chord(root + name[1:])
    assert chord.root_class == ROOTS[root]
    assert chord.pitch_classes == {(tone + ROOTS[root]) % 12 for tone in classes(name)}
    assert str(chord) == root + name[1:]


@pytest.mark.parametrize(
    ("signs", "plain"),
    [
        ("B♭", "Bb"),
        ("F♯m", "F#m"),
        ("E♭Δ", "Ebmaj7"),
        ("G♯ø", "G#m7b5"),
        ("A♭°7", "Abdim7"),
        ("D♭−7", "Dbm7"),
        ("C＃+", "C#aug"),
    ],
)
def test_signs_on_the_root(signs: str, plain: str) -> None:
    assert parse_chord(signs) == parse_chord(plain)
    assert str(parse_chord(signs)) == plain


@pytest.mark.parametrize(
    ("name", "bass", "tones"),
    [
        ("C/E", 4, {0, 4, 7}),
        ("Am/G", 7, {9, 0, 4, 7}),
        ("D7/F#", 6, {2, 6, 9, 0}),
        ("Bb/C", 0, {10, 2, 5, 0}),
        ("F/G♭", 6, {5, 9, 0, 6}),
        ("C6/9/G", 7, {0, 4, 7, 9, 2}),
        ("Em7b5/Bb", 10, {4, 7, 10, 2}),
        ("G", 7, {7, 11, 2}),
    ],
)
def test_bass_after_a_slash(name: str, bass: int, tones: set[int]) -> None:
    chord = parse_chord(name)
    assert chord.bass_class == bass
    assert chord.pitch_classes == tones


def test_six_nine_is_no_slash_chord() -> None:
    assert parse_chord("G6/9").bass is None
    assert parse_chord("G6/9").pitch_classes == {7, 11, 2, 4, 9}
    assert parse_chord("G6/B").bass == ("B", 0)


@pytest.mark.parametrize(
    ("name", "needed"),
    [
        ("C", (4, 0, 7)),
        ("Am7", (0, 7, 9)),
        ("G7", (11, 5, 7)),
        ("Dsus4", (7, 2, 9)),
        ("Bdim7", (2, 5, 8)),
        ("E5", (4, 11)),
    ],
)
def test_tones_that_tell_a_chord(name: str, needed: tuple[int, ...]) -> None:
    assert parse_chord(name).needed_classes == needed


@pytest.mark.parametrize(
    ("slip", "suggestion"),
    [
        ("am", "Am"),
        ("bbm7", "Bbm7"),
        ("csus4", "Csus4"),
        ("H7", "B7"),
        ("Hm", "Bm"),
        ("Cmajor7", "Cmaj7"),
        ("Cminor7", "Cm7"),
        ("CMin", "Cm"),
        ("CMAJ7", "Cmaj7"),
        ("g#MIN7", "G#m7"),
        ("Cdom", "C7"),
        ("C7.", "C7"),
        ("C7/9", "C9"),
        ("Gsus7", "G7sus4"),
        ("D/f#", "D/F#"),
        ("D/Fis", "D/F#"),
        ("C/", "C"),
        ("A-dur", "A"),
        ("a-moll", "Am"),
        ("B-Dur", "Bb"),
        ("E7-dur", "E7"),
        ("fis-moll", "F#m"),
        ("Es", "Eb"),
        ("As7", "Ab7"),
        ("Cism", "C#m"),
        ("Dom", "Cm"),
        ("lam", "Am"),
        ("Sol7", "G7"),
        ("Réb", "Db"),
        ("DoM7", "Cmaj7"),
        ("Mi/Sol#", "E/G#"),
        ("SolMayor", "G"),
        ("B-flat", "Bb"),
        ("Fsharpm7", "F#m7"),
    ],
)
def test_what_is_suggested_for_a_slip(slip: str, suggestion: str) -> None:
    with pytest.raises(ChordNameError, match="isn't a chord name that Tercet knows; did you mean") as caught:
        parse_chord(slip)
    assert caught.value.suggestion == suggestion
    assert str(parse_chord(suggestion)) == suggestion
    assert f"did you mean {suggestion}?" in str(caught.value)


@pytest.mark.parametrize(
    ("unknown", "nearest"),
    [
        ("Fmaj7#11", "Fmaj7"),
        ("C13b9", "C13"),
        ("Cm7b", "Cm7"),
        ("B♭maj13", "Bbmaj9"),
        ("G7alt", "G7#9"),
        ("Am9add13/E", "Am9"),
        ("D7sus2", ""),
        ("Cxyz", ""),
        ("Cmquint", ""),
    ],
)
def test_an_unknown_chord_has_a_nearest_one_but_isnt_taken_for_it(unknown: str, nearest: str) -> None:
    with pytest.raises(ChordNameError, match=r"isn't a chord name that Tercet knows$") as caught:
        parse_chord(unknown)
    assert (caught.value.suggestion, caught.value.nearest) == ("", nearest)


@pytest.mark.parametrize("slip", ["c", "g7", "bb7", "es", "fis", "h", "Es/B", "Solo", "CmM", "Cadd11"])
def test_nothing_is_suggested_where_two_chords_may_be_meant(slip: str) -> None:
    """A small letter is a minor chord to some; a German B in the bass is a B flat."""
    with pytest.raises(ChordNameError, match=r"isn't a chord name that Tercet knows$"):
        parse_chord(slip)


@pytest.mark.parametrize("nonsense", ["", "7", "Q", "xyz", "N.C.", "C" + "m" * 20, "/", "\n"])
def test_nothing_is_suggested_for_nonsense(nonsense: str) -> None:
    with pytest.raises(ChordNameError, match=r"isn't a chord name that Tercet knows$") as caught:
        parse_chord(nonsense)
    assert caught.value.suggestion == ""


@given(st.text(alphabet="ABCDEFGHabcdefgh#b♭♯°øΔ+−-/()0123456789majdinsuMo ", max_size=12))
def test_any_text_is_a_chord_or_a_chord_name_error(text: str) -> None:
    suggestion = text
    try:
        parse_chord(text)
    except ChordNameError as error:
        suggestion = error.suggestion or "C"
    chord = parse_chord(suggestion)
    assert parse_chord(str(chord)) == chord


@pytest.mark.parametrize(
    ("name", "semitones", "flats", "moved"),
    [
        ("C", 0, True, "C"),
        ("C", 12, True, "C"),
        ("Am7", 3, False, "Cm7"),
        ("C", 1, True, "Db"),
        ("C", 1, False, "C#"),
        ("Bb7", -1, True, "A7"),
        ("G7/B", 5, True, "C7/E"),
        ("D/F#", -4, True, "Bb/D"),
        ("E6/9", 6, False, "A#6/9"),
        ("B", 1, True, "C"),
    ],
)
def test_transposition(name: str, semitones: int, flats: bool, moved: str) -> None:
    assert str(parse_chord(name).transposed(semitones, prefer_flats=flats)) == moved


@given(st.sampled_from(list(ON_C)), st.sampled_from(list(ROOTS)), st.integers(-24, 24), st.booleans())
def test_transposing_moves_every_tone(name: str, root: str, semitones: int, flats: bool) -> None:
    chord = parse_chord(root + name[1:])
    moved = chord.transposed(semitones, prefer_flats=flats)
    assert moved.pitch_classes == {(tone + semitones) % 12 for tone in chord.pitch_classes}
    assert parse_chord(str(moved)) == moved


def test_a_chord_is_a_value() -> None:
    chord = parse_chord("F#m7b5/C")
    assert chord == Chord("F", 1, chord.quality, ("C", 0))
    assert len({chord, parse_chord("F♯ø/C")}) == 1
    assert pickle.loads(pickle.dumps(chord)) == chord  # noqa: S301 - our own bytes
