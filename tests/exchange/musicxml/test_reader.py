"""MusicXML in: what a lead sheet says, in the song that is made of it."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from fractions import Fraction

import pytest

from tercet.exchange import TuneError, imported_text
from tercet.exchange.musicxml import read_musicxml
from tercet.song import Bar, Song, played_bars
from tercet.song.writer import tidy_text
from tests.exchange.musicxml.scores import DOCTYPE, direction, harmony, note, packed, score, start, sung

TRIPLET = (
    "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>"
)
REPEAT = '<barline location="right"><repeat direction="backward"/></barline>'
FORWARD = '<barline location="left"><repeat direction="forward"/></barline>'


def ending(number: int, kind: str, repeat: str = "") -> str:
    return f'<barline><ending number="{number}" type="{kind}"/>{repeat}</barline>'


def imported(data: bytes, part: str = "", voice: str = "") -> tuple[str, Song, tuple[str, ...]]:
    text, song, remarks = imported_text(read_musicxml(data, "tune.musicxml", part, voice), "tune.musicxml")
    assert tidy_text(text) == text
    return text, song, remarks


def rows(song: Song, name: str) -> list[str]:
    """Return the texts of the rows of a name, one a line of music."""
    from tercet.song.writer import write_song

    return [" ".join(line.split()) for line in write_song(song).splitlines() if line.split()[:1] == [name]]


def heard(bars: Sequence[Bar]) -> list[tuple[int, Fraction | int, Fraction | int]]:
    """Return key number, onset and length of every struck note, ties joined, in beats."""
    notes: list[tuple[int, Fraction | int, Fraction | int]] = []
    tied = False
    for bar in bars:
        for each in bar.melody:
            if each.pitch is None:
                continue
            if tied:
                midi, onset, length = notes[-1]
                notes[-1] = (midi, onset, length + each.length_beat)
            else:
                notes.append((each.pitch.midi, bar.start_beat + each.start_beat, each.length_beat))
            tied = each.tied_on
    return notes


def test_a_lead_sheet_becomes_a_pleasant_file() -> None:
    data = score(
        start(2, 1, 3)
        + direction(
            "<metronome><beat-unit>quarter</beat-unit><per-minute>88</per-minute></metronome>",
        )
        + direction("<dynamics><mf/></dynamics>")
        + harmony("G", "major")
        + sung("G4", 2, "Ket", "begin")
        + sung("B4", 2, "tle", "end")
        + sung("D5", 2, "on"),
        harmony("C", "major-seventh") + sung("E5", 3, "the") + sung("F#5", 3, "stove"),
        identification='<creator type="composer">A. Nobody</creator><rights>CC0</rights>',
        doctype=DOCTYPE,
    )
    text, song, remarks = imported(data)
    assert text.splitlines()[:2] == ["# Imported from tune.musicxml.", "title: Test Tune"]
    assert (song.composer, song.licence, str(song.key), str(song.meter)) == (
        "A. Nobody",
        "CC0",
        "G major",
        "3/4",
    )
    assert song.tempo == 88
    assert rows(song, "chords") == ["chords G | Cmaj7 |"]
    assert rows(song, "melody") == ["melody G4 B D5 | E:1.5 F#:1.5 |"]
    assert rows(song, "words") == ["words Ket-tle on | the stove |"]
    assert rows(song, "marks") == ["marks mf@1 | |"]
    assert remarks == ()


def test_lengths_are_exact_through_triplets_and_ties() -> None:
    third = note("D4", 2, TRIPLET)
    tied = note("C4", 12, '<tie type="start"/>')
    data = score(
        start(6) + third * 3 + note("E4", 6) + tied,
        note("C4", 6, '<tie type="stop"/>') + note("r", 18),
    )
    _, song, _ = imported(data)
    third_beat = Fraction(1, 3)
    assert heard(played_bars(song)) == [
        (62, Fraction(0), third_beat),
        (62, third_beat, third_beat),
        (62, 2 * third_beat, third_beat),
        (64, Fraction(1), Fraction(1)),
        (60, Fraction(2), Fraction(3)),
    ]


def test_repeats_and_endings_become_the_form() -> None:
    data = score(
        start() + harmony("C", "major") + note("C4", 4),
        FORWARD + note("D4", 4),
        ending(1, "start") + note("E4", 4) + ending(1, "stop", '<repeat direction="backward"/>'),
        ending(2, "start") + note("F4", 4) + ending(2, "discontinue"),
        note("G4", 4),
    )
    _, song, _ = imported(data)
    assert [visit.section for visit in song.form] == ["a", "b", "b-ending-1", "b", "b-ending-2", "c"]
    assert [midi for midi, _, _ in heard(played_bars(song))] == [60, 62, 64, 62, 65, 67]


def test_da_capo_al_fine_and_dal_segno_al_coda() -> None:
    da_capo = score(
        start() + note("C4", 4),
        note("D4", 4) + direction("<words>Fine</words>", '<sound fine="yes"/>'),
        note("E4", 4) + direction("<words>D.C. al Fine</words>", '<sound dacapo="yes"/>'),
    )
    assert [midi for midi, _, _ in heard(played_bars(imported(da_capo)[1]))] == [60, 62, 64, 60, 62]
    dal_segno = score(
        start() + note("C4", 4),
        direction("<segno/>") + note("D4", 4) + direction("<words>To Coda</words>", '<sound tocoda="coda"/>'),
        note("E4", 4) + direction("<words>D.S. al Coda</words>", '<sound dalsegno="segno"/>'),
        direction("<coda/>") + note("F4", 4),
    )
    assert [midi for midi, _, _ in heard(played_bars(imported(dal_segno)[1]))] == [60, 62, 64, 62, 65]


def test_verses_of_a_repeat_are_rows_for_its_passes() -> None:
    two = note(
        "C4", 4, tail='<lyric number="1"><text>one</text></lyric><lyric number="2"><text>two</text></lyric>'
    )
    _, song, remarks = imported(score(start() + harmony("C", "major") + two + REPEAT))
    assert rows(song, "words") == ["words one |", "words 2 two |"]
    assert [visit.section for visit in song.form] == ["tune", "tune"]
    _, again, remarks = imported(score(start() + harmony("C", "major") + two))
    assert played_bars(again)[1].words[0][1].text == "two"
    assert any("2 verses and no repeat" in remark for remark in remarks)


def test_a_pick_up_takes_its_time_from_the_last_bar() -> None:
    data = score(
        start() + harmony("C", "major") + sung("G4", 1, "The"),
        sung("C5", 4, "end"),
        sung("D5", 3, "comes") + REPEAT,
    )
    _, song, _ = imported(data)
    assert song.section("tune").pickup_beat == 1
    bars = played_bars(song)
    assert [(bar.number, int(bar.start_beat)) for bar in bars] == [(0, 0), (1, 1), (2, 5), (3, 9), (4, 13)]
    assert [midi for midi, _, _ in heard(bars)] == [67, 72, 74, 67, 72, 74]
    assert [onset for _, onset, _ in heard(bars)] == [0, 1, 5, 8, 9, 13]


def test_a_pick_up_without_room_becomes_a_bar() -> None:
    data = score(start() + note("G4", 1), note("C5", 4) + REPEAT)
    _, song, remarks = imported(data)
    assert song.section("tune").pickup_beat == 0
    assert any("has no room for it" in remark for remark in remarks)


def test_syllables_extenders_and_elisions() -> None:
    elided = "<lyric><syllabic>single</syllabic><text>of</text><elision>‿</elision><text>a</text></lyric>"
    data = score(
        start() + harmony("C", "major") + sung("C4", 1, "Oh,") + note("D4", 1) + note("E4", 2, tail=elided)
    )
    assert rows(imported(data)[1], "words") == ["words Oh, _ of‿a |"]


def test_chord_symbols_with_bass_degree_offset_and_none() -> None:
    nine = (
        "<degree><degree-value>9</degree-value><degree-alter>-1</degree-alter>"
        "<degree-type>add</degree-type></degree>"
    )
    bass = "<bass><bass-step>E</bass-step></bass>"
    data = score(
        start(2)
        + harmony("C", "major", bass)
        + harmony("A", "dominant", nine + "<offset>4</offset>")
        + note("C4", 8),
        '<harmony><root><root-step text="">C</root-step></root><kind text="N.C.">none</kind></harmony>'
        + note("C4", 8),
        harmony("B", "other", text="m7b5") + note("C4", 8),
        harmony("D", "Tristan") + note("C4", 8),
    )
    _, song, remarks = imported(data)
    assert rows(song, "chords") == ["chords C/E A7b9 | N.C. | Bm7b5 | |"]
    assert any("Tristan" in remark and "left out (measure 4)" in remark for remark in remarks)


def test_marks_and_directions() -> None:
    fermata = "<notations><fermata/><articulations><accent/><breath-mark/></articulations></notations>"
    data = score(
        start()
        + harmony("C", "major")
        + direction('<wedge type="crescendo"/>')
        + note("C4", 2)
        + direction("<dynamics><sfz/></dynamics>")
        + direction("<words>dolce</words>")
        + note("D4", 2, tail=fermata),
        direction("<words>rit.</words>")
        + note("E4", 2)
        + direction('<wedge type="diminuendo"/>')
        + note("E4", 2),
        direction("<words>a tempo</words>") + note("r", 4),
    )
    _, song, remarks = imported(data)
    assert rows(song, "marks") == ["marks louder@1 f@3 fermata@3 accent@3 | ,@1 rit@1 | a-tempo |"]
    said = " ".join(remarks)
    assert "the dynamic sfz became f" in said
    assert "“dolce” is left out" in said
    assert "hairpins that no later dynamic ends are left out (1)" in said


def test_sections_by_rehearsal_mark_are_folded_into_one() -> None:
    verse = direction("<rehearsal>Verse</rehearsal>")
    data = score(
        start() + verse + harmony("C", "major") + sung("C4", 4, "one"),
        direction("<words>Chorus</words>") + note("G4", 4),
        verse + harmony("C", "major") + sung("C4", 4, "two"),
    )
    _, song, _ = imported(data)
    assert [visit.section for visit in song.form] == ["verse", "chorus", "verse"]
    assert rows(song, "words") == ["words one |", "words 2 two |"]


def test_a_change_of_meter_moves_the_bar_lines_and_is_said() -> None:
    three = "<attributes><time><beats>3</beats><beat-type>4</beat-type></time></attributes>"
    data = score(start() + note("C4", 4), note("D4", 4), three + note("E4", 3))
    _, song, remarks = imported(data)
    assert str(song.meter) == "4/4"
    assert [onset for _, onset, _ in heard(played_bars(song))] == [0, 4, 8]
    assert any("a song has one meter" in remark for remark in remarks)


def test_what_cannot_be_kept_is_listed() -> None:
    grace = "<note><grace/><pitch><step>B</step><octave>4</octave></pitch><voice>1</voice></note>"
    second = note("E5", 2).replace("<note>", "<note><chord/>")
    data = score(start() + grace + note("C5", 2) + second + note("C5", 2))
    _, song, remarks = imported(data)
    assert [midi for midi, _, _ in heard(played_bars(song))] == [76, 72]
    said = " ".join(remarks)
    assert "grace notes are left out (measure 1)" in said
    assert "only the highest of notes struck together is kept (measure 1)" in said
    assert "no tempo given: 96" in said
    assert "no chord symbols" in said


def test_the_key_is_guessed_and_said() -> None:
    data = score(start() + note("A4", 2) + note("C5", 1) + note("A4", 1)).replace(b"<mode>major</mode>", b"")
    _, song, remarks = imported(data)
    assert str(song.key) == "A minor"
    assert any("key guessed as A minor from the last note" in remark for remark in remarks)
    bare = score(start() + note("G4", 2) + note("B4", 1) + note("D5", 1) + note("F#4", 1) + note("G4", 3))
    _, song, remarks = imported(bare.replace(b"<key><fifths>0</fifths><mode>major</mode></key>", b""))
    assert str(song.key) == "G major"
    assert any("no key given: G major found" in remark for remark in remarks)


def two_parts(lyric: str = "", second_voice: str = "") -> bytes:
    upper = f"<part id='P1'><measure number='1'>{start()}{note('C5', 4)}{second_voice}</measure></part>"
    lower = f"<part id='P2'><measure number='1'>{start()}{note('C4', 4, tail=lyric)}</measure></part>"
    parts = "".join(
        f"<score-part id='{name}'><part-name>{title}</part-name></score-part>"
        for name, title in (("P1", "Flute"), ("P2", "Singer"))
    )
    return f"<score-partwise><part-list>{parts}</part-list>{upper}{lower}</score-partwise>".encode()


def test_the_part_with_words_is_chosen_and_said() -> None:
    _, song, remarks = imported(two_parts("<lyric><text>la</text></lyric>"))
    assert heard(played_bars(song))[0][0] == 60
    assert (
        "the tune is taken from part 2 (Singer), because it has words; the parts are 1 Flute, 2 Singer"
        in remarks
    )
    _, song, _ = imported(two_parts("<lyric><text>la</text></lyric>"), part="flute")
    assert heard(played_bars(song))[0][0] == 72
    assert "because it comes first" in " ".join(imported(two_parts())[2])
    with pytest.raises(TuneError, match="has no part 'Oboe': its parts are 1 Flute, 2 Singer"):
        imported(two_parts(), part="Oboe")


def test_a_voice_is_chosen_and_said() -> None:
    back = "<backup><duration>4</duration></backup>" + note("E4", 4).replace("<voice>1", "<voice>2")
    data = score(start() + note("C5", 4) + back)
    _, song, remarks = imported(data)
    assert heard(played_bars(song))[0][0] == 72
    assert "the tune is taken from voice 1, because it comes first; the voices are 1, 2" in remarks
    assert heard(played_bars(imported(data, voice="2")[1]))[0][0] == 64
    with pytest.raises(TuneError, match="no voice '7' with notes: its voices are 1, 2"):
        imported(data, voice="7")


def test_timewise_and_compressed_scores_read_the_same() -> None:
    inside = start() + harmony("C", "major") + note("C4", 4)
    timewise = (
        "<score-timewise><part-list><score-part id='P1'><part-name>Voice</part-name></score-part></part-list>"
        f"<measure number='1'><part id='P1'>{inside}</part></measure></score-timewise>"
    ).encode()
    partwise = score(inside)
    bars = played_bars(imported(partwise)[1])
    assert played_bars(imported(timewise)[1]) == bars
    assert played_bars(imported(packed({"score.xml": partwise}))[1]) == bars
    assert played_bars(imported(partwise.decode().replace("UTF-8", "UTF-16").encode("utf-16"))[1]) == bars


def archive(container: str, **scores: bytes) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as made:
        if container:
            made.writestr("META-INF/container.xml", container)
        made.writestr("__MACOSX/score.xml", b"<score-partwise/>")
        made.writestr("style.xml", b"<style/>")
        for name, data in scores.items():
            made.writestr(f"{name}.xml", data)
    return buffer.getvalue()


@pytest.mark.parametrize(
    ("container", "said"),
    [
        ("<container><rootfiles><rootfile full-path='It's.xml'/></rootfiles></container>", "isn't well-formed XML"),
        ("<container><rootfiles><rootfile full-path='a.xml'/></rootfiles>", "isn't well-formed XML"),
        ("<container><rootfiles><rootfile full-path='gone.xml'/></rootfiles></container>", "isn't there"),
        ("<container><rootfiles/></container>", "names no score"),
        ("", "the archive has no META-INF/container.xml"),
    ],
)  # fmt: skip
def test_a_damaged_container_leads_to_the_first_score(container: str, said: str) -> None:
    first, second = (score(start() + note(name, 4)) for name in ("E4", "G4"))
    _, song, remarks = imported(archive(container, **{"It's late": first, "other": second}))
    assert [midi for midi, _, _ in heard(played_bars(song))] == [64]
    assert any(said in remark and "its first score is read, It's late.xml" in remark for remark in remarks)


def test_the_movement_names_the_song_and_the_work_its_source() -> None:
    titled = score(start() + note("C4", 4), title="Twelve Evenings").replace(
        b"<identification>", b"<movement-title>The Ferry</movement-title><identification>"
    )
    _, song, _ = imported(titled)
    assert (song.title, song.source_note) == ("The Ferry", "Twelve Evenings")
    alone = imported(score(start() + note("C4", 4), title="Twelve Evenings"))[1]
    assert (alone.title, alone.source_note) == ("Twelve Evenings", "")


def test_a_kind_that_says_nothing_is_major_or_what_its_text_says() -> None:
    data = score(
        start() + harmony("A", "") + note("C4", 4),
        harmony("D", "", text="m7") + note("C4", 4),
        "<harmony><root><root-step>E</root-step></root><kind/><bass><bass-step>B</bass-step></bass></harmony>"
        + note("C4", 4),
    )
    assert rows(imported(data)[1], "chords") == ["chords A | Dm7 | E/B |"]


CUE = "<note><cue/><pitch><step>{}</step><octave>6</octave></pitch><duration>{}</duration><voice>1</voice></note>"


def struck_with(element: str) -> str:
    return element.replace("<note>", "<note><chord/>")


@pytest.mark.parametrize("tail", ["", struck_with(note("B6", 2)), struck_with(CUE.format("B", 2))])
def test_what_is_struck_with_a_cue_isnt_the_tunes(tail: str) -> None:
    data = score(start() + note("C4", 2) + CUE.format("E", 2) + tail, note("D4", 4))
    _, song, _ = imported(data)
    assert [(midi, int(onset)) for midi, onset, _ in heard(played_bars(song))] == [(60, 0), (62, 4)]


def test_of_a_chord_the_highest_note_says_whether_it_is_tied() -> None:
    start_tie, stop = '<tie type="start"/>', '<tie type="stop"/>'
    low, high = note("C4", 4), struck_with(note("E4", 4, start_tie))
    data = score(start() + low + high, note("E4", 4, stop))
    assert heard(played_bars(imported(data)[1])) == [(64, 0, 8)]
    loose = score(start() + note("C4", 4, start_tie) + struck_with(note("E4", 4)), note("E4", 4))
    assert len(heard(played_bars(imported(loose)[1]))) == 2


def voiced(name: str, duration: int, voice: int, tail: str = "") -> str:
    return note(name, duration, tail=tail).replace("<voice>1", f"<voice>{voice}")


BACK = "<backup><duration>{}</duration></backup>"


def test_the_tune_goes_on_in_another_voice() -> None:
    data = score(
        start() + voiced("C4", 4, 1),
        voiced("D4", 4, 2),  # a measure that is all in another voice
        voiced("E4", 2, 1) + voiced("F4", 2, 3),  # another voice fills what is left
        voiced("r", 4, 1).replace("<note>", '<note print-object="no">') + BACK.format(4) + voiced("G4", 4, 2),
        voiced("A4", 4, 1) + BACK.format(4) + voiced("C4", 4, 2),  # two voices: the tune's stays
        voiced("r", 4, 1) + BACK.format(4) + voiced("C3", 4, 2),  # the tune rests
        BACK.format(0) + voiced("B4", 4, 1) + BACK.format(4) + "<forward><duration>2</duration></forward>"
        + voiced("D3", 2, 2),
    )  # fmt: skip
    _, song, remarks = imported(data)
    assert [midi for midi, _, _ in heard(played_bars(song))] == [60, 62, 64, 65, 67, 69, 71]
    assert "the tune goes on in voice 2 (measures 2, 4)" in remarks
    assert "the tune goes on in voice 3 (measure 3)" in remarks
    stays = imported(data, voice="1")[1]
    assert [midi for midi, _, _ in heard(played_bars(stays))] == [60, 64, 69, 71]


def test_voices_that_take_turns_are_one_tune_in_whatever_order_they_are_written() -> None:
    forward = "<forward><duration>2</duration></forward>"
    data = score(
        start() + forward + voiced("E4", 2, 1) + BACK.format(4) + voiced("C4", 2, 2), voiced("D4", 4, 1)
    )
    assert [midi for midi, _, _ in heard(played_bars(imported(data)[1]))] == [60, 64, 62]


def test_a_left_hand_isnt_where_the_tune_goes_on() -> None:
    upper, lower = "<staff>1</staff>", "<staff>2</staff>"
    data = score(
        start() + voiced("C5", 4, 1, upper) + BACK.format(4) + voiced("C3", 4, 5, lower),
        BACK.format(0) + voiced("D3", 4, 5, lower),
        voiced("E5", 4, 1, upper),
    )
    assert [midi for midi, _, _ in heard(played_bars(imported(data)[1]))] == [72, 76]


def singing(*parts: tuple[str, int]) -> bytes:
    """Return a score of parts: a note, and how many of its eight notes are sung."""
    names, bodies = "", ""
    for number, (pitch, count) in enumerate(parts, 1):
        body = "".join(sung(pitch, 1, "la") if place < count else note(pitch, 1) for place in range(8))
        names += f"<score-part id='P{number}'><part-name>Part {number}</part-name></score-part>"
        bodies += f"<part id='P{number}'><measure number='1'>{start(2)}{body}</measure></part>"
    return f"<score-partwise><part-list>{names}</part-list>{bodies}</score-partwise>".encode()


@pytest.mark.parametrize(
    ("parts", "chosen"),
    [
        ([("C5", 2), ("C4", 8)], 60),
        ([("C5", 0), ("C4", 1), ("G4", 3)], 67),
        ([("C5", 8), ("C4", 8)], 72),
        ([("C5", 7), ("C4", 3)], 72),
    ],
)
def test_of_parts_that_sing_the_one_with_most_syllables_is_taken(
    parts: list[tuple[str, int]], chosen: int
) -> None:
    _, song, remarks = imported(singing(*parts))
    assert heard(played_bars(song))[0][0] == chosen
    assert any("because it has most words" in remark for remark in remarks)


def test_a_measure_that_one_part_leaves_unfilled_lasts_as_long_as_the_others_say() -> None:
    names = "<score-part id='P1'/><score-part id='P2'/>"
    upper = (
        f"<part id='P1'><measure>{start()}{note('C5', 2)}</measure><measure>{note('D5', 4)}</measure></part>"
    )
    lower = (
        f"<part id='P2'><measure>{start(2)}{note('C4', 8)}</measure><measure>{note('C4', 8)}</measure></part>"
    )
    data = f"<score-partwise><part-list>{names}</part-list>{upper}{lower}</score-partwise>".encode()
    assert [onset for _, onset, _ in heard(played_bars(imported(data)[1]))] == [0, 4]


def beginning_early(tune: str, other: str, attributes: str) -> bytes:
    """Return two parts: a quarter before the first bar line as each writes it, and a whole bar."""
    parts = "".join(
        f"<part id='P{number}'><measure {attributes}>{start()}{early}</measure>"
        f"<measure number='1'>{note(name, 4)}</measure></part>"
        for number, (early, name) in enumerate(((tune, "D5"), (other, "D4")), 1)
    )
    names = "<score-part id='P1'/><score-part id='P2'/>"
    return f"<score-partwise><part-list>{names}</part-list>{parts}</score-partwise>".encode()


@pytest.mark.parametrize("attributes", ["number='0'", "number='X1' implicit='yes'"])
@pytest.mark.parametrize(
    "resting", [note("r", 4), note("r", 1) + "<forward><duration>3</duration></forward>", note("r", 1)]
)
def test_a_rest_of_a_whole_measure_makes_no_pick_up_longer(resting: str, attributes: str) -> None:
    singing = beginning_early(note("C5", 1), resting, attributes)
    assert [onset for _, onset, _ in heard(played_bars(imported(singing, "1")[1]))] == [0, 1]
    silent = beginning_early(resting, note("C4", 1), attributes)
    assert [onset for _, onset, _ in heard(played_bars(imported(silent, "1")[1]))] == [1]


CODA, TO = "<coda/>", "<words>To</words>"


@pytest.mark.parametrize(
    "leaves",
    [
        note("D4", 4) + direction("<words>To Coda</words>"),
        direction("<words>To Coda</words>") + note("D4", 4),
        note("D4", 4) + direction(CODA),
        note("D4", 4) + direction(CODA, '<sound tocoda="coda"/>'),
        note("D4", 4) + direction(f"{TO}</direction-type><direction-type>{CODA}"),
        note("D4", 4) + '<sound tocoda="1"/>',
        note("D4", 4) + direction("<words>to 𝄌</words>"),
        note("D4", 4) + '<barline location="right"><coda/></barline>',
    ],
)  # fmt: skip
@pytest.mark.parametrize(
    "coda",
    [direction(CODA), direction("<words>Coda</words>"), direction(CODA, '<sound coda="coda"/>'),
     direction("<rehearsal>CODA</rehearsal>"), '<barline location="left"><coda/></barline>', ""],
)  # fmt: skip
@pytest.mark.parametrize("back", ["D.S. al Coda", "D.S.", "Dal Segno al Coda"])
def test_one_leaves_for_the_coda_however_that_is_written(leaves: str, coda: str, back: str) -> None:
    data = score(
        start() + note("C4", 4), direction("<segno/>") + leaves, note("E4", 4) + direction(f"<words>{back}</words>"),
        coda + note("F4", 4) + REPEAT, note("G4", 4),
    )  # fmt: skip
    notes = [midi for midi, _, _ in heard(played_bars(imported(data)[1]))]
    assert notes[:5] == [60, 62, 64, 62, 65]
    assert notes[5:] == [65, 67]


def test_one_leaves_for_the_coda_before_the_measure_that_starts_with_its_sign() -> None:
    data = score(
        start() + note("C4", 4), note("D4", 4), direction(CODA) + note("E4", 4) + '<sound dacapo="yes"/>',
        direction(CODA) + note("F4", 4),
    )  # fmt: skip
    assert [midi for midi, _, _ in heard(played_bars(imported(data)[1]))] == [60, 62, 64, 60, 62, 65]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ('number="1"', 'number="2"'),
        ('number="1"', 'number="3"'),
        ('number="1."', 'number="2."'),
        ('number=""', 'number="2"'),
    ],
)
@pytest.mark.parametrize("stops", ["at the repeat", "a bar before", "never", "on the left"])
def test_endings_are_played_whatever_their_brackets_look_like(first: str, second: str, stops: str) -> None:
    stop = f'<barline location="right"><ending {first} type="stop"/></barline>'
    back = '<barline location="right">{}<repeat direction="backward"/></barline>'
    at_repeat = f'<ending {first} type="stop"/>' if stops == "at the repeat" else ""
    data = score(
        start() + note("C4", 4),
        f'<barline location="left"><ending {first} type="start"/></barline>' + note("D4", 4)
        + (stop if stops == "a bar before" else ""),
        note("E4", 4) + back.format(at_repeat),
        (f'<barline location="left"><ending {first} type="stop"/></barline>' if stops == "on the left" else "")
        + f'<barline location="left"><ending {second} type="start"/></barline>' + note("F4", 4)
        + f'<barline location="right"><ending {second} type="discontinue"/></barline>',
        FORWARD + note("G4", 4) + back.format(""),
    )  # fmt: skip
    _, song, remarks = imported(data)
    assert [midi for midi, _, _ in heard(played_bars(song))] == [60, 62, 64, 60, 65, 67, 67]
    assert not any("never played" in remark for remark in remarks)


def test_strings_and_frets_are_pins_where_a_tuning_explains_them() -> None:
    on_one = "<notations><technical><string>1</string><fret>3</fret></technical></notations>"
    _, song, _ = imported(score(start() + harmony("C", "major") + note("C5", 4, tail=on_one)))
    assert rows(song, "melody") == ["melody C5:4[1] |"]
    six = on_one.replace("<string>1", "<string>6")
    _, song, remarks = imported(score(start() + harmony("C", "major") + note("C5", 4, tail=six)))
    assert rows(song, "melody") == ["melody C5:4 |"]
    assert any(remark.startswith("strings and frets are left out") for remark in remarks)


def test_chords_of_another_part_and_a_part_for_a_transposing_instrument() -> None:
    transposed = start().replace(
        "</attributes>", "<transpose><chromatic>-2</chromatic></transpose></attributes>"
    )
    tune = f"<part id='P1'><measure number='1'>{transposed}{note('D5', 4)}</measure></part>"
    symbols = harmony("C", "major") + harmony("C", "major-11th", text="maj11").replace(
        "<harmony>", "<harmony>", 1
    )
    chords = f"<part id='P2'><measure number='1'>{start()}{symbols}{note('r', 4)}</measure></part>"
    parts = "".join(
        f"<score-part id='{name}'><part-name>{title}</part-name></score-part>"
        for name, title in (("P1", "Clarinet"), ("P2", "Chords"))
    )
    data = f"<score-partwise><part-list>{parts}</part-list>{tune}{chords}</score-partwise>".encode()
    _, song, remarks = imported(data)
    assert rows(song, "chords") == ["chords Cmaj9 |"]
    assert "the chord symbols are taken from part 2 (Chords)" in remarks
    assert any(remark.startswith("the part sounds 2 semitones below what is written") for remark in remarks)
    assert any("became Cmaj9 (measure 1)" in remark for remark in remarks)


@pytest.mark.parametrize(
    ("inside", "said"),
    [
        (
            "<direction><direction-type><dynamics><sfz/></dynamics></direction-type></direction>",
            "sfz became f",
        ),
        (
            "<direction><direction-type><dynamics><n/></dynamics></direction-type></direction>",
            "the dynamic n is left out",
        ),
        (
            "<direction><direction-type><words>dolce</words></direction-type></direction>",
            "the direction “dolce”",
        ),
        ('<sound tempo="60"/><sound tempo="90"/>', "a change of tempo is left out"),
        ("<attributes><key><fifths>3</fifths></key></attributes>", "a change of key is left out"),
    ],
)
def test_what_stands_around_the_notes_and_is_lost(inside: str, said: str) -> None:
    _, _, remarks = imported(score(start() + note("C4", 4), inside + note("D4", 4)))
    assert said in " ".join(remarks)


def test_no_chord_in_words_and_jumps_that_only_sound() -> None:
    words = direction("<words>N.C.</words>")
    jump = '<sound dacapo="yes"/>'
    data = score(start() + harmony("C", "major") + note("C4", 4), words + note("D4", 4) + '<sound fine="yes"/>',
                 note("E4", 4) + jump)  # fmt: skip
    _, song, _ = imported(data)
    assert [midi for midi, _, _ in heard(played_bars(song))] == [60, 62, 64, 60, 62]
    assert [str(span.chord) for bar in played_bars(song) for span in bar.chords] == [
        "C",
        "None",
        "None",
        "C",
        "None",
    ]
