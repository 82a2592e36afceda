"""A song that is heard while it is written: once settled, its bars are those of a file, whatever came before."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

import tercet
from tercet import LiveSong, LiveSound, OneTrack, PlayOptions
from tercet.kit import live_song
from tercet.sound.loudness import integrated_loudness_lufs
from tercet.tracks.balance import Variant, WholeHeard
from tercet.tracks.clips.batch_cache import LastPlayed
from tercet.tracks.kept_balance import heard_whole
from tercet.tracks.playing import Playing
from tests.kits import FONT, SHORT_SONG

TWO = OneTrack(bars="2-3")
EDITS: dict[str, Callable[[str], str]] = {
    "a note": lambda text: text.replace("A4 F A ", "A4 D5 A", 1),
    "the first bar": lambda text: text.replace("A4 C5 A4", "E5 C5 E5", 1),
    "a chord": lambda text: text.replace("F         ", "Dm        ", 1),
    "the tempo": lambda text: text.replace("tempo: 132", "tempo: 108", 1),
    "the key": lambda text: tercet.write_song(tercet.transpose(tercet.parse_song(text), 3)),
    "a mark": lambda text: text.replace("strums: p", "strums: mp", 1),
    "the form": lambda text: text.replace("verse*2", "verse*3", 1),
    "a second voice": lambda text: text.replace("tempo:", "second: thirds\ntempo:", 1),
}
MOST_OFF_DB, OF_A_NOTE_DB = 2.5, 0.1
"""How much louder or softer bars may be before the balance is measured again: after any edit, and after that of a note
which isn't the song's loudest moment (then it is up to 2 dB)."""


@pytest.fixture(scope="module")
def lives() -> LiveSong:
    """One engine that lives through the tests, as it does through an evening's edits."""
    live = LiveSong()
    live.edit(SHORT_SONG)
    live.settle()
    return live


def settled(text: str, options: PlayOptions | None = None, track: OneTrack = TWO) -> LiveSound:
    live = LiveSong(options)
    live.edit(text)
    live.hear(track)
    assert live.settle()
    sound = live.hear(track)
    assert sound.settled
    return sound


def written(folder: Path, text: str, options: PlayOptions, track: OneTrack) -> np.ndarray:
    path = tercet_render(folder, text, options, track)
    samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    assert rate_hz == 48_000
    return np.asarray(samples)


def tercet_render(folder: Path, text: str, options: PlayOptions, track: OneTrack) -> Path:
    tercet.make_track(tercet.parse_song(text), folder / "bars.wav", track, options)
    return folder / "bars.wav"


def decibels(samples: np.ndarray) -> float:
    return float(20.0 * np.log10(max(np.abs(samples).max(), 1e-9)))


@pytest.mark.parametrize(
    ("options", "track", "edit"),
    [
        (PlayOptions(), TWO, "a note"),
        (PlayOptions(), OneTrack(bars="verse@2:6-8"), "the form"),
        (PlayOptions(), OneTrack(bars="1-2", flat=True, speed="70%"), "a chord"),
        (PlayOptions(), OneTrack(bars="3", without=("melody",)), "a note"),
        (PlayOptions(), OneTrack("echo", bars="1-4"), "the first bar"),
        (PlayOptions(count_in_bars=2, click=True), OneTrack(bars="5", only=("second",)), "a second voice"),
        (PlayOptions(tuning="baritone", players="free", loud=True), OneTrack(bars="1-4"), "the key"),
        (PlayOptions(tuning="low-g", dry=True, seed=3, count_in_bars=0), TWO, "the tempo"),
        (PlayOptions(clear=True, front=9, transpose=-2), TWO, "a mark"),
        (PlayOptions(sound=FONT), TWO, "a note"),
    ],
)
def test_settled_bars_are_those_that_render_writes(
    options: PlayOptions, track: OneTrack, edit: str, tmp_path: Path
) -> None:
    live = LiveSong(options)
    live.edit(SHORT_SONG)
    live.hear(replace(track, only=()))
    text = EDITS[edit](SHORT_SONG)
    live.edit(text)
    assert live.settle()
    sound = live.hear(track).audio
    file = written(tmp_path, text, replace(options, bits=24), track)
    assert sound.samples.shape == file.shape
    assert decibels(sound.samples - file) < decibels(file) - 60.0


