"""What is counted as ringing is found in what we play, and not where the tune is let ring too little or too much."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from tercet.arranging import Arrangement, arrange
from tercet.performing import Take, TakeNote, lay_out, perform
from tercet.performing.midi import midi_bytes
from tercet.song import read_song
from tests.measure.midi import read_with_mido
from tests.measure.ringing import Hand, Ringing, ringing_of
from tests.measure.song_text import read_song_text

SONG = """title: Leaping
key: C major
meter: 4/4
tempo: 96
sections:
  verse: |
    chords  C               | C               | F                | C
    melody  C5 E4 G4[4] E   | C5 E4 F4 E      | A4[1] F4 A4[1] . | C5:4

    chords  C               | C
    melody  C5 E4 G4[4] E:1 | C5:4
"""


def counted(folder: Path, change: Callable[[Take], Take] = lambda take: take) -> Ringing:
    """Count in the song's MIDI file, the take changed before it is written."""
    path, midi = folder / "song.yaml", folder / "song.mid"
    path.write_text(SONG, "utf-8")
    made = arrange(read_song(path))
    midi.write_bytes(midi_bytes(made, change(perform(made, lay_out(made, count_in_bars=1)))))
    song = read_song_text(path)
    return ringing_of(
        read_with_mido(midi), song, (song.pickup_beat, Fraction(16), song.end_beat), hands(made)
    )


def hands(made: Arrangement) -> dict[int, list[Hand]]:
    """Return shape and strings of each stroke of the thumb, by bar."""
    bars: dict[int, list[Hand]] = {}
    for gesture in made.gestures:
        if gesture.layer != "strums":
            shape = "".join(str(fret or 0) for fret in gesture.shape)
            strings = "".join(str(note.string) for note in gesture.notes)
            bars.setdefault(gesture.bar_number, []).append((shape, (strings,)))
    return bars


def tune_with(length_s: Callable[[TakeNote], float]) -> Callable[[Take], Take]:
    """Return a change that gives the notes of the tune other lengths, as far as their key isn't struck before."""

    def change(take: Take) -> Take:
        notes = []
        for note in take.notes:
            again_s = min(
                (
                    other.onset_s
                    for other in take.notes
                    if other.midi == note.midi and other.onset_s > note.onset_s
                ),
                default=take.length_s,
            )
            free_s = max(again_s - note.onset_s - 0.01, 0.01)
            new_s = length_s(note) if note.part == "tune" else note.length_s
            notes.append(replace(note, length_s=min(new_s, free_s)))
        return replace(take, notes=tuple(notes))

    return change


def test_the_tune_rings_on_over_leaps_and_nowhere_else(tmp_path: Path) -> None:
    found = counted(tmp_path)
    assert found.free >= 6
    assert found.rung == found.free
    assert found.left_s == ()
    assert found.blurred == 0


def test_a_tune_that_stops_as_written_is_found(tmp_path: Path) -> None:
    beat_s = 60 / 96
    found = counted(tmp_path, tune_with(lambda note: 0.95 * float(note.length_beat) * beat_s))
    assert found.free >= 6
    assert found.rung == 0
    assert len(found.left_s) == found.free
    assert min(found.left_s) > 0.3


def test_a_tune_that_rings_over_steps_rests_and_breaths_is_found(tmp_path: Path) -> None:
    found = counted(tmp_path, tune_with(lambda note: note.length_s + 0.5))
    assert found.rung == found.free
    assert found.blurred >= 2
