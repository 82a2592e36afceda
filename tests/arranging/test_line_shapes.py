"""One hand for a whole line: what is claimed sounds, and nothing longer is to be had."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from tercet.arranging.line_shapes import HeldNote, LineShape, line_shapes
from tercet.arranging.piece import piece_of
from tercet.arranging.tune import TuneNote, row_notes
from tercet.neck.demands import LIMITS
from tercet.neck.hands import Hand, HandLimits, hand_table
from tercet.song import Song, read_song
from tercet.theory import TUNINGS, Key, Tuning, spell
from tests.arranging.by_hand import chance
from tests.arranging.written import section, song

SONGS = sorted((Path(__file__).parents[2] / "songs").glob("*.yaml"))
HIGH_G, LOW_G, BARITONE = TUNINGS.values()


def of_line(written: Song, tuning: Tuning, line: LineShape) -> list[TuneNote]:
    """Return the tune of a line as its section is first played."""
    piece = piece_of(written, tuning)
    return [
        note
        for note in row_notes(piece)
        if (note.spot.place.section, note.spot.pass_number) == (line.section, 1)
        and (piece.bars[note.spot.bar_index].line if note.spot.place.section_bar else 0) == line.line - 1
    ]


def broken_claims(line: LineShape, tune: Sequence[TuneNote], tuning: Tuning, limits: HandLimits) -> list[str]:
    """Return what a line claims and isn't so."""
    broken = []
    if line.hand is None:
        return ["no hand, but notes"] if line.held else []
    for note in line.held:
        if tuning.midi(note.string, note.fret) != note.midi:
            broken.append(f"string {note.string}, fret {note.fret} doesn't sound {note.midi}")
        if line.hand.frets[4 - note.string] != note.fret:
            broken.append(f"fret {note.fret} isn't held on string {note.string}")
    midis = [note.midi for note in line.held]
    whole = [note.midi for note in tune]
    if not any(whole[at : at + len(midis)] == midis for at in range(len(whole))):
        broken.append("not a stretch of the tune")
    table = hand_table(limits, 380.0)
    if line.hand not in (table.hand(row) for row in range(len(table))):
        broken.append("these players can't hold it")
    return broken


def beginners(highest_fret: int = 5) -> HandLimits:
    limits = LIMITS["beginner"]
    return HandLimits(highest_fret, limits.most_fingers, limits.barre, limits.widest_mm)


def drawn_song(number: int, notes: int) -> Song:
    """Return eighths and quarters at random over two chords, for beginners."""
    drawn = chance(number)
    midi, words, left = drawn.randint(60, 72), [], Fraction(0)
    for _ in range(notes):
        midi = min(max(midi + drawn.choice((-5, -3, -2, -1, 0, 1, 2, 3, 5)), 58), 76)
        length = drawn.choice((Fraction(1, 2), Fraction(1)))
        words.append(f"{spell(midi, Key('C', 0, False))}:{length}")
        left += length
    rest = -left % 4
    text, filled, bars = "", Fraction(0), []
    for word in [*words, *([f".:{rest}"] if rest else [])]:
        length = Fraction(word.partition(":")[2])
        if filled + length > 4:
            return drawn_song(number + 1000, notes)
        text += f" {word}"
        filled += length
        if filled == 4:
            bars.append(text.strip())
            text, filled = "", Fraction(0)
    chords = " | ".join(drawn.choice(("C", "F", "G7", "Am")) for _ in bars)
    return song(section("verse", " | ".join(bars), chords), players="beginner")


# ---- laws


@pytest.mark.parametrize("tuning", TUNINGS.values(), ids=lambda tuning: tuning.name)
@pytest.mark.parametrize("number", range(6))
def test_no_hand_carries_a_longer_stretch(number: int, tuning: Tuning) -> None:
    written = drawn_song(number, 9)
    (line,) = line_shapes(written, tuning)
    tune = of_line(written, tuning, line)
    table = hand_table(beginners(), 380.0)
    shapes = {tuple(int(fret) for fret in frets) for frets in table.frets}
    best = max(longest(shape, tune, tuning) for shape in shapes)
    held = [note.midi for note in line.held]
    at = [note.midi for note in tune]
    places = [place for place in range(len(at)) if at[place : place + len(held)] == held]
    lengths = {sum(note.length_beat for note in tune[place : place + len(held)]) for place in places}
    assert len(line.held) == best[0]
    assert not held or best[1] in lengths
    assert broken_claims(line, tune, tuning, beginners()) == []


