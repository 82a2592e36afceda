"""The folder for real recordings works before there are any."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.hearing.given import FOLDER, compared, given_recordings
from tests.kits import ROOT


def test_nothing_is_there_without_consent() -> None:
    assert all(facts["consent"] for _, facts in given_recordings(FOLDER))


def test_a_recording_without_consent_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.wav").touch()
    (tmp_path / "a.yaml").write_text("song: songs/harbour-lanterns.yaml\n", encoding="utf-8")
    with pytest.raises(SystemExit, match=r"a\.wav: nobody is known to have consented"):
        given_recordings(tmp_path)


def test_what_is_true_stands_beside_what_is_heard(tmp_path: Path, slips_file: Path) -> None:
    shutil.copy(slips_file, tmp_path / "a.wav")
    text = "song: songs/harbour-lanterns.yaml\nwrong: [3]\nconsent: rendered\n"
    (tmp_path / "a.yaml").write_text(text, encoding="utf-8")
    ((path, facts),) = given_recordings(tmp_path)
    assert (ROOT / facts["song"]).exists()
    both = compared(path, facts)
    assert both["wrong"][0] == [3]
    true, heard = both["trust"]
    assert true == 1.0
    assert isinstance(heard, float)
    assert heard < 0.4
