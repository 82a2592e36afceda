"""Ten tunes of others end to end by the real commands: import, check, kit, then the files are listened to.

A font plays: strokes are heard by their treble, which the built-in ukulele lacks in the back.
They are read where music21 keeps its corpus: folk tunes in ABC, a song in MusicXML, and one of ours by plain MIDI.
Tunes without chords get proposals. What is heard is held against what the imported song file says.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tercet.cli import main
from tests.kits import LAYER_TRACKS, PLAYERS, ROOT, Kit
from tests.measure.audio import LAYERS, Track
from tests.measure.midi import rolls_of
from tests.measure.onsets import onsets_s
from tests.promises import PROMISES

LATEST_S = 0.005
"""A stroke is heard within this of where the MIDI file beside it has it."""

LEAST_HEARD = 0.8
"""In a quick jig a string that is struck again after a fifth of a second rises too little for a plain detector."""

KEPT = (
    "nothing at full scale",
    "MIDI holds the tune",
    "MIDI says the words",
)
"""Promises of every kit that hold whatever the tune is like."""

KEPT_WITH_ALL_LAYERS = ("tracks add up", "layers keep their level", "MIDI has a named track for each layer")
"""Those that need something in every layer."""


@dataclass(frozen=True)
class Tune:
    """A tune in music21's corpus, or one of our songs that is exported first, and which of its book."""

    file: str
    which: str = ""


TUNES = (
    Tune("airdsAirs/book1.abc", "0163"),
    Tune("airdsAirs/book4.abc", "0647"),
    Tune("airdsAirs/book5.abc", "0847"),
    Tune("oneills1850/0001-0050.abc", "46"),
    Tune("oneills1850/0101-0200.abc", "191"),
    Tune("essenFolksong/altdeu10.abc", "64"),
    Tune("essenFolksong/altdeu10.abc", "235"),
    Tune("essenFolksong/altdeu20.abc", "71"),
    Tune("leadSheet/fosterBrownHair.mxl"),
    Tune("songs/sleeper-train.yaml"),
)


def source(tune: Tune, folder: Path) -> Path:
    """Return the file to import; one of our songs goes through plain MIDI first."""
    if tune.file.startswith("songs/"):
        target = folder / "ours.mid"
        assert main(["export", str(ROOT / tune.file), "-o", str(target), "--plain"]) == 0
        return target
    spec = importlib.util.find_spec("music21")
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent / "corpus" / tune.file


@pytest.mark.parametrize("tune", TUNES, ids=lambda tune: f"{Path(tune.file).stem}-{tune.which}".strip("-"))
def test_a_tune_is_imported_checked_made_into_a_kit_and_heard(
    tune: Tune, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERCET_SOUND", PLAYERS["FluidSynth"])
    song = tmp_path / "song.yaml"
    which = ["--tune", tune.which] if tune.which else []
    assert main(["import", str(source(tune, tmp_path)), "-o", str(song), "--harmonise", *which]) == 0
    said = capsys.readouterr().err
    for remark in (line[2:] for line in said.splitlines() if line.startswith("- ")):
        assert remark[:60] in " ".join(song.read_text(encoding="utf-8").replace("\n#   ", " ").split())
    assert main(["check", str(song)]) == 0
    assert "no mistakes" in capsys.readouterr().out
    asked = ["kit", str(song), "-o", str(tmp_path / "out"), "--tracks"]
    assert main([*asked, "demo"]) == 0
    there = [
        layer for layer in LAYERS if Kit(tmp_path / "out" / "song", song, "FluidSynth").midi.tracks.get(layer)
    ]
    full = len(there) == len(LAYERS)
    names = LAYER_TRACKS if full else ["demo", *(f"only-{layer}" for layer in there if len(there) > 1)]
    assert main([*asked, ",".join(names)]) == 0
    kit = Kit(tmp_path / "out" / "song", song, "FluidSynth")
    for name in (*KEPT, *(KEPT_WITH_ALL_LAYERS if full else ())):
        PROMISES[name](kit)
    assert_heard(kit)


def single(kit: Kit, layer: str) -> Track:
    """Return the track of one layer; of a song with no other layer, its demo."""
    return kit.tracks.get(f"only-{layer}", kit.tracks["demo"])


def assert_heard(kit: Kit) -> None:
    """Most strokes of melody and between are heard, from the first string to the last, when the MIDI file says."""
    count_in_s = float(kit.song.count_in_beat) * kit.song.beat_s
    strokes: list[bool] = []
    for layer in ("melody", "between"):
        if not kit.midi.tracks.get(layer):
            continue
        onsets = onsets_s(single(kit, layer))
        rolls = rolls_of(kit.midi, layer)
        spans_s = [(roll.notes[0].onset_s, roll.notes[-1].onset_s) for roll in rolls]
        strokes += heard(onsets[onsets > count_in_s - 0.1], spans_s)
    assert strokes
    assert sum(strokes) >= LEAST_HEARD * len(strokes), f"{sum(strokes)} of {len(strokes)} strokes are heard"


def heard(onsets: NDArray[np.float64], spans_s: Sequence[tuple[float, float]]) -> list[bool]:
    """Return for each stroke, from its first string to its last, whether an onset falls into it."""
    return [
        bool(np.any((onsets >= low_s - LATEST_S) & (onsets <= high_s + LATEST_S)))
        for low_s, high_s in spans_s
    ]


def test_strokes_that_are_late_would_be_missed() -> None:
    onsets = np.arange(1.0, 9.0, 0.5)
    spans_s = [(onset - 0.06, onset) for onset in onsets]
    assert all(heard(onsets, spans_s))
    assert not any(heard(onsets + 0.02, spans_s))
    assert not any(heard(onsets - 0.08, spans_s))