def longest(shape: tuple[int, ...], tune: Sequence[TuneNote], tuning: Tuning) -> tuple[int, Fraction]:
    """Return the most notes in a row that lie under a shape, and for how many beats."""
    sounding = {tuning.midi(4 - place, fret) for place, fret in enumerate(shape)}
    best, run, beats = (0, Fraction(0)), 0, Fraction(0)
    for note in tune:
        run, beats = (run + 1, beats + note.length_beat) if note.midi in sounding else (0, Fraction(0))
        best = max(best, (run, beats))
    return best


@pytest.mark.parametrize("tuning", TUNINGS.values(), ids=lambda tuning: tuning.name)
@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_what_is_claimed_for_our_songs_sounds(path: Path, tuning: Tuning) -> None:
    written = replace(read_song(path), players="beginner", instrument="custom", scale_length_mm=380.0)
    for line in line_shapes(written, tuning):
        tune = of_line(written, tuning, line)
        assert line.notes == len(tune)
        assert broken_claims(line, tune, tuning, beginners()) == []


def test_a_wrong_claim_is_caught() -> None:
    written = drawn_song(1, 9)
    (line,) = line_shapes(written, HIGH_G)
    tune = of_line(written, HIGH_G, line)
    assert line.hand is not None
    assert broken_claims(line, tune, HIGH_G, beginners()) == []
    moved = replace(line, hand=replace(line.hand, frets=(4, 4, 4, 4)))
    wrong_note = replace(line, held=(replace(line.held[0], midi=40), *line.held[1:]))
    skipped = replace(line, held=(line.held[0], *line.held[::-1]))
    found = [broken_claims(wrong, tune, HIGH_G, beginners()) for wrong in (moved, wrong_note, skipped)]
    assert "these players can't hold it" in found[0]
    assert any("isn't held" in text for text in found[0])
    assert any("doesn't sound 40" in text for text in found[1])
    assert "not a stretch of the tune" in found[2]


# ---- what is preferred


def test_the_known_shape_of_the_chord_comes_first() -> None:
    (line,) = line_shapes(song(section("verse", "G4 E4 C5 G4 | C4 E4 F4 .", "C | C")))
    assert line == LineShape(
        section="verse",
        line=1,
        first_bar=1,
        last_bar=2,
        notes=7,
        hand=Hand((0, 0, 0, 3), (0, 0, 0, 3), 1),
        held=(
            HeldNote(1, 67, 4, 0),
            HeldNote(1, 64, 2, 0),
            HeldNote(1, 72, 1, 3),
            HeldNote(1, 67, 4, 0),
            HeldNote(2, 60, 3, 0),
            HeldNote(2, 64, 2, 0),
        ),
        in_chord=6,
        known_as="C",
    )


def test_low_g_needs_another_hand_for_the_same_line() -> None:
    written = song(section("verse", "G4 E4 C5 G4 | C4 E4 F4 .", "C | C"), players="beginner")
    (line,) = line_shapes(written, LOW_G)
    assert line.hand == Hand((0, 4, 3, 3), (0, 3, 1, 2), 3)
    assert [(note.string, note.fret) for note in line.held] == [(2, 3), (3, 4), (1, 3), (2, 3)]
    assert (line.in_chord, line.known_as) == (4, "")


def test_a_longer_time_decides_between_equal_stretches() -> None:
    (line,) = line_shapes(song(section("verse", "G4:1/2 A4:1/2 B3 G4:1 A4:1", "N.C."), as_written=True))
    assert [(note.bar_number, note.midi) for note in line.held] == [(1, 67), (1, 69)]
    assert line.in_chord == 0


def test_a_note_on_two_strings_goes_to_the_one_that_wasnt_played_last() -> None:
    # 0333 has G4 on string 4, open, and on string 2.
    (line,) = line_shapes(song(section("verse", "G4 G4 C5 Eb4", "Cm")))
    assert line.hand is not None
    assert line.hand.frets == (0, 3, 3, 3)
    assert [note.string for note in line.held] == [2, 4, 1, 3]


def test_every_line_is_said_and_a_pickup_belongs_to_the_line_it_leads_into() -> None:
    verse = section("verse", "E4 || A4:4 | C5:4", "|| Am | Am")
    chorus = section("chorus", ".:4", "C")
    lines = line_shapes(song(verse, chorus, verse, form="verse chorus verse"))
    assert [(line.section, line.line, line.first_bar, line.last_bar, line.notes) for line in lines] == [
        ("verse", 1, 0, 2, 3)
    ]


def test_a_line_out_of_reach_has_no_hand() -> None:
    (line,) = line_shapes(song(section("verse", "C3 D3 E3 F3", "C"), as_written=True))
    assert (line.hand, line.held, line.notes) == (None, (), 4)
