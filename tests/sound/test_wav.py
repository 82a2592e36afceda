"""WAV files against those that libsndfile writes, byte by byte."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tercet.errors import OutputError
from tercet.sound.encoding import TrackWriter
from tercet.sound.sink import Sink
from tercet.sound.tags import Tags, sound_file_strings
from tercet.sound.wav import WavFile
from tests.tracks.plucks import RATE_HZ, plucks

SOME = (
    Tags(),
    Tags("odd"),
    Tags("even", track_number=12),
    Tags("Häfen «Lichter» 港", "Nobody", "Spring", 3, "Für alle", "The class", "CC0-1.0"),
)


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("tags", SOME)
@pytest.mark.parametrize("promised", [True, False])
def test_the_bytes_are_those_of_libsndfile(tmp_path: Path, bits: int, tags: Tags, promised: bool) -> None:
    sound = plucks(0.3)
    path, witness = tmp_path / "ours.wav", tmp_path / "theirs.wav"
    frames = len(sound) if promised else 0
    with TrackWriter(path, tags, bits=bits, length_frames=frames) as writer:
        writer.write(sound[:7])
        writer.write(sound[7:])
    scale = 2.0 ** (bits - 1)
    numbers = np.rint(sound.astype(np.float64) * scale).astype(np.int64) << (32 - bits)
    with soundfile.SoundFile(witness, "w", RATE_HZ, 2, f"PCM_{bits}", format="WAV") as file:
        for name, text in sound_file_strings(tags, has_licence=False).items():
            setattr(file, name, text)
        file.write(numbers.astype(np.int32))
    assert path.read_bytes() == witness.read_bytes()
    assert writer.sha256 == (hashlib.sha256(path.read_bytes()).hexdigest() if promised else "")


def test_a_length_that_was_not_kept_is_mended(tmp_path: Path) -> None:
    sound = plucks(0.3)
    with TrackWriter(tmp_path / "mended.wav", length_frames=len(sound) + 1) as mended:
        mended.write(sound)
    with TrackWriter(tmp_path / "whole.wav", length_frames=len(sound)) as whole:
        whole.write(sound)
    assert (tmp_path / "mended.wav").read_bytes() == (tmp_path / "whole.wav").read_bytes()
    assert mended.sha256 == ""


def test_more_than_a_wav_file_can_hold_is_refused(tmp_path: Path) -> None:
    most = (2**32 - 1 - 36) // 4
    sink = Sink(tmp_path / "long.wav")
    WavFile(sink, RATE_HZ, 16, {}, most)
    with pytest.raises(OutputError, match="can't hold more than 4 GB"):
        WavFile(sink, RATE_HZ, 16, {}, most + 1)
    sink.close()
