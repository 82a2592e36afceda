"""Songs at the edges of what is allowed go through every command, sound included, and nothing is out of order."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.cli.conftest import Ran
from tests.unprintable import harmful_in

Run = Callable[..., Ran]

EXTREMES = {
    "one fast hemidemi bar": """\
title: "'"
meter: 1/32
tempo: 400
instrument: 250
tuning: [A5, A5, A5, A5]
players: free
dynamics: {melody: ppp, between: fff, strums: fff}
strum: dudu
between: fill
swing: 3/4
front: 0
feel: loose
count-in: 0
sections:
  verse: |
    chords  Bdim7
    melody  G8:1/4 C-1:1/4 s1f15:1/2
""",
    "whole notes and low strings": """\
title: "<script>&amp;</script>"
meter: 3/1
tempo: 100
instrument: 700
tuning: [E1, F2, E1, G3]
players: beginner
dynamics: {melody: fff, between: ppp, strums: ppp}
strum: U . x
swing: 1/2
front: 24
feel: steady
count-in: 1
form: a*2 b
sections:
  a: |
    chords   Ebmaj9/Db
    melody   C4:1/7[roll] D:6/7 s4f0:2
    words    <b> 海 שיר
    marks    fff@1 rit@2 fermata@3
  b: |
    chords   N.C.
    melody   .:3
""",
    "sixteen": """\
title: 16
key: Ab minor
meter: 16/16
tempo: 277/3
tuning: [A5, E1, A5, E1]
players: improving
strum: x D U x . d u . x x D U . . d u
swing: 0.62
count-in: 0
sections:
  über-1: |
    chords  A[2.15.0.0]:8 F#m7b5:8
    melody  F##4:1/3 Abb4:1/3[alone] C7:1/3[roll] B2:15
    between .:4 E1:12
""",
}
"""The middle one in long notes, so that a ritard and a fermata take their time."""


@pytest.mark.parametrize("name", EXTREMES)
def test_every_command_takes_it(
    name: str, tmp_path: Path, tercet: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("far-out.yaml").write_text(EXTREMES[name], encoding="utf-8")
    for words in (
        ("check", "--tab"),
        ("check", "--json"),
        ("check", "--picture", "take.svg"),
        ("advise",),
        ("render", "-o", "all.wav", "--sound", "built-in"),
        (
            "render",
            "-o",
            "dry.wav",
            "--dry",
            "--speed",
            "200%",
            "--only",
            "melody",
            "--transpose",
            "1",
            "--sound",
            "built-in",
        ),
        ("render", "-o", "all.mid", "--tuning", "low-g"),
        ("sheet", "-o", "sheet.pdf"),
        ("sheet", "-o", "large.svg", "--large", "--left-handed"),
        ("sheet", "-o", "handout.png", "--handout"),
        ("fretboard", "-o", "neck.pdf"),
        *(("export", "-o", f"song.{ending}") for ending in ("musicxml", "abc", "mid", "txt")),
        ("pin", "-o", "pinned.yaml"),
        ("kit", "-o", "kit", "--tracks", "tune-up,chords,flat", "--formats", "ogg", "--sound", "built-in"),
    ):
        ran = tercet(words[0], "far-out.yaml", *words[1:])
        assert ran.code in (0, 1), (words, ran.err)
        assert ran.code == 0 or words[0] == "check", (words, ran.err)
        assert harmful_in(ran.out + ran.err) == []
    sound, _ = soundfile.read("all.wav")
    assert np.isfinite(sound).all()
    assert 0 < np.abs(sound).max() <= 1
    assert tercet("check", "pinned.yaml").code in (0, 1)
