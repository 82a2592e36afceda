"""Making the sound of a page: stems at each speed, kept from last time where nothing has changed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tercet.audio_formats import FORMATS
from tercet.performing import Take, Timeline, lay_out
from tercet.publish.page.kept_page import FOLDER, PageFiles
from tercet.publish.page.modelled import ANY_SPEED_PERCENT, is_modelled, modelled_facts
from tercet.publish.page.stems import (
    STEM_RATE_HZ,
    Piece,
    mono,
    packed_stem,
    pieces_of,
    stem_script,
    stem_text,
)
from tercet.sound.struck import knock
from tercet.tracks.clips.batch_cache import BatchCache
from tercet.tracks.heights import peak_dbtp_at
from tercet.tracks.in_memory import WholeSong
from tercet.tracks.playing import Playing
from tercet.tracks.timelines import Source
from tercet.tracks.track_files import gains_of, over_db

__all__ = ["KNOCKS_APART_S", "PageSound", "SpeedTiming", "made_sounds", "speed_label", "speed_timeline"]

VERSION = 2
"""Of what a stem's script holds: a new one makes all stems again."""

KEPT_NAME = "kept.json"

KNOCKS_APART_S = 0.5
"""The two knocks of the count-in lie in one stem, the first of a bar before the other."""

CEILING_DBTP = FORMATS[".mp3"].encode_ceiling_dbtp

Progress = Callable[[str, int, int], None]


Peaks = Mapping[str, Sequence[float]]
"""For each part that sounds the highest sample in each bar, full scale being 1."""


