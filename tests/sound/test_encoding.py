from __future__ import annotations

import errno
import io
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest
import scipy.signal
import soundfile
from numpy.typing import NDArray

from tercet.audio_formats import FORMATS
from tercet.errors import OutputError, ParameterError, RequestError
from tercet.files import whole_file
from tercet.sound import encoding
from tercet.sound.encoding import MP3_DELAY_FRAMES, TrackWriter, track_format
from tercet.sound.loudness import true_peak_dbtp
from tercet.sound.sink import Sink, interrupts_held
from tercet.sound.tags import Tags
from tests.tracks.plucks import RATE_HZ, plucks, silence

ENDINGS = tuple(FORMATS)
LOSSLESS = (".wav", ".flac")
LOSSY = (".mp3", ".ogg", ".opus")
FULL = Tags("Häfen «Lichter» 港", "Nobody", "Spring", 3, "Für alle", "The class", "CC0-1.0")


def write(
    path: Path, samples: NDArray[np.float32], tags: Tags = FULL, *, bits: int = 16, block_frames: int = 65_536
) -> TrackWriter:
    with TrackWriter(path, tags, bits=bits) as writer:
        for start in range(0, len(samples), block_frames):
            writer.write(samples[start : start + block_frames])
    return writer


def read(source: Path | bytes) -> NDArray[np.float32]:
    samples, rate_hz = soundfile.read(
        io.BytesIO(source) if isinstance(source, bytes) else source, dtype="float32"
    )
    assert rate_hz == RATE_HZ
    found: NDArray[np.float32] = samples
    return found


def late_frames(heard: NDArray[np.float32], meant: NDArray[np.float32]) -> int:
    """How many frames later than meant the sound is heard."""
    match = scipy.signal.correlate(heard[:, 0], meant[:, 0], "full", method="fft")
    return int(np.argmax(match)) - len(meant) + 1


# Kinds of file


def test_the_kinds_of_file() -> None:
    assert ENDINGS == (".wav", ".flac", ".mp3", ".ogg", ".opus")
    assert tuple(row.ending for row in FORMATS.values() if row.lossy) == LOSSY
    for ending, row in FORMATS.items():
        assert row.ceiling_dbtp == (-2.0 if ending in LOSSY else -1.0)
        assert row.encode_ceiling_dbtp == pytest.approx(row.ceiling_dbtp - row.growth_db)
    assert FORMATS[".wav"].encode_ceiling_dbtp == -1.0
    assert hash(FORMATS[".mp3"]) == hash(track_format(Path("a/B.MP3")))


@pytest.mark.parametrize(
    ("name", "what"), [("a.mp4", r"the ending \.mp4"), ("a", "no ending"), (".wav", "no ending")]
)
def test_an_unknown_ending_is_refused_with_the_known_ones(name: str, what: str) -> None:
    with pytest.raises(RequestError, match=rf"{what}: .* one of \.wav \.flac \.mp3 \.ogg \.opus"):
        TrackWriter(Path(name))


# Samples


@pytest.mark.parametrize("ending", LOSSLESS)
@pytest.mark.parametrize("bits", [16, 24])
def test_lossless_files_come_back_within_half_a_step(tmp_path: Path, ending: str, bits: int) -> None:
    sound = plucks(3)
    path = tmp_path / ("song" + ending)
    writer = write(path, sound, bits=bits)
    assert writer.length_frames == len(sound)
    assert writer.clipped_frames == 0
    with soundfile.SoundFile(path) as file:
        assert (file.format, file.subtype) == (ending[1:].upper(), f"PCM_{bits}")
    back = soundfile.read(path, dtype="float64")[0]
    assert back.shape == sound.shape
    assert np.abs(back - sound).max() <= 0.5 / 2 ** (bits - 1)
    assert abs((back - sound).mean()) < 0.01 / 2 ** (bits - 1)  # cutting off would shift all by half a step


@pytest.mark.parametrize("ending", LOSSLESS)
@pytest.mark.parametrize("bits", [16, 24])
def test_rounding_is_to_the_nearest_and_half_to_even(tmp_path: Path, ending: str, bits: int) -> None:
    steps = np.array([0, 0.5, 1.5, 2.5, -0.5, -1.5, 0.49, -0.49, 0.51, -0.51, 100, -100], np.float32)
    expected = [0, 0, 2, 2, 0, -2, 0, 0, 1, -1, 100, -100]
    path = tmp_path / ("song" + ending)
    write(path, np.stack([steps, -steps], axis=1) / np.float32(2 ** (bits - 1)), bits=bits)
    back = soundfile.read(path, dtype="float64")[0] * 2 ** (bits - 1)
    assert back[:, 0].tolist() == expected
    assert back[:, 1].tolist() == [-step for step in expected]


