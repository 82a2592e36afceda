"""MIDI as public files have it: words in every convention, junk, odd meters, silence, written-out verses, length."""

from __future__ import annotations

import cProfile
import random
import struct
from fractions import Fraction

import mido
import pytest

from tercet.exchange import LeadSheet, TuneError
from tercet.exchange.midi.reader import read_midi
from tercet.song import Song, played_bars
from tests.exchange.midi.files import meta, midi, notes, raw, track
from tests.exchange.midi.maker import CONVENTIONS, Truth, made
from tests.exchange.midi.test_reader import conductor, imported, rows
from tests.exchange.test_round_trip import music
from tests.yardstick import at_most

SEEDS = range(60)
LEAST_EXACT = 0.98
LEAST_PLAYED_NOTES = 0.97
"""Of the onsets of tunes that are played within 20 ms, some of them swung."""

EIGHT = [67, 69, 71, 72, 74, 72, 71, 69]


def quarters(song: Song) -> list[tuple[int, Fraction, Fraction]]:
    """Return the notes that a song plays, in quarters from the first."""
    quarter = Fraction(4, song.meter.lower)
    played = music(song).notes
    return [(midi, (at - played[0][0]) * quarter, length * quarter) for at, length, midi in played]


def sung(song: Song) -> list[tuple[str, bool]]:
    return [
        (syllable.text, syllable.joined)
        for bar in played_bars(song)
        for _, syllable in bar.words
        if not syllable.holds
    ]


def meant(truth: Truth) -> list[tuple[str, bool]]:
    """Return the words of a truth, as they can be known: in bare syllables nothing tells where words end."""
    return [(word, joined and truth.convention != "bare") for word, joined in truth.words]


def test_files_of_other_programs_are_exact() -> None:
    wrong = []
    for seed in SEEDS:
        data, truth = made(seed)
        song, _ = imported(data)
        same = quarters(song) == truth.from_the_first and sung(song) == meant(truth)
        if not (same and (song.meter.upper, song.meter.lower) == truth.meter):
            wrong.append((seed, truth.told))
    assert len(wrong) <= (1 - LEAST_EXACT) * len(SEEDS), wrong


def test_played_notes_mostly_come_to_their_places() -> None:
    right = total = 0
    for seed in SEEDS:
        data, truth = made(seed, played=True)
        found = {(midi, at) for midi, at, _ in quarters(imported(data)[0])}
        right += sum((midi, at) in found for midi, at, _ in truth.from_the_first)
        total += len(truth.notes)
    assert right >= LEAST_PLAYED_NOTES * total, (right, total)


