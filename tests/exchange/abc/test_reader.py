"""ABC 2.1 in: what a tune says, in the song that is made of it."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tercet.exchange import TuneError, imported_text
from tercet.exchange.abc.keys import read_key, read_meter, read_tempo, read_unit
from tercet.exchange.abc.reader import decoded, read_abc, tunes_of
from tercet.song import Song, played_bars
from tercet.song.writer import tidy_text, write_song

HEAD = "X:1\nT:Small Tune\nM:4/4\nL:1/4\nQ:1/4=100\nK:C\n"


def imported(text: str, tune: str = "", voice: str = "") -> tuple[Song, tuple[str, ...]]:
    written, song, remarks = imported_text(read_abc(text.encode(), "book.abc", tune, voice), "book.abc")
    assert tidy_text(written) == written
    return song, remarks


def rows(song: Song, name: str) -> list[str]:
    return [" ".join(line.split()) for line in write_song(song).splitlines() if line.split()[:1] == [name]]


def heard(song: Song) -> list[tuple[int, float]]:
    """Return key number and length in beats of every note, tied ones apart."""
    return [
        (n.pitch.midi, float(n.length_beat))
        for bar in played_bars(song)
        for n in bar.melody
        if n.pitch is not None
    ]


def keys(music: str, head: str = HEAD) -> list[int]:
    return [midi for midi, _ in heard(imported(head + music)[0])]


def lengths(music: str, head: str = HEAD) -> list[Fraction]:
    bars = played_bars(imported(head + music)[0])
    return [note.length_beat for bar in bars for note in bar.melody if note.pitch is not None]


def test_a_tune_becomes_a_song() -> None:
    song, remarks = imported(
        "X:1\nT:Small Tune\nC:A. Nobody\nS:a notebook\nM:3/4\nL:1/8\nQ:1/4=92\nK:G\n"
        '"G"G2 B2 d2|"D7/F#"F6|]\nw:Ket-tle on | stove\nW:an end verse\n'
    )
    assert song.tempo == 92
    assert (song.title, song.composer, song.source_note) == ("Small Tune", "A. Nobody", "a notebook")
    assert (str(song.key), str(song.meter)) == ("G major", "3/4")
    assert rows(song, "chords") == ["chords G | D7/F# |"]
    assert rows(song, "melody") == ["melody G4 B D5 | F#4:3 |"]
    assert rows(song, "words") == ["words Ket-tle on | stove |"]
    assert remarks == ("words below the tune (W:) belong to no notes and are left out",)


def test_accidentals_hold_through_the_bar_in_every_octave() -> None:
    assert keys("^F f F =F|F _B B c|") == [66, 78, 66, 65, 65, 70, 70, 72]
    assert keys("F C =F ^^C|", HEAD.replace("K:C", "K:D")) == [66, 61, 65, 62]


def test_octaves_and_lengths() -> None:
    assert keys("C, c' B,, G|") == [48, 84, 47, 67]
    assert lengths("C3/2 D/ E2|F/2 G// A// B3|") == [
        Fraction(3, 2), Fraction(1, 2), 2, Fraction(1, 2), Fraction(1, 4), Fraction(1, 4), 3,
    ]  # fmt: skip


def test_broken_rhythm_and_tuplets() -> None:
    assert lengths("A>B c<d|A>>B c2|") == [
        Fraction(3, 2), Fraction(1, 2), Fraction(1, 2), Fraction(3, 2), Fraction(7, 4), Fraction(1, 4), 2,
    ]  # fmt: skip
    assert lengths("(3ABc d2|(3:2:2A2B d2|") == [Fraction(2, 3)] * 3 + [2, Fraction(4, 3), Fraction(2, 3), 2]
    six_eight = HEAD.replace("4/4", "6/8").replace("L:1/4", "L:1/8")
    assert lengths("(2AB c3|(4ABcd e3|", six_eight) == [Fraction(3, 2)] * 2 + [3] + [Fraction(3, 4)] * 4 + [3]


@pytest.mark.parametrize(
    ("music", "played"),
    [
        ("|:C4:|D4|", "CCD"),
        ("C4:|D4|", "CCD"),
        ("C4::D4:|", "CCDD"),
        ("|:C4|1D4:|2E4|]F4|", "CDCEF"),
        ("|:C4|[1D4:|[2E4||F4|", "CDCEF"),
        ("|:C4|[1,3D4:|[2E4:|F4|", "CDCECDF"),
        ("|:C4|1D4:|2E4||:F4|1G4:|2A4|]", "CDCEFGFA"),
        ("C4|D4!fine!|E4!D.C.!|", "CDECD"),
        ("|:C4|1D4:|E4|]", "CDCE"),
        ("C4|1D4:|2E4||F4|1G4:|2A4|]", "CDCEFGFA"),
        ("C4||:D4[|]:|", "CDD"),
        ("C4|1D4:|2E4:|F4|", "CDCEF"),
        ("C4::|", "CCC"),
        ("C4|D4|:|", "CD"),
    ],
)
def test_repeats_and_endings(music: str, played: str) -> None:
    names = {60: "C", 62: "D", 64: "E", 65: "F", 67: "G", 69: "A"}
    assert "".join(names[midi] for midi in keys(music)) == played


def test_a_part_that_is_repeated_starts_at_itself() -> None:
    head = HEAD.replace("K:C", "P:ABA\nK:C")
    assert keys("P:A\nC4:|\nP:B\nD4|E4|\n", head) == [60, 60, 62, 64, 60, 60]


def test_a_tied_note_keeps_its_accidental_over_the_bar_line() -> None:
    assert keys("^C4-|C2C2|") == [61, 61, 60]
    assert keys("^C4|C4|") == [61, 60]


def test_rests_and_lengths_in_a_chord() -> None:
    assert lengths("[C2z2]2|[CE]2[Gz]2|") == [4, 2, 2]
    assert keys("[C.E(G)]4|[ze]4|") == [67, 76]


def test_broken_rhythm_between_different_lengths_is_left_out_and_said() -> None:
    song, remarks = imported(HEAD + "A>B/ c2 z/|")
    assert [length for _, length in heard(song)] == [1, 0.5, 2]
    assert any("> between notes of different lengths is left out" in remark for remark in remarks)


def test_a_lone_exclamation_mark_swallows_nothing() -> None:
    assert keys("C4|!D2 E2|F4!|G4|") == [60, 62, 64, 65, 67]


def test_voices_that_change_within_the_line() -> None:
    text = HEAD.replace("K:C", "V:1\nV:2\nK:C") + "[V:1] C2 [V:2] G2 [V:1] D2|\n[V:2] B2|\n[V:1] E4|\n"
    assert [midi for midi, _ in heard(imported(text)[0])] == [60, 62, 64]
    assert [midi for midi, _ in heard(imported(text, voice="2")[0])] == [67, 71]


def test_the_chord_of_a_pick_up_that_becomes_a_bar_goes_on_after_it() -> None:
    song, _ = imported(HEAD + '"Am"A|:c4|1 d4:|2 e4||f4|]\n')
    spoken = [str(span.chord) for bar in played_bars(song) for span in bar.chords if span.chord]
    assert set(spoken) == {"Am"}
    assert keys('"Am"A|:c4|1 d4:|2 e4||f4|]') == [69, 72, 74, 72, 76, 77]
    again = HEAD.replace("K:C", "P:A(AB)2\nK:C") + 'P:A\n"Am"A B|c4|1 d4:|2 e4|]\nP:B\nf4|]\n'
    assert all(bar.chords for bar in played_bars(imported(again)[0])[1:])


@pytest.mark.parametrize(("end", "onset"), [("c3", 8), ("c2", 8), ("c2z", 8), ("c3z", 12), ("c2z2", 12)])
def test_a_pick_up_that_is_played_again_never_takes_the_time_of_a_written_rest(end: str, onset: int) -> None:
    song, remarks = imported(HEAD + f"G|e4|{end}:|\n")
    struck = [
        bar.start_beat + note.start_beat for bar in played_bars(song) for note in bar.melody if note.pitch
    ]
    assert struck[3] - struck[0] == onset
    assert any("became a whole bar with rests before it" in remark for remark in remarks) == (onset == 12)


def test_a_field_may_end_in_a_backslash() -> None:
    song, _ = imported("X:1\nT:Back\\\nS:slash\\\nM:4/4\nL:1/4\nQ:1/4=100\nK:C\nC4|\n")
    assert (song.title, song.source_note) == ("Back\\", "slash\\")


def test_parts_in_the_order_of_the_header() -> None:
    head = HEAD.replace("K:C", "P:A(AB)2\nK:C")
    song, _ = imported(head + "P:A\nC4|\nP:B\nD4|\n")
    assert [visit.section for visit in song.form] == ["a", "a", "b", "a", "b"]


def test_words_with_holds_skips_and_verses() -> None:
    song, _ = imported(HEAD + '"C"C D E F|G A B c|\nw:a-men_ to~you|* two three\nw:sec-ond\n')
    assert rows(song, "words")[0] == "words a-men _ to‿you | |"
    assert rows(song, "words")[1] == "words 1 | _ two three _ |"
    assert played_bars(song)[2].words[0][1].text == "sec"


def test_chord_symbols_are_told_from_annotations() -> None:
    song, remarks = imported(HEAD + '"Am"A2 "^slowly"B2|"N.C."c2 "Xyz"d2|"Gsus"[GB]4|')
    assert rows(song, "chords") == ["chords Am | N.C. | Gsus4 |"]
    said = " ".join(remarks)
    assert "the annotation “slowly” is left out" in said
    assert "“Xyz” above the notes isn't a chord" in said
    assert "only the highest of notes struck together is kept" in said


def test_decorations_are_marks() -> None:
    song, remarks = imported(HEAD + '"C"!mf!C !<(!D !<)!E !f!F|!fermata!G4|{ab}H!accent!c4-|!trill!c4|')
    assert rows(song, "marks") == ["marks mf@1 louder@2 f@4 | fermata@1 | fermata@1 accent@1 | |"]
    assert rows(song, "melody") == ["melody C4 D E F | G:4 | C5:4 | =:4 |"]
    assert {"the decoration trill is left out", "grace notes are left out"} <= set(remarks)


def test_a_field_within_the_music() -> None:
    assert keys("C D E F|[K:D]F C [L:1/8]F2C2|") == [60, 62, 64, 65, 66, 61, 66, 61]
    assert keys("C4|\nK:D\nF4|") == [60, 66]


def test_the_first_voice_or_the_one_asked_for() -> None:
    text = HEAD.replace("K:C", "V:1\nV:2\nK:C") + "V:1\nC4|\nV:2\nG4|\n"
    song, remarks = imported(text)
    assert heard(song) == [(60, 4)]
    assert "the tune is taken from voice 1, the first of 1, 2" in remarks
    assert heard(imported(text, voice="2")[0]) == [(67, 4)]
    with pytest.raises(TuneError, match="no voice '9': its voices are 1, 2"):
        imported(text, voice="9")


def test_a_book_is_chosen_from_by_number_or_title() -> None:
    book = HEAD + "C4|\n\n" + HEAD.replace("X:1", "X:7").replace("Small", "Other") + "G4|\n"
    assert [(each.number, each.title) for each in tunes_of(book)] == [
        ("1", "Small Tune"),
        ("7", "Other Tune"),
    ]
    assert heard(imported(book, tune="7")[0]) == [(67, 4)]
    assert heard(imported(book, tune="other tune")[0]) == [(67, 4)]
    with pytest.raises(TuneError, match=r"holds 2 tunes: choose one with --tune.*1 Small Tune, 7 Other Tune"):
        imported(book)
    assert heard(imported(book, tune="007")[0]) == [(67, 4)]
    assert heard(imported(book, tune="other")[0]) == [(67, 4)]
    with pytest.raises(TuneError, match="has no tune 'X': it has 1 Small Tune"):
        imported(book, tune="X")
    with pytest.raises(TuneError, match="has 2 tunes with 'tune' in the title: 1 Small Tune, 7 Other Tune"):
        imported(book, tune="tune")
    with pytest.raises(TuneError, match=r"has no tune 'Smal Tunes'; did you mean 1 Small Tune"):
        imported(book, tune="Smal Tunes")


def test_encodings() -> None:
    for encoding in ("utf-8", "utf-8-sig", "cp1252"):
        assert "Café" in decoded("T:Café".encode(encoding))


def test_rests_of_whole_bars_and_overlays() -> None:
    song, remarks = imported(HEAD + "Z2|C4&E4|x2 z2|")
    assert rows(song, "melody") == ["melody .:4 | .:4 | C4:4 | .:4 |"]
    assert "a second voice within a bar (&) is left out" in remarks


@pytest.mark.parametrize(
    ("text", "fifths", "key"),
    [("G", 1, "G major"), ("Am", 0, "A minor"), ("Ddor", 0, "D minor"), ("A mix", 2, "A major"),
     ("F#m", 3, "F# minor"), ("Bb", -2, "Bb major"), ("E phr", 0, "E minor"), ("G clef=bass", 1, "G major")],
)  # fmt: skip
def test_keys(text: str, fifths: int, key: str) -> None:
    read = read_key(text)
    assert sum(read.alters.values()) == fifths
    assert str(read.key) == key


def test_odd_keys_meters_units_and_tempi() -> None:
    assert read_key("none").key is None
    assert read_key("HP").alters == {"F": 1, "C": 1}
    assert read_key("D exp _b ^f").alters == {"B": -1, "F": 1}
    assert [read_meter(text) for text in ("C|", "C", "(2+3)/8", "none")] == [(2, 2), (4, 4), (5, 8), None]
    assert read_unit("1/16") == Fraction(1, 4)
    assert read_tempo("3/8=100", Fraction(1, 2)) == 150
    assert read_tempo('"Allegro" 1/4=120', Fraction(1, 2)) == 120
    assert read_tempo("120", Fraction(1, 2)) == 60
    assert read_tempo('"Allegro"', Fraction(1, 2)) is None


@pytest.mark.parametrize(
    ("music", "message"),
    [
        ("C/0|", "divides by 0"),
        ("C99999|", "makes no sense"),
        ("C//////////|", "makes no sense"),
        ("Z999999|", "that many bars of rest"),
        ("C''''''''|", "no instrument plays"),
        ("C40" * 40, "a bar line is missing"),
        ("|:C4" + ":" * 3000 + "|", "more than 2000 bars"),
        ("K:H\nC", "isn't a key"),
        ("L:9/0\nC", "isn't a length"),
        ("M:0/4\nC", "isn't a meter"),
        ("K:G#\nC", "more than seven sharps"),
        ("z4|", "no notes in this tune"),
    ],
)
def test_bad_music_is_refused(music: str, message: str) -> None:
    with pytest.raises(TuneError, match=message):
        imported(HEAD + music)


def test_a_book_without_tunes_and_a_long_order_are_refused() -> None:
    with pytest.raises(TuneError, match="holds no ABC tune"):
        imported("X:1\nT:no key\n")
    with pytest.raises(TuneError, match="plays more than 500 parts"):
        imported(HEAD.replace("K:C", "P:((((A99)99)99)99)99\nK:C") + "P:A\nC4|\n")