@dataclass(frozen=True, slots=True)
class SpeedTiming:
    """A song at one speed.

    Parameters
    ----------
    speed
        As a part of the song's tempo.
    take
        How it is played, without a count-in.
    length_s
        Of its stems, the ringing end included.
    peaks
        Of its stems.
    pieces
        Of its stems that are stored without their rests, in order.
    """

    speed: Fraction
    take: Take
    length_s: float
    peaks: Peaks
    pieces: Mapping[str, Sequence[Piece]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class PageSound:
    """What a page plays.

    `timings` are in the order of the speeds. `texts` holds the stems of a page in one file by their names, and nothing
    where they lie in scripts beside the page. `kbit_s` is the highest rate of a stem; `anew` says whether any was made.
    `speeds` are those that stand to be chosen. `modelled` is what the page works its sound out from, at any speed; None
    where it plays stems.
    """

    timings: tuple[SpeedTiming, ...]
    texts: dict[str, str]
    kbit_s: float
    anew: bool = True
    speeds: tuple[Fraction, ...] = ()
    modelled: Mapping[str, Any] | None = None

    @property
    def offered(self) -> tuple[Fraction, ...]:
        """The speeds that stand to be chosen; those of its timings where none are named."""
        return self.speeds or tuple(timing.speed for timing in self.timings)


def speed_label(speed: Fraction) -> str:
    """Return a speed as it stands in the names of stems: ``100``, ``66-5``."""
    return f"{float(speed * 100):g}".replace(".", "-")


def speed_timeline(playing: Playing, speed: Fraction) -> Timeline:
    """Return the timeline of a page's stems: all bars, nothing counted in; the page knocks itself."""
    return lay_out(playing.arrangement, None, speed, 0)


def made_sounds(
    sets: Mapping[str, Playing],
    speeds: Sequence[Fraction],
    files: PageFiles | None,
    work: Path,
    progress: Progress,
) -> tuple[PageSound, ...]:
    """Make what a page plays, or take it from last time.

    Parameters
    ----------
    sets
        The sets of a song, in the page's order; each by the folder below the page's own in which its files lie, empty
        for that itself. They share one gain, as their tracks do.
    speeds
        At which it is rendered.
    files
        The page's, where the scripts with the stems go; None for stems that stand in the page itself.
    work
        A folder for what is needed until the stems are made.
    progress
        Told how far it is: which speed comes next, how many are done, of how many.

    Raises
    ------
    OutputError
        A file can't be written.
    """
    whole = [_digest(playing.take(speed_timeline(playing, Fraction(1)))) for playing in sets.values()]
    modelled = all(map(is_modelled, sets.values()))
    song = _Sets(sets, (Fraction(1),) if modelled else tuple(speeds), work)
    found = []
    for number, folder in enumerate(sets):
        at = _Place(folder, files, number * len(speeds), len(sets) * len(speeds), progress)
        make = _modelled if modelled else _recorded
        found.append(make(song, number, tuple(whole), speeds, at))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Place:
    """Where the files of a set go, and who is told how far it is: `done` steps of `total` before its first."""

    folder: str
    files: PageFiles | None
    done: int
    total: int
    progress: Progress

    @property
    def note(self) -> str:
        """The name of the file that says what was made."""
        return f"{FOLDER}{self.folder}{KEPT_NAME}"

    def tell(self, speed: Fraction, at: int) -> None:
        """Say which speed comes next."""
        self.progress(f"{float(speed):.0%}", self.done + at, self.total)


class _Sets:
    """The sets of a song, each played where something of it has to be made."""

    def __init__(self, sets: Mapping[str, Playing], speeds: Sequence[Fraction], work: Path) -> None:
        self.playings = tuple(sets.values())
        self._speeds, self._work = tuple(speeds), work
        self._songs: dict[int, WholeSong] = {}

    def __getitem__(self, number: int) -> WholeSong:
        """Return one of them as it is played from beginning to end."""
        if number not in self._songs:
            cache = BatchCache(self._work / str(number))
            self._songs[number] = WholeSong(self.playings[number], self._speeds, cache)
        return self._songs[number]

    def gain_db(self, ceiling_dbtp: float) -> float:
        """Return the gain that all of them share."""
        balances = [self[number].balance for number in range(len(self.playings))]
        return gains_of(balances, [ceiling_dbtp])[ceiling_dbtp]


def _recorded(
    song: _Sets, number: int, whole: Sequence[str], speeds: Sequence[Fraction], at: _Place
) -> PageSound:
    """Return the sound of a page that plays stems, those of last time where nothing has changed."""
    playing, files = song.playings[number], at.files
    kept: dict[str, Any] = files.read_note(at.note).get("speeds", {}) if files else {}
    timings: list[SpeedTiming] = []
    texts: dict[str, str] = {}
    notes: dict[str, Any] = {}
    rate, anew = 0.0, False
    for place, speed in enumerate(speeds):
        at.tell(speed, place)
        name = speed_label(speed)
        take = playing.take(speed_timeline(playing, speed))
        key = _key(playing.sound_identity(), *whole, _digest(take))
        note = kept.get(name)
        if note is None or note["key"] != key or not _kept_stems(files, note):
            note, made = _made_speed(song, number, take, speed, key, at.folder)
            texts |= _put(made, at)
            anew = True
        notes[name] = note
        rate = max(rate, note["kbit_s"])
        timings.append(SpeedTiming(speed, take, note["length_s"], note["peaks"], note["pieces"]))
    texts |= _put({"knocks": packed_stem(_knocks()).data}, at)
    if files is not None:
        _remove_stems({name: note for name, note in kept.items() if name not in notes}, files)
        files.write_note(at.note, {"speeds": notes})
    return PageSound(tuple(timings), texts, rate, anew, tuple(speeds))


def _modelled(
    song: _Sets, number: int, whole: Sequence[str], speeds: Sequence[Fraction], at: _Place
) -> PageSound:
    """Return the sound of a page that works it out itself; stems of before are taken away."""
    at.tell(Fraction(1), 0)
    playing, files = song.playings[number], at.files
    kept: dict[str, Any] = files.read_note(at.note) if files else {}
    take = playing.performed(Source()).take
    key = _key(playing.sound_identity(), repr((playing.front_lu, speeds)), *whole, _digest(take))
    heard = kept.get("heard", {})
    anew = heard.get("key") != key
    if anew:
        heard = {"key": key, **_heard(song, number, take, speeds)}
    if files is not None:
        _remove_stems(kept.get("speeds", {}), files)
        files.write_note(at.note, {"heard": heard})
    length_s = heard["length_s"]
    timing = SpeedTiming(Fraction(1), take, length_s, heard["peaks"])
    facts = modelled_facts(playing, take, heard["gains_db"], length_s, heard["lowered_db"])
    return PageSound((timing,), {}, 0.0, anew, tuple(speeds), facts)


def _heard(song: _Sets, number: int, take: Take, speeds: Sequence[Fraction]) -> dict[str, Any]:
    """Return what is measured of a whole song at full speed: its length, the gain of each layer, its peaks.

    And by how much it is softer at other speeds, as its tracks are: where it would come too high.
    """
    playing, one = song.playings[number], song[number]
    ceiling_dbtp = FORMATS[".wav"].encode_ceiling_dbtp
    gain_db = song.gain_db(ceiling_dbtp)
    gain = np.float32(10.0 ** (gain_db / 20.0))
    parts = {name: gain * sound for name, sound in one.parts(Fraction(1)).items()}
    trims_db = one.balance.trims_db["song", False]
    gains_db = {layer: trims_db[layer] + gain_db for layer in playing.arrangement.song.layers}
    others = {*speeds, *(Fraction(percent, 100) for percent in ANY_SPEED_PERCENT)} - {Fraction(1)}
    heard = {
        "length_s": len(next(iter(parts.values()))) / STEM_RATE_HZ,
        "gains_db": gains_db,
        "lowered_db": {
            f"{float(speed * 100):g}": round(over_db(peak_dbtp_at(playing, speed, gains_db), ceiling_dbtp), 3)
            for speed in sorted(others)
        }
        | {"100": 0.0},
        "peaks": {name: bar_peaks(sound, take, STEM_RATE_HZ) for name, sound in parts.items() if sound.any()},
    }
    # As it will be read next time, when pages must be the same byte for byte: in order of name.
    found: dict[str, Any] = json.loads(json.dumps(heard, sort_keys=True))
    return found


def _remove_stems(kept: Mapping[str, Any], files: PageFiles) -> None:
    for note in kept.values():
        for stem, sha256 in note["stems"].items():
            files.remove(stem, sha256)


def _made_speed(
    song: _Sets, number: int, take: Take, speed: Fraction, key: str, folder: str
) -> tuple[dict[str, Any], dict[str, bytes]]:
    """Return what is noted of a speed, and its stems by name, under the gain that the song's tracks have as MP3."""
    gain_db = song.gain_db(CEILING_DBTP)
    stems = {part: mono(sound, gain_db) for part, sound in song[number].parts(speed).items()}
    length_frames = len(next(iter(stems.values())))
    pieces = {part: found for part, stem in stems.items() if (found := pieces_of(stem))}
    packed = {
        f"{speed_label(speed)}-{part}": packed_stem(
            np.concatenate([stems[part][start : start + frames] for start, frames in found])
        )
        for part, found in pieces.items()
    }
    note = {
        "key": key,
        "length_s": length_frames / STEM_RATE_HZ,
        "peaks": {part: bar_peaks(stems[part], take, STEM_RATE_HZ) for part in pieces},
        "pieces": pieces,
        "kbit_s": max((stem.kbit_s for stem in packed.values()), default=0.0),
        "stems": {
            _script(name, folder): hashlib.sha256(stem_script(name, stem.data)).hexdigest()
            for name, stem in packed.items()
        },
    }
    # As it will be read next time, when pages must be the same byte for byte: in order of name.
    return json.loads(json.dumps(note, sort_keys=True)), {name: stem.data for name, stem in packed.items()}


def _script(stem: str, folder: str) -> str:
    """Return the name of a stem's script, as seen from the page."""
    return f"{FOLDER}{folder}{stem}.js"


def _put(stems: dict[str, bytes], at: _Place) -> dict[str, str]:
    """Write stems as scripts; return them as text where there are no files for them."""
    if at.files is None:
        return {name: stem_text(data) for name, data in stems.items()}
    for name, data in stems.items():
        at.files.write(_script(name, at.folder), stem_script(name, data))
    return {}


def _knocks() -> NDArray[np.float32]:
    """Return both knocks of the count-in, float32 (frames, 1)."""
    first, other = knock(True, STEM_RATE_HZ), knock(False, STEM_RATE_HZ)
    apart = round(KNOCKS_APART_S * STEM_RATE_HZ)
    both = np.zeros((apart + max(len(other), len(first)), 1), np.float32)
    both[: len(first), 0] += first
    both[apart : apart + len(other), 0] += other
    return both


def _key(*parts: str) -> str:
    return hashlib.sha256("\n".join((str(VERSION), *parts)).encode("utf-8")).hexdigest()


def _digest(take: Take) -> str:
    return hashlib.sha256(repr(take).encode("utf-8")).hexdigest()


def _kept_stems(files: PageFiles | None, note: dict[str, Any]) -> bool:
    """Return whether all stems of a speed are as they were made; then they are the page's."""
    if files is None:
        return False
    whole = all(files.is_as_made(*each) for each in note["stems"].items())
    for stem, sha256 in note["stems"].items():
        if whole:
            files.keep(stem, sha256)
    return whole


def bar_peaks(stem: NDArray[np.float32], take: Take, rate_hz: int) -> list[float]:
    """Return how high a stem, float32 (frames, 1), gets in each bar.

    The last bar has what rings after it too.
    """
    edges = [round(bar.start_s * rate_hz) for bar in take.bars] + [len(stem)]
    edges[0] = 0
    return [round(float(abs(stem[start:stop]).max(initial=0.0)), 4) for start, stop in pairwise(edges)]
