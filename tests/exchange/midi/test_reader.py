"""MIDI in: the tune, its rhythm, words and chords, and files that are refused."""

from __future__ import annotations

import mido
import pytest

from tercet.exchange import TuneError, imported_text
from tercet.exchange.midi.chunks import LARGEST_MIDI_BYTES
from tercet.exchange.midi.reader import read_midi
from tercet.song import Song
from tercet.song.writer import tidy_text, write_song
from tests.exchange.midi.files import far_away, meta, midi, notes, raw, track
from tests.yardstick import at_most

SCALE = [(67, 0.0, 0.9), (69, 1.0, 1.9), (71, 2.0, 2.9), (72, 3.0, 6.0)]
BASS = [(48, 0.0, 3.0), (43, 3.0, 6.0)]


def imported(data: bytes, wanted: str = "") -> tuple[Song, tuple[str, ...]]:
    text, song, remarks = imported_text(read_midi(data, "tune.mid", wanted), "tune.mid")
    assert tidy_text(text) == text
    return song, remarks


def rows(song: Song, name: str) -> list[str]:
    return [" ".join(line.split()) for line in write_song(song).splitlines() if line.split()[:1] == [name]]


def conductor(*events: tuple[float, mido.MetaMessage]) -> mido.MidiTrack:
    return track("Kitchen Tune", meta(0, "time_signature", numerator=3, denominator=4), *events)


def test_tempo_meter_key_words_and_sections() -> None:
    first = conductor(
        meta(0, "set_tempo", tempo=600_000),
        meta(0, "key_signature", key="G"),
        meta(0, "marker", text="Verse"),
    )
    words = [meta(0, "lyrics", text="Ket"), meta(1, "lyrics", text="tle "), meta(2, "lyrics", text="on "),
             meta(3, "lyrics", text="top ")]  # fmt: skip
    song, remarks = imported(midi(first, track("voice", *notes(*SCALE), *words)))
    assert (song.title, str(song.key), str(song.meter)) == ("Kitchen Tune", "G major", "3/4")
    assert song.tempo == 100
    assert [section.name for section in song.sections] == ["verse"]
    assert rows(song, "melody") == ["melody G4 A B | C5:3 |"]
    assert rows(song, "words") == ["words Ket-tle on | top |"]
    assert remarks == (
        "the tune has no chord symbols: N.C. stands until you write chords, or import it with --harmonise",
    )


def test_type_0_in_one_track() -> None:
    single = track("all", meta(0, "time_signature", numerator=3, denominator=4), *notes(*SCALE))
    assert rows(imported(midi(single, kind=0))[0], "melody") == ["melody G4 A B | C5:3 |"]


def test_the_tune_is_found_and_said() -> None:
    bass, tune = track("bass", *notes(*BASS)), track("flute", *notes(*SCALE))
    _, remarks = imported(midi(conductor(), bass, tune))
    why = "because it plays single notes, higher than the others; tracks with notes are 2 bass, 3 flute"
    assert f"the tune is taken from track 3 (flute), {why}: --track takes another" in remarks
    named = track("Melody", *notes(*BASS))
    assert any(
        "track 2 (Melody), because its name says so" in each
        for each in imported(midi(conductor(), named, tune))[1]
    )
    assert rows(imported(midi(conductor(), bass, tune), "2")[0], "melody") == ["melody C3:3 | G2:3 |"]
    assert rows(imported(midi(conductor(), bass, tune), "Bass")[0], "melody") == ["melody C3:3 | G2:3 |"]
    with pytest.raises(TuneError, match="no track '9' with notes: those with notes are 2 bass, 3 flute"):
        imported(midi(conductor(), bass, tune), "9")


def test_drums_are_no_tune() -> None:
    drums = track("kit", *notes((38, 0, 1), channel=9))
    with pytest.raises(TuneError, match="has no notes"):
        imported(midi(conductor(), drums))


def test_the_top_line_of_notes_together_and_overlapping() -> None:
    thick = [(60, 0, 1), (64, 0, 1), (67, 0, 1.4), (69, 1, 2), (48, 1.5, 3), (71, 2, 3)]
    song, remarks = imported(midi(conductor(), track("piano", *notes(*thick))))
    assert rows(song, "melody") == ["melody G4 A B |"]
    assert "3 notes under the top line are left out" in remarks