@pytest.mark.parametrize("ending", LOSSLESS)
@pytest.mark.parametrize("bits", [16, 24])
def test_what_passes_full_scale_is_held_and_counted(tmp_path: Path, ending: str, bits: int) -> None:
    values = np.array([[1, -1], [1.001, 0], [0, -1.5], [7, -7], [0.5, 0.5]], np.float32)
    path = tmp_path / ("song" + ending)
    writer = write(path, values, bits=bits)
    assert writer.clipped_frames == 3
    assert values[3, 0] == 7
    highest = 1 - 2.0 ** (1 - bits)
    back = soundfile.read(path, dtype="float64")[0]
    assert back.tolist() == [[highest, -1], [highest, 0], [0, -1], [highest, -1], [0.5, 0.5]]


@pytest.mark.parametrize("ending", LOSSY)
def test_lossy_files_come_back_whole_in_place_and_alike(tmp_path: Path, ending: str) -> None:
    sound = plucks(4)
    path = tmp_path / ("song" + ending)
    write(path, sound)
    back = read(path)
    assert back.shape == sound.shape
    assert late_frames(back, sound) == 0
    noise_db = 10 * np.log10(np.mean((back - sound) ** 2) / np.mean(sound**2))
    assert noise_db < -15


@pytest.mark.parametrize("ending", LOSSY)
def test_lossy_files_keep_their_ceiling_when_played(tmp_path: Path, ending: str) -> None:
    row = FORMATS[ending]
    for seed in (1, 2):
        sound = plucks(4, seed)
        gain_db = row.encode_ceiling_dbtp - true_peak_dbtp(sound)
        path = tmp_path / f"{seed}{ending}"
        writer = write(path, (sound * 10 ** (gain_db / 20)).astype(np.float32))
        assert writer.clipped_frames == 0
        assert true_peak_dbtp(read(path)) <= row.ceiling_dbtp


@pytest.mark.parametrize("ending", LOSSY)
def test_lossy_files_are_held_at_full_scale_too(tmp_path: Path, ending: str) -> None:
    writer = write(tmp_path / ("song" + ending), plucks(0.5, peak=1.0) * np.float32(2))
    assert writer.clipped_frames > 10