@pytest.mark.parametrize("convention", [each for each in CONVENTIONS if each != "none"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_words_in_every_convention(convention: str, seed: int) -> None:
    data, truth = made(seed, convention=convention)
    song, remarks = imported(data)
    assert sung(song) == meant(truth)
    said = any("no spaces or hyphens" in remark for remark in remarks)
    assert said == (convention == "bare")


def test_one_stray_space_does_not_join_a_whole_song() -> None:
    syllables = ["Ro", "ses", " on", "the", "gar", "den", "wall", "grow", "in", "au", "tumn", "too"]
    words = [meta(place, "lyrics", text=text) for place, text in enumerate(syllables)]
    played = notes(*[(60 + place % 5, place, place + 0.9) for place in range(12)])
    song, _ = imported(midi(conductor(), track("x", *played, *words)))
    assert max(len(word) for row in rows(song, "words") for word in row.split()) < 12


def test_lines_of_words_start_lines_of_music() -> None:
    played = notes(*[(EIGHT[place % 8], place, place + 0.9) for place in range(36)])
    words = [meta(place, "lyrics", text=("/" if place in (0, 9, 27) else "") + "la ") for place in range(36)]
    song, _ = imported(midi(conductor(), track("x", *played, *words)))
    assert [len(line.rows[0].bars) for section in song.sections for line in section.lines] == [3, 6, 3]


def test_a_text_of_several_words_goes_to_its_notes() -> None:
    played = notes(*[(EIGHT[place % 8], place, place + 0.9) for place in range(6)])
    words = [meta(0, "lyrics", text="over the hill\r"), meta(3, "lyrics", text="o the sea")]
    song, remarks = imported(midi(conductor(), track("x", *played, *words)))
    assert rows(song, "words") == ["words over the hill | o the sea |"]
    assert any("several words" in remark for remark in remarks)


def test_karaoke_texts_are_sung_and_their_heads_are_not() -> None:
    heads = [
        meta(0, "text", text=text)
        for text in ("@KMIDI KARAOKE FILE", "@LENGL", "@TLong Road Home", "@TNobody")
    ]
    texts = ["\\Long", " road", " go", "ing", "/home", " a", "gain"]
    words = [meta(place, "text", text=text) for place, text in enumerate(texts)]
    melody = track("Flute", *notes(*[(EIGHT[place], place, place + 0.9) for place in range(7)]))
    song, _ = imported(midi(conductor(), track("Words", *heads, *words), melody))
    assert song.title == "Long Road Home"
    assert rows(song, "words") == ["words Long road go- | ing home a- | gain |"]


def test_texts_that_are_no_words_are_not_sung() -> None:
    comments = [meta(place, "text", text=text) for place, text in enumerate(["made by hand", "take 2"])]
    song, _ = imported(
        midi(conductor(), track("x", *notes(*[(67, 0, 1), (69, 1, 2), (71, 2, 3)]), *comments))
    )
    assert not rows(song, "words")


def test_words_of_their_own_track_choose_the_tune() -> None:
    words = track("Words", *[meta(place, "lyrics", text="la ") for place in (0, 1, 2.5, 3)])
    sung_low = track("Clarinet", *notes((55, 0, 1), (57, 1, 2.5), (59, 2.5, 3), (60, 3, 6)))
    high = track("Flute", *notes(*[(79 + place % 3, place / 2, place / 2 + 0.5) for place in range(12)]))
    _, remarks = imported(midi(conductor(), words, high, sung_low))
    assert any("track 4 (Clarinet), because the words fall on its notes" in remark for remark in remarks)
    assert any("--track takes another" in remark for remark in remarks)


def test_of_two_tracks_that_sing_the_one_with_more_syllables() -> None:
    def singer(name: str, low: int, count: int) -> mido.MidiTrack:
        words = [meta(place, "lyrics", text="la ") for place in range(count)]
        return track(name, *notes(*[(low + place, place, place + 0.9) for place in range(6)]), *words)

    _, remarks = imported(midi(conductor(), singer("Soprano", 70, 2), singer("Alto", 60, 6)))
    assert any("track 3 (Alto), because it has most words" in remark for remark in remarks)


def test_channels_of_type_0_are_tracks_of_their_own() -> None:
    low = notes(*[(43, place, place + 3) for place in (0, 3)], channel=2)
    high = notes(*[(76, place, place + 0.5) for place in (0, 1, 2)], channel=4)
    single = track("all", meta(0, "time_signature", numerator=3, denominator=4), *low, *high)
    song, remarks = imported(midi(single, kind=0))
    assert (
        rows(song, "melody") == ["melody E5:0.5 .:0.5 E:0.5 .:0.5 E:0.5 .:0.5 |"]
        or len(music(song).notes) == 3
    )
    assert any("1.3 all channel 3" in remark for remark in remarks)
    assert len(music(imported(midi(single, kind=0), "1.3")[0]).notes) == 2


JUNK = {
    "key of 9 flats": (bytes([0, 0xFF, 0x59, 2, 0xF7, 0]), "an impossible key signature is left out"),
    "empty key": (bytes([0, 0xFF, 0x59, 0]), "an impossible key signature is left out"),
    "empty meter": (bytes([0, 0xFF, 0x58, 0]), "an impossible meter is left out"),
    "meter of 0": (bytes([0, 0xFF, 0x58, 4, 0, 2, 24, 8]), "an impossible meter is left out"),
    "empty tempo": (bytes([0, 0xFF, 0x51, 0]), "a tempo of 0 is left out"),
    "empty name, text, lyric, marker": (
        bytes([0, 0xFF, 3, 0, 0, 0xFF, 1, 0, 0, 0xFF, 5, 0, 0, 0xFF, 6, 0]),
        "",
    ),
    "unknown": (bytes([0, 0xFF, 0x60, 2, 1, 2, 0, 0xFF, 0x7F, 0]), ""),
    "system exclusive": (bytes([0, 0xF0, 3, 1, 2, 0xF7, 0, 0xF6]), ""),
}
SCALE_BYTES = b"".join(bytes([0, 0x90, key, 80, 96, 0x80, key, 0]) for key in (67, 69, 71, 72))


@pytest.mark.parametrize("name", JUNK)
def test_events_that_make_no_sense_cost_nothing_else(name: str) -> None:
    junk, said = JUNK[name]
    data = raw(0, 1, 96, [junk + SCALE_BYTES + b"\x00\xff\x2f\x00"])
    song, remarks = imported(data)
    assert rows(song, "melody") == ["melody G4 A B C5 |"]
    assert not said or said in remarks


def test_chunks_that_are_no_tracks_are_passed_over() -> None:
    chunk = SCALE_BYTES + b"\x00\xff\x2f\x00"
    whole = b"MTrk" + struct.pack(">I", len(chunk)) + chunk
    head = b"MThd" + struct.pack(">IHHH", 6, 0, 1, 96)
    junk = b"XFKM" + struct.pack(">I", 3) + b"abc"
    for data in (
        head + junk + whole,
        head + whole + junk,
        head + whole + b"\x00\x1a",
        head + whole + b"MTrk\xff\xff\xff\xff",
    ):
        assert rows(imported(data)[0], "melody") == ["melody G4 A B C5 |"]
    missing = b"MThd" + struct.pack(">IHHH", 6, 1, 3, 96) + whole
    assert any("2 of them are missing" in remark for remark in imported(missing)[1])


def test_film_frames_are_counted_along_the_tempo() -> None:
    tempo = bytes([0, 0xFF, 0x51, 3, *(750_000).to_bytes(3, "big")])
    strokes = b"".join(bytes([0, 0x90, key, 80, *_750, 0x80, key, 0]) for key in (67, 69, 71, 72))
    song, remarks = imported(raw(0, 1, 0xE728, [tempo + strokes + b"\x00\xff\x2f\x00"]))
    assert rows(song, "melody") == ["melody G4 A B C5 |"]
    assert any("film frames" in remark for remark in remarks)


_750 = (0x85, 0x6E)
"""750 thousandths of a second: a quarter at 80."""


@pytest.mark.parametrize(("count", "unit"), [(3, 4), (4, 4), (3, 8), (2, 2)])
def test_a_bar_line_at_every_beat_is_counted_out(count: int, unit: int) -> None:
    beat = 4 / unit
    bar = {2: (1, 1), 3: (2, 1), 4: (2, 1, 1)}[count]
    played, at = [], 0.0
    for index in range(8):
        for place, length in enumerate(bar):
            played.append((60 + (3 * index + place) % 11, at, at + length * beat))
            at += length * beat
    played.append((60, at, at + count * beat))
    first = track("x", meta(0, "time_signature", numerator=1, denominator=unit))
    bar_beat = count * beat
    chords = [
        (key, index * bar_beat, (index + 1) * bar_beat)
        for index in range(9)
        for key in ((48, 52, 55), (43, 47, 50))[index % 2]
    ]
    song, remarks = imported(midi(first, track("tune", *notes(*played)), track("chords", *notes(*chords))))
    bars = Fraction(4 * song.meter.upper, song.meter.lower) / (count * Fraction(4, unit))
    assert bars in (1, 2), song.meter
    assert any(f"the file says 1/{unit}" in remark for remark in remarks)


@pytest.mark.parametrize(("silent", "upbeat"), [(35, 0), (35, 1), (7, 0), (1, 0), (2, 1)])
def test_silence_before_the_tune_is_left_out_and_said(silent: int, upbeat: int) -> None:
    start = 3 * silent - upbeat
    played = [(EIGHT[place % 8], start + place, start + place + 0.9) for place in range(12 + upbeat)]
    song, remarks = imported(midi(conductor(), track("x", *notes(*played))))
    assert len(list(played_bars(song))) == 4 + upbeat
    assert song.sections[0].pickup_beat == upbeat
    left_out = silent - upbeat
    assert left_out == 0 or any(
        f"first {left_out} bars" in each or "the first bar," in each for each in remarks
    )


def test_verses_that_are_written_out_become_passes() -> None:
    once = [(EIGHT[place % 8] + place // 8, place, place + 0.9) for place in range(24)]
    played = [(key, 24 * verse + low, 24 * verse + high) for verse in range(4) for key, low, high in once]
    words = [meta(place, "lyrics", text=f"la{place // 24} ") for place in range(96)]
    song, remarks = imported(midi(conductor(), track("x", *notes(*played), *words)))
    assert [visit.section for visit in song.form] == ["verse"] * 4
    assert len(rows(song, "melody")) == 2
    assert sung(song) == [(f"la{place // 24}", False) for place in range(96)]
    assert any("bars 1-8 come again as 9-16, 17-24, 25-32" in remark for remark in remarks)


@pytest.mark.parametrize("upbeat", [0, 1])
def test_verse_and_chorus_that_are_written_out(upbeat: int) -> None:
    chance = random.Random(3)  # noqa: S311 - a made-up tune
    parts = {name: [(chance.choice(EIGHT), place, place + 0.9) for place in range(24)] for name in "vc"}
    played = [
        (key, 24 * index + low + 3 * bool(upbeat) - upbeat, 24 * index + high + 3 * bool(upbeat) - upbeat)
        for index, name in enumerate("vvcvc")
        for key, low, high in parts[name]
    ]
    song, _ = imported(midi(conductor(), track("x", *notes(*played))))
    form = [visit.section for visit in song.form]
    assert form[0] == form[1] == form[3] != form[2] == form[4]
    assert [(midi, at) for midi, at, _ in quarters(song)] == [
        (key, Fraction(place)) for place, (key, _, _) in enumerate(played)
    ]


def test_reading_takes_work_by_length_and_not_by_its_square() -> None:
    """Work is counted in calls, of Python's functions and of C's, so that a busy machine counts alike."""

    def calls(bars: int) -> int:
        chance = random.Random(1)  # noqa: S311 - a made-up tune
        played = [(chance.choice(EIGHT), place / 2, place / 2 + 0.45) for place in range(6 * bars)]
        words = [meta(place / 2, "lyrics", text="la ") for place in range(6 * bars)]
        data = midi(conductor(), track("x", *notes(*played), *words))
        profile = cProfile.Profile()
        assert isinstance(profile.runcall(read_midi, data, "long.mid"), LeadSheet)
        return sum(entry.callcount for entry in profile.getstats())

    short, long = calls(150), calls(600)
    assert long < 5 * short, (short, long)


def test_an_hour_of_music_is_refused_or_read_soon() -> None:
    played = [(EIGHT[place % 8], place / 2, place / 2 + 0.45) for place in range(12_480)]
    with at_most(800):
        try:
            imported(midi(conductor(), track("x", *notes(*played))))
        except TuneError as error:
            assert "bars" in str(error)  # noqa: PT017 - either is fine, soon
