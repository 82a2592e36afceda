"""What is asked of all tracks of a kit alike, and tracks of one's own: heard in the files that the command makes."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from tests.class_kits import ClassKit, kit_of, short_class_kit
from tests.kind_promises import GUIDE_DB, gain_of_guide
from tests.kits import SHORT_SONG
from tests.measure.passages import lag_of, level_db

OWN = SHORT_SONG.replace(
    "sections:\n",
    "tracks:\n  open-are-mine: {yours: open}\n  hard: {way: loop, bars: verse:3-4, times: 3}\nsections:\n",
    1,
)
CLASS = "name: Tuesday\ntracks:\n  rolls-softly: {yours: roll, guide: melody}\n"


@pytest.fixture(scope="session")
def good(tmp_path_factory: pytest.TempPathFactory) -> ClassKit:
    return short_class_kit(tmp_path_factory.getbasetemp())


@cache
def asked(base: Path, *arguments: str) -> ClassKit:
    """Make tracks of the short song with options, once a process."""
    folder = base / "asked" / "".join(each for each in "".join(arguments) if each.isalnum())
    folder.mkdir(parents=True)
    path = base / "asked" / "kettle-and-cup.yaml"
    path.write_text(SHORT_SONG, encoding="utf-8")
    return kit_of(path, folder, *arguments, base=base)


def test_a_guide_is_14_db_softer(good: ClassKit, tmp_path_factory: pytest.TempPathFactory) -> None:
    guided = asked(tmp_path_factory.getbasetemp(), "--guide", "--tracks", "without-melody,echo,demo")
    both = ClassKit(
        good.folder,
        good.song_path,
        good.sounds,
        changed={"without-melody": guided.track("without-melody")},
        base=good,
    )
    heard_db = gain_of_guide(both, "without-melody", "only-between", "only-strums", guide="only-melody")
    assert heard_db == pytest.approx(GUIDE_DB, abs=0.1)
    for listen, yours in zip(
        guided.claims["echo"].turns_of("listen"), guided.claims["echo"].turns_of("yours"), strict=True
    ):
        parts = [
            guided.music("echo").samples[guided.frame(turn.start_s + 0.25) : guided.frame(turn.end_s - 0.25)]
            for turn in (listen, yours)
        ]
        assert level_db(parts[1]) - level_db(parts[0]) == pytest.approx(GUIDE_DB, abs=0.7)


def test_a_louder_guide_is_found(good: ClassKit) -> None:
    melody = good.music("only-melody").samples * 10.0 ** (-11.0 / 20.0)
    spoilt = good.spoilt(
        "without-melody", lambda samples: samples + np.rint(melody * 32_768).astype(np.int16)
    )
    assert gain_of_guide(spoilt, "without-melody", "only-between", "only-strums", guide="only-melody") == (
        pytest.approx(-11.0, abs=0.1)
    )


def test_a_click_is_on_every_beat(tmp_path_factory: pytest.TempPathFactory) -> None:
    kit = asked(tmp_path_factory.getbasetemp(), "--click", "--bars", "1-4", "--tracks", "demo,only-melody")
    demo, beat_s = kit.claims["demo"], kit.song.beat_s
    heard_s = np.array([kit.music("demo").cue_frames[each] / 48_000 for each in demo.cues_s("pulse")])
    assert len(heard_s) == 12
    assert np.abs(heard_s - demo.turns[1].start_s - beat_s * np.arange(12)).max() <= 0.003
    assert len(demo.cues_s("count")) == 3


def test_chosen_bars_are_those_of_the_song(good: ClassKit, tmp_path_factory: pytest.TempPathFactory) -> None:
    kit = asked(tmp_path_factory.getbasetemp(), "--bars", "3-4", "--tracks", "demo,loop")
    assert [bar.number for bar in kit.claims["demo"].bars] == [3, 4]
    assert [bar.number for bar in kit.claims["loop"].bars] == [3, 4] * 4
    whole = next(bar for bar in good.claims["demo"].bars if bar.number == 3)
    start = good.frame(whole.start_s + 0.3)
    about = kit.frame(kit.claims["demo"].bars[0].start_s) - good.frame(whole.start_s)
    lag = lag_of(kit.music("demo").samples, good.music("demo").samples, start, 96_000, about)
    assert lag.likeness >= 0.98
    assert kit.claims["demo"].gain_db == good.claims["demo"].gain_db


def test_tracks_of_one_s_own_are_made_as_they_say(good: ClassKit, tmp_path: Path) -> None:
    path = tmp_path / "kettle-and-cup.yaml"
    path.write_text(OWN, encoding="utf-8")
    (tmp_path / "class.yaml").write_text(CLASS, encoding="utf-8")
    kit = kit_of(path, tmp_path / "kits", "--tracks", "open-are-mine,hard,rolls-softly", base=tmp_path)
    assert list(kit.claims) == ["open-are-mine", "hard", "rolls-softly"]
    open_mine, built_in = (each.samples for each in (kit.track("open-are-mine"), good.track("turns-open")))
    assert level_db(open_mine - built_in) <= level_db(built_in) - 60.0
    assert [bar.number for bar in kit.claims["hard"].bars] == [3, 4] * 3
    rolls = good.music("demo").samples - good.music("turns-rolls").samples
    mine = kit.track("rolls-softly").samples - good.track("turns-rolls").samples
    assert level_db(mine) - level_db(rolls) == pytest.approx(GUIDE_DB, abs=0.1)