def test_an_mp3_has_128_kbit_and_says_where_it_begins(tmp_path: Path) -> None:
    sound = plucks(3)
    path = tmp_path / "song.mp3"
    write(path, sound, Tags())
    data = path.read_bytes()
    assert data[:2] == b"\xff\xfb"
    assert data[2] >> 4 == 9  # MPEG-1 layer III: the ninth rate is 128 kbit/s
    assert len(data) * 8 / 3 == pytest.approx(128_000, rel=0.02)
    delay = int.from_bytes(data[data.index(b"LAME") + 21 :][:3], "big") >> 12
    assert delay + 529 == MP3_DELAY_FRAMES
    header = slice(0, 144 * 128_000 // RATE_HZ)
    assert late_frames(read(data), sound) == 0
    assert late_frames(read(data[header.stop :]), sound) == MP3_DELAY_FRAMES
    unread = data.replace(b"Info", b"\0\0\0\0", 1)
    assert late_frames(read(unread), sound) == MP3_DELAY_FRAMES + 1152


# Tags


@pytest.mark.parametrize("ending", ENDINGS)
def test_tags_come_back(tmp_path: Path, ending: str) -> None:
    path = tmp_path / ("song" + ending)
    write(path, plucks(0.3))
    with soundfile.SoundFile(path) as file:
        found = file.copy_metadata()
    expected = {
        "title": "Häfen «Lichter» 港",
        "artist": "Nobody",
        "album": "Spring",
        "tracknumber": "3",
        "comment": "Für alle",
        "copyright": "The class",
        "license": "CC0-1.0",
    }
    if ending == ".wav":
        expected["copyright"] = "The class; CC0-1.0"
        del expected["license"]
    if ending == ".mp3":  # libsndfile reads no licence there; test_tags.py does
        del expected["license"]
        assert b"\0LICENSE\0CC0-1.0" in path.read_bytes()
    assert {name: text for name, text in found.items() if text} == expected


@pytest.mark.parametrize("ending", ENDINGS)
def test_long_and_missing_tags(tmp_path: Path, ending: str) -> None:
    sound = plucks(0.3)
    long = Tags("ü" * 5000, "a" * 5000, "b" * 5000, 12345, "c" * 5000, "d" * 5000, "e" * 5000)
    write(tmp_path / ("long" + ending), sound, long)
    write(tmp_path / ("bare" + ending), sound, Tags())
    with soundfile.SoundFile(tmp_path / ("long" + ending)) as file:
        assert (file.title, file.tracknumber) == ("ü" * 1000, "12345")
    with soundfile.SoundFile(tmp_path / ("bare" + ending)) as file:
        assert not any(file.copy_metadata().values())
    np.testing.assert_array_equal(read(tmp_path / ("long" + ending)), read(tmp_path / ("bare" + ending)))


# Same bytes


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_file_does_not_depend_on_how_samples_arrive(tmp_path: Path, ending: str) -> None:
    sound = plucks(3)
    whole = tmp_path / ("whole" + ending)
    write(whole, sound, block_frames=len(sound))
    for block_frames in (65_536, 12_345):
        parts = tmp_path / ("parts" + ending)
        assert write(parts, sound, block_frames=block_frames).length_frames == len(sound)
        assert parts.read_bytes() == whole.read_bytes()


PROGRAM = """
import hashlib, sys
from pathlib import Path
import numpy as np
from tercet.audio_formats import FORMATS
from tercet.sound.encoding import TrackWriter
from tercet.sound.tags import Tags
t_s = np.arange(30_000) / 48_000
sound = np.outer(np.sin(2 * np.pi * 440 * t_s) * np.exp(-3 * t_s), [0.5, 0.4]).astype(np.float32)
for ending in FORMATS:
    for bits in (16, 24):
        path = Path(sys.argv[1]) / f"{bits}{ending}"
        with TrackWriter(path, Tags(title="Same"), bits=bits) as writer:
            writer.write(sound)
        print(path.name, hashlib.sha256(path.read_bytes()).hexdigest())
"""


def test_other_processes_at_other_times_write_the_same_bytes(tmp_path: Path) -> None:
    reports = []
    for run in ("one", "two"):
        (tmp_path / run).mkdir()
        command = [sys.executable, "-c", PROGRAM, str(tmp_path / run)]
        reports.append(subprocess.run(command, capture_output=True, text=True, check=True, timeout=60).stdout)
        second = int(time.time())
        while int(time.time()) == second:
            time.sleep(0.05)
    assert len(reports[0].splitlines()) == 10
    assert reports[0] == reports[1]


def test_tracks_written_side_by_side_are_the_same_as_one_by_one(tmp_path: Path) -> None:
    sounds = [plucks(1, seed) for seed in range(4)]
    for place, sound in enumerate(sounds):
        write(tmp_path / f"alone-{place}.ogg", sound)
    threads = [
        threading.Thread(target=write, args=(tmp_path / f"beside-{place}.ogg", sound))
        for place, sound in enumerate(sounds)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for place in range(4):
        alone, beside = (tmp_path / f"{how}-{place}.ogg" for how in ("alone", "beside"))
        assert alone.read_bytes() == beside.read_bytes()


# What goes wrong


@pytest.mark.parametrize(
    ("block", "message"),
    [
        (np.zeros((9, 1), np.float32), r"2 channels \(got 1\)"),
        (np.zeros((9, 2)), "float32"),
        (np.full((9, 2), np.nan, np.float32), "finite"),
    ],
)
def test_a_block_that_is_not_audio_is_refused(
    tmp_path: Path, block: NDArray[np.float32], message: str
) -> None:
    with pytest.raises(ParameterError, match=message), TrackWriter(tmp_path / "song.wav") as writer:
        writer.write(block)


def test_a_writer_that_is_not_open_is_refused(tmp_path: Path) -> None:
    writer = TrackWriter(tmp_path / "song.wav")
    with pytest.raises(ParameterError, match="inside its writer's with-block"):
        writer.write(silence(0.1))
    assert not (tmp_path / "song.wav").exists()
    with writer:
        writer.write(silence(0.1))
    with pytest.raises(ParameterError, match="inside its writer's with-block"):
        writer.write(silence(0.1))


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_track_without_a_frame_is_refused(tmp_path: Path, ending: str) -> None:
    with (
        pytest.raises(ParameterError, match="at least one frame"),
        TrackWriter(tmp_path / ("song" + ending)) as writer,
    ):
        writer.write(silence(0))


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_track_of_one_frame_is_a_track(tmp_path: Path, ending: str) -> None:
    path = tmp_path / ("song" + ending)
    write(path, np.array([[0.5, -0.5]], np.float32))
    assert read(path).shape == (1, 2)


def test_other_bits_are_refused() -> None:
    with pytest.raises(ParameterError, match=r"16 or 24 \(got 32\)"):
        TrackWriter(Path("song.wav"), bits=32)


def test_a_rate_that_the_encoder_lacks_is_an_output_error(tmp_path: Path) -> None:
    writer = TrackWriter(tmp_path / "song.opus", sample_rate_hz=44_100)
    with pytest.raises(OutputError, match=r"as Ogg Opus, .* at 44100 Hz: .* Use 48000 Hz"), writer:
        pass


def test_a_missing_folder_and_a_pipe(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError), TrackWriter(tmp_path / "no" / "song.wav"):
        pass
    os.mkfifo(tmp_path / "pipe.wav")
    with pytest.raises(OutputError, match="is a pipe or a device"), TrackWriter(tmp_path / "pipe.wav"):
        pass


LIMITED = """
import resource, sys
from pathlib import Path
import numpy as np
from tercet.errors import OutputError
from tercet.sound.encoding import TrackWriter
from tercet.files import whole_file
folder = Path(sys.argv[1])
sound = np.load(folder / "sound.npy")
_, most_bytes = resource.getrlimit(resource.RLIMIT_FSIZE)
for case in sys.argv[2:]:
    ending, limit_bytes = case.split(":")
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(limit_bytes), most_bytes))
    try:
        with whole_file(folder / f"song{ending}") as temporary, TrackWriter(temporary) as writer:
            for start in range(0, len(sound), 30_000):
                writer.write(sound[start : start + 30_000])
        print(case, "written", flush=True)
    except OutputError as error:
        print(case, error, flush=True)
"""


def test_a_full_disk_in_any_kind_of_file_leaves_nothing(tmp_path: Path) -> None:
    """At the head, in the middle, and at the last byte, which encoders write without looking after it."""
    sound = plucks(2)
    np.save(tmp_path / "sound.npy", sound)
    cases = []
    for ending in ENDINGS:
        path = tmp_path / ("song" + ending)
        write(path, sound, Tags())
        size_bytes = path.stat().st_size
        path.unlink()
        limits_bytes = (0, 20, size_bytes // 2, size_bytes - 1, size_bytes)
        cases += [f"{ending}:{limit_bytes}" for limit_bytes in limits_bytes]
    command = [sys.executable, "-W", "error", "-c", LIMITED, str(tmp_path), *cases]
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60)
    assert done.stderr == ""
    why = "the file would be larger than is allowed here. Nothing half written is left."
    for case, line in zip(cases, done.stdout.splitlines(), strict=True):
        ending, enough = case.partition(":")[0], cases.index(case) % 5 == 4
        expected = f"{case} written" if enough else f"{case} can't write {tmp_path}/song{ending}: {why}"
        assert line.startswith(expected)
    assert sorted(place.name for place in tmp_path.iterdir()) == sorted(
        ["sound.npy", *(f"song{e}" for e in ENDINGS)]
    )


def test_when_libsndfile_fails_by_itself_the_file_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_self: object, _data: object) -> None:
        raise AssertionError

    monkeypatch.setattr(soundfile.SoundFile, "write", fail)
    path = tmp_path / "song.flac"
    with pytest.raises(OSError, match="libsndfile wrote less than it was given") as caught:
        write(path, plucks(2))
    assert (caught.value.errno, caught.value.filename) == (errno.EIO, str(path))


# Ctrl-C


@pytest.mark.parametrize("ending", ENDINGS)
def test_an_interrupt_within_the_encoder_is_raised_after_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ending: str, capfd: pytest.CaptureFixture[str]
) -> None:
    whole = Sink.write
    interrupted: list[bool] = []

    def interrupted_write(self: Sink, data: bytes) -> int:
        if not interrupted and len(data) > 50:
            interrupted.append(True)
            signal.raise_signal(signal.SIGINT)
        return whole(self, data)

    monkeypatch.setattr(Sink, "write", interrupted_write)
    with pytest.raises(KeyboardInterrupt), whole_file(tmp_path / ("song" + ending)) as temporary:
        write(temporary, plucks(2), Tags())
    assert interrupted == [True]
    assert list(tmp_path.iterdir()) == []
    assert capfd.readouterr().err == ""