def test_a_wrong_note_would_be_heard(tmp_path: Path) -> None:
    """What the test above holds against a file isn't so of the text before the edit."""
    file = written(tmp_path, EDITS["a note"](SHORT_SONG), PlayOptions(), TWO)
    assert decibels(settled(SHORT_SONG).audio.samples - file) > decibels(file) - 20.0


@pytest.mark.parametrize("edit", sorted(EDITS))
def test_bars_are_near_before_they_are_settled(edit: str, lives: LiveSong) -> None:
    lives.edit(SHORT_SONG)
    lives.settle()
    lives.edit(EDITS[edit](SHORT_SONG))
    assert not lives.settled
    before = lives.hear(TWO)
    assert not before.settled
    assert lives.settle()
    after = lives.hear(TWO)
    assert after.settled
    off_db = abs(integrated(before) - integrated(after))
    assert off_db < (OF_A_NOTE_DB if edit == "a note" else MOST_OFF_DB)


def integrated(sound: LiveSound) -> float:
    return float(integrated_loudness_lufs(sound.audio.samples, sound.audio.sample_rate_hz))


@settings(max_examples=4)
@given(st.lists(st.sampled_from(sorted(EDITS)), min_size=1, max_size=3, unique=True), st.booleans())
def test_what_came_before_changes_nothing(lives: LiveSong, names: list[str], listened: bool) -> None:
    """After any edits in any order, heard or not, a text sounds as it does where no other came before."""
    text = SHORT_SONG
    for name in names:
        text = EDITS[name](text)
        lives.edit(text)
        if listened:
            lives.hear(TWO)
    assert lives.settle()
    assert np.array_equal(lives.hear(TWO).audio.samples, settled(text).audio.samples)


@pytest.mark.parametrize(
    ("spoilt", "says"),
    [
        ("A4 H5 A4", "H"),
        ("A4 C5", "1 beat too short"),
        ("A4 C5 A4\n      melody", "melody"),
    ],
)
def test_a_slip_is_told_and_the_song_stays(spoilt: str, says: str, lives: LiveSong) -> None:
    arrangement = lives.edit(SHORT_SONG)
    lives.settle()
    before = lives.hear(TWO)
    with pytest.raises(tercet.SongError, match=says) as slip:
        lives.edit(SHORT_SONG.replace("A4 C5 A4", spoilt))
    assert slip.value.mistakes
    assert lives.settled
    assert np.array_equal(lives.hear(TWO).audio.samples, before.audio.samples)
    assert lives.edit(SHORT_SONG) is arrangement


def test_stems_add_up_to_what_is_heard(lives: LiveSong) -> None:
    lives.edit(EDITS["a second voice"](SHORT_SONG))
    sound = lives.hear(OneTrack(bars="1-2"))
    stems = sound.stems()
    assert list(stems) == ["melody", "second", "between", "strums", "cues"]
    assert np.abs(stems.mix().samples - sound.audio.samples).max() < 1e-5
    assert stems["cues"].any()
    assert stems.mix(without=["strums"]).length_frames == sound.audio.length_frames


def test_bars_are_told_with_their_times(lives: LiveSong) -> None:
    lives.edit(SHORT_SONG)
    sound = lives.hear(OneTrack(bars="verse@2:1-2"))
    assert [(bar.bar, bar.section, bar.pass_number) for bar in sound.bars] == [
        (9, "verse", 2),
        (10, "verse", 2),
    ]
    assert 1.0 < sound.bars[0].start_s < sound.bars[0].end_s == sound.bars[1].start_s < sound.audio.length_s