def test_notes_struck_again_and_never_let_go() -> None:
    on = [(place, mido.Message("note_on", note=67, velocity=80)) for place in (0, 1, 2)]
    end = (3, mido.Message("note_on", note=30, velocity=0))
    assert rows(imported(midi(conductor(), track("x", *on, end)))[0], "melody") == ["melody G4 G G |"]


def test_rhythm_in_the_simplest_fractions() -> None:
    third = 1 / 3
    played = [
        (60, 0.02, 0.3),
        (62, third - 0.01, 0.6),
        (64, 2 * third, 0.98),
        (65, 1.01, 1.45),
        (67, 1.5, 1.9),
        (69, 2, 3),
    ]
    song, remarks = imported(midi(conductor(), track("x", *notes(*played))))
    assert rows(song, "melody") == ["melody C4:1/3 D:1/3 E:1/3 F:1/2 G:1/2 A |"]
    assert "the notes don't sit on a grid, as if they were played live: check the rhythm" in remarks
    loose = [*((60 + place, place, place + 1) for place in range(11)), (62, 11.46, 12)]
    _, remarks = imported(midi(conductor(), track("x", *notes(*loose))))
    assert any("1 of 12 notes isn't near any simple fraction of a quarter" in remark for remark in remarks)


def test_chords_from_a_chord_track() -> None:
    chords = track(
        "guitar", *notes(*[(key, 0, 3) for key in (48, 52, 55)], *[(key, 3, 6) for key in (43, 50, 53, 59)])
    )
    song, remarks = imported(midi(conductor(), track("tune", *notes(*SCALE)), chords))
    assert rows(song, "chords") == ["chords C | G7 |"]
    assert "the chords are read from track 3 (guitar)" in remarks
    odd = track(
        "guitar", *notes(*[(key, 0, 3) for key in (48, 49, 50)], *[(key, 3, 6) for key in (57, 60, 64)])
    )
    song, remarks = imported(midi(conductor(), track("tune", *notes(*SCALE)), odd))
    assert rows(song, "chords") == ["chords N.C. | Am |"]
    assert "1 of its 2 chords has no plain name and is left out" in remarks


def test_changes_of_tempo_and_lyrics_without_a_note_are_said() -> None:
    first = conductor(meta(0, "set_tempo", tempo=500_000), meta(3, "set_tempo", tempo=400_000))
    _, remarks = imported(midi(first, track("x", *notes(*SCALE), meta(4.5, "lyrics", text="late"))))
    assert "changes of tempo are left out" in remarks
    assert "1 syllable falls on no note of the tune and is left out" in remarks


REFUSED = {
    "header-cut-off": (b"MThd\0\0", "header is cut off"),
    "header-length": (raw(0, 1, 480, length=99), "header is 99 bytes long"),
    "type-2": (raw(2, 1, 480), "of type 2"),
    "division-0": (raw(0, 1, 0), "0 ticks to a quarter"),
    "film-frames": (raw(0, 1, 0xE700, [b""]), "0 ticks to a film frame"),
    "many-tracks": (raw(1, 60_000, 480), "60000 tracks"),
    "track-missing": (raw(1, 3, 480), "damaged MIDI file"),
    "track-cut-off": (midi(track("x", *notes(*SCALE)))[:-12], "damaged MIDI file"),
    "track-too-long": (raw(0, 1, 480, [b""])[:-4] + b"\xff\xff\xff\xff", "damaged MIDI file"),
    "gap": (far_away(), "more than 128000 quarters"),
    "nothing": (midi(track("x")), "has no notes"),
    "too-large": (raw(0, 1, 480, [bytes(LARGEST_MIDI_BYTES)]), "larger than 300 kB"),
    "running-status-first": (raw(0, 1, 480, [bytes([0, 60, 80])]), "damaged MIDI file"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_bad_file_is_refused_quickly(name: str) -> None:
    data, message = REFUSED[name]
    with at_most(40), pytest.raises(TuneError, match=message):
        imported(data)