def test_the_first_signal_held_is_acted_on() -> None:
    came = []
    before = signal.signal(signal.SIGTERM, lambda number, _frame: came.append(number))
    try:
        with interrupts_held():
            signal.raise_signal(signal.SIGTERM)
            assert came == []
        assert came == [signal.SIGTERM]
    finally:
        signal.signal(signal.SIGTERM, before)
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_other_threads_leave_signals_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []
    monkeypatch.setattr(signal, "getsignal", asked.append)

    def hold() -> None:
        with interrupts_held():
            pass

    thread = threading.Thread(target=hold)
    thread.start()
    thread.join()
    assert asked == []


# What an encoder fills


def test_a_sink_counts_from_behind_its_head(tmp_path: Path) -> None:
    path = tmp_path / "file"
    sink = Sink(path, b"head")
    assert sink.tell() == 0
    assert sink.write(b"12345") == 5
    assert sink.seek(1) == 1
    sink.write(b"x")
    assert sink.seek(-1, os.SEEK_END) == 4
    assert sink.seek(-1, os.SEEK_CUR) == 3
    sink.rewrite(bytes.upper)
    sink.close()
    sink.close()
    assert path.read_bytes() == b"head1X345"


def test_a_sink_keeps_the_first_failure_and_writes_no_more(tmp_path: Path) -> None:
    sink = Sink(tmp_path / "file")
    sink.raise_failure()
    sink.fail(OSError(errno.ENOSPC, "full"))
    sink.fail(OSError("other"))
    assert sink.write(b"data") == 4
    with pytest.raises(OSError, match="full") as caught:
        sink.raise_failure()
    assert (caught.value.errno, caught.value.filename) == (errno.ENOSPC, str(tmp_path / "file"))
    with pytest.raises(OSError, match="full"):
        sink.rewrite(bytes)
    sink.close()
    assert (tmp_path / "file").read_bytes() == b""