def test_what_is_asked_for_in_vain_is_said() -> None:
    live = LiveSong()
    for ask in (live.hear, live.settle):
        with pytest.raises(tercet.RequestError, match="take in a text first"):
            ask()
    assert not live.settled
    live.edit(SHORT_SONG)
    for track, says in ((OneTrack(bars="99"), "99"), (OneTrack("ecko"), "did you mean echo")):
        with pytest.raises(tercet.RequestError, match=says):
            live.hear(track)
    assert live.hear(TWO).audio.length_s > 2.0


def test_the_whole_song_is_heard_when_there_is_time_and_else_once(monkeypatch: pytest.MonkeyPatch) -> None:
    heard: list[Variant] = []

    def counted(playing: Playing, variant: Variant, work: Path) -> WholeHeard:
        heard.append(variant)
        return heard_whole(playing, variant, work)

    monkeypatch.setattr("tercet.kit.live_song.heard_whole", counted)
    live = LiveSong()
    for edit in ("a note", "a chord", "the tempo"):
        live.edit(EDITS[edit](SHORT_SONG))
        live.hear(TWO)
    assert heard == [("song", False)]
    live.settle()
    live.settle()
    assert len(heard) == 2
    live.hear(OneTrack("flat", bars="1"))
    assert heard[2:] == [("song", True)]


def test_another_sound_is_measured_before_it_is_heard(tmp_path: Path) -> None:
    (tmp_path / "other.sf2").write_bytes(FONT.read_bytes())
    live = LiveSong(path=tmp_path / "song.yaml")
    live.edit(SHORT_SONG)
    live.settle()
    live.edit(SHORT_SONG.replace("tempo:", "sound: other.sf2\ntempo:"))
    sound = live.hear(TWO)
    assert sound.settled
    assert live.settled


def test_a_class_file_beside_the_song_holds(tmp_path: Path) -> None:
    (tmp_path / "class.yaml").write_text("tracks:\n  mine: {yours: strums}\n", encoding="utf-8")
    live = LiveSong(path=tmp_path / "song.yaml")
    live.edit(SHORT_SONG)
    assert live.hear(OneTrack("mine", bars="1")).audio.length_s > 1.0
    with pytest.raises(tercet.SongError, match=r"song\.yaml"):
        live.edit("title: Nothing\n")


def test_any_thread_may_ask(lives: LiveSong) -> None:
    texts = [edit(SHORT_SONG) for edit in EDITS.values()]

    def work(number: int) -> bool:
        lives.edit(texts[number % len(texts)])
        if number % 3 == 0:
            lives.settle()
        return bool(lives.hear(TWO).audio.samples.any())

    with ThreadPoolExecutor(4) as pool:
        assert all(pool.map(work, range(8)))
    lives.edit(texts[0])
    assert lives.settle()
    assert np.array_equal(lives.hear(TWO).audio.samples, settled(texts[0]).audio.samples)


def test_what_is_kept_of_hands_has_a_bound(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live_song, "MOST_ASKED", 0)
    live = LiveSong()
    tabs = [live.edit(EDITS[name](SHORT_SONG)).tab() for name in ("a note", "the key")]
    fresh = [
        tercet.arrange(tercet.parse_song(EDITS[name](SHORT_SONG))).tab() for name in ("a note", "the key")
    ]
    assert tabs == fresh


def test_what_was_played_last_is_kept_in_its_room() -> None:
    played: list[str] = []

    def play(name: str) -> Callable[[], np.ndarray]:
        return lambda: played.append(name) or np.zeros((100, 2), np.float32)  # type: ignore[func-returns-value]

    kept = LastPlayed(1_700)
    for name in ("a", "b", "a", "c", "a", "b"):
        assert kept.get(name, play(name)).shape == (100, 2)
    assert played == ["a", "b", "c", "b"]