def test_a_sink_finishes_what_the_system_takes_in_pieces_until_it_takes_no_more(tmp_path: Path) -> None:
    class SmallDisk(io.FileIO):
        def write(self, data: memoryview) -> int:  # type: ignore[override]
            if self.tell() >= 6:
                raise OSError(errno.ENOSPC, "full")
            return super().write(bytes(data[:3]))

    sink = Sink(tmp_path / "file")
    sink.close()
    sink._file = SmallDisk(tmp_path / "file", "w+")
    assert sink.write(b"12345") == 5
    sink.raise_failure()
    assert sink.write(b"6789ab") == 6
    with pytest.raises(OSError, match="full"):
        sink.raise_failure()
    sink.close()
    assert (tmp_path / "file").read_bytes() == b"12345678"


def test_a_disk_that_fails_on_closing_is_noticed(tmp_path: Path) -> None:
    class FailingFile(io.FileIO):
        def close(self) -> None:
            if not self.closed:
                super().close()
                raise OSError(errno.EDQUOT, "quota")

    sink = Sink(tmp_path / "file")
    sink._file.close()
    sink._file = FailingFile(tmp_path / "file", "w+")
    with pytest.raises(OSError, match="quota") as caught:
        sink.close()
    assert caught.value.filename == str(tmp_path / "file")


def test_the_block_given_to_the_encoder_is_short_enough(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lengths = []
    whole = soundfile.SoundFile.write

    def counted(self: soundfile.SoundFile, data: NDArray[np.float32]) -> None:
        lengths.append(len(data))
        whole(self, data)

    monkeypatch.setattr(soundfile.SoundFile, "write", counted)
    write(tmp_path / "song.ogg", silence(3), block_frames=150_000)
    assert lengths == [65_536, 65_536, 144_000 - 2 * 65_536]
    assert encoding._BLOCK_FRAMES == 65_536
