"""The song that is being written, kept warm: its text in; mistakes, music and sound out, as plain data and bytes.

All questions come one after the other, from one thread. What an answer needs of a song is worked out once for each
text.
"""

from __future__ import annotations

import json
import re
import tempfile
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from fractions import Fraction
from functools import cached_property
from pathlib import Path, PurePath
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tercet.arranging import Arrangement
from tercet.arranging.other_ways import OtherWay, remedies_of, ways_to_play
from tercet.arranging.transposing import transpose_text
from tercet.desk.asked import Asked, given
from tercet.errors import Edit, Mistake, RequestError, SongError
from tercet.exchange import TuneError
from tercet.front_door import import_tune
from tercet.kit.live_song import LiveParts, LiveSong
from tercet.kit.one_track import OneTrack
from tercet.kit.song_view import (
    advice_facts,
    bar_marks,
    drawn_line,
    drawn_sheet,
    gesture_places,
    layer_places,
    line_of_bar,
    song_view,
    take_of_whole,
)
from tercet.performing import Take, TakeNote
from tercet.song import Layer, Source
from tercet.song.setting_edit import set_setting, settings_of_text
from tercet.song.settings import key_named, meter_named
from tercet.song.starter import begun_song
from tercet.song.vocabulary import (
    KEY_NAMES,
    METER_NAMES,
    chord_words,
    mark_words,
    row_words,
    setting_words,
    strum_words,
)
from tercet.song.writer import line_up, tidy_text
from tercet.sound import SAMPLE_RATE_HZ
from tercet.sound.stems import StemName
from tercet.theory.limits import MOST_COUNT_IN_BARS, SPEED_RANGE

__all__ = ["Live", "imported"]

SLOWEST, FASTEST = (Fraction(figure) for figure in SPEED_RANGE)

MOST_WARM = 4
"""Songs that are kept ready."""

LONGEST_S = 30.0
"""Of a stretch."""

BARS_BEFORE = 2
"""Bars that are played before a stretch, so that what rings on from them is in it."""

CROSSED_FRAMES = 960
"""How long one stretch fades into the next: 20 ms."""

SILENT = 1e-6
"""Samples below this, -120 dB, aren't sent where nothing else sounds."""


@dataclass
class _Song:
    """A text that can be played, and what has been worked out of it; `mistakes` are in its words alone."""

    text: str
    arrangement: Arrangement
    mistakes: tuple[Mistake, ...]
    lines: dict[tuple[int, int], dict[str, Any]] = field(default_factory=dict)

    @cached_property
    def view(self) -> dict[str, Any]:
        """What a window has to know of it."""
        return song_view(self.arrangement)

    @cached_property
    def take(self) -> Take:
        """The whole song."""
        return take_of_whole(self.arrangement)

    @cached_property
    def gestures(self) -> dict[tuple[Fraction, Layer, int], int]:
        """The index of each gesture, by beat, layer and string."""
        return gesture_places(self.arrangement)


@dataclass
class _Warm:
    """A song that is open: its sound, its text as read last, and where its layers stood when that was looked at."""

    live: LiveSong
    song: _Song | None = None
    stand: list[dict[str, str]] = field(default_factory=list)

    def layers(self, song: _Song) -> list[dict[str, str]]:
        """Return the layers, and where each stands; that is looked at again by `marks`: an edit seldom moves one."""
        if [layer["name"] for layer in self.stand] != list(song.arrangement.song.layers):
            self.stand = layer_places(song.arrangement, song.take)
        return self.stand


class Live:
    """What windows ask of songs that are being written; songs that lie elsewhere aren't touched.

    Parameters
    ----------
    folder
        Of songs: class files and sound fonts beside a song hold.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._warm: OrderedDict[str, _Warm] = OrderedDict()

    # ---- what is seen

    def look(self, asked: Asked) -> dict[str, Any]:
        """Return the mistakes of a text, or what there is to know of it, and the music of the line at a place."""
        line = given(asked, "line", int)
        seen: dict[str, Any] = {"mistakes": [], "error": "", "song": None, "music": None}
        try:
            song = self._read(asked)
        except SongError as error:
            return seen | {"mistakes": _told(error.mistakes)}
        except RequestError as error:
            return seen | {"error": str(error)}
        warm = self._warmed(given(asked, "name", str))
        return {
            "mistakes": _told(song.mistakes),
            "error": "",
            "song": song.view | {"layers": warm.layers(song)},
            "music": self._music(song, line),
        }

    def _read(self, asked: Asked) -> _Song:
        """Return a text as a song; the one before stays if this one has mistakes.

        Words that don't fit the tune yet are left out: who writes them hears the tune meanwhile.
        """
        text, warm = given(asked, "text", str), self._warmed(given(asked, "name", str))
        if warm.song is None or warm.song.text != text:
            try:
                warm.song = _Song(text, warm.live.edit(text), ())
            except SongError as error:
                if not all(mistake.row.startswith("words") and mistake.line for mistake in error.mistakes):
                    raise
                warm.song = _Song(text, warm.live.edit(_without_words(text)), tuple(error.mistakes))
        return warm.song

    def _warmed(self, name: str) -> _Warm:
        """Return what is kept of a song; of the songs that windows have open, the last few are."""
        if name not in self._warm:
            self._warm[name] = _Warm(LiveSong(path=self._folder / name))
        self._warm.move_to_end(name)
        if len(self._warm) > MOST_WARM:
            self._warm.popitem(last=False)
        return self._warm[name]

    def _music(self, song: _Song, at_line: int) -> dict[str, Any] | None:
        """Return the music at a line of the text, as it is first played; None where there is none."""
        lines = song.view["lines"]
        bars = next((each["bars"] for each in lines if each["from_line"] <= at_line <= each["to_line"]), ())
        return self._music_of_bar(song, bars[-1]) if bars else None

    def _music_of_bar(self, song: _Song, bar_index: int) -> dict[str, Any] | None:
        place = line_of_bar(song.arrangement, bar_index)
        if place is not None and place not in song.lines:
            song.lines[place] = drawn_line(song.arrangement, *place)
        return None if place is None else song.lines[place]

    def music(self, asked: Asked) -> dict[str, Any]:
        """Return the music of the line that a bar is played in, in the pass in which it is."""
        return {"music": self._music_of_bar(self._read(asked), given(asked, "bar", int))}

    def marks(self, asked: Asked) -> dict[str, Any]:
        """Return what takes a little longer: what there is to say about bars, by index, and where layers stand."""
        warm = self._warmed(given(asked, "name", str))
        try:
            song = self._read(asked)
        except SongError:  # it is told by `look`
            return {"marks": {}, "layers": warm.stand}
        warm.stand = layer_places(song.arrangement, song.take)
        return {"marks": bar_marks(song.arrangement, song.take), "layers": warm.stand}

    def sheet(self, asked: Asked) -> dict[str, Any]:
        """Return the whole music of a text, line by line, and what shows each note."""
        return drawn_sheet(self._read(asked).arrangement)

    def settle(self) -> None:
        """Measure balances again, while nobody asks for anything."""
        for warm in list(self._warm.values()):
            if warm.song is not None and not warm.live.settled:
                warm.live.settle()

    # ---- what is heard

    def sound(self, asked: Asked) -> bytes:
        """Return some bars as they sound: a length, facts as JSON, and samples, layer by layer, left before right.

        A stretch that goes on from another has what still rings of the bars before; where they meet, one fades into the
        other.
        """
        song = self._read(asked)
        stretch = _Stretch.asked(asked, song.arrangement)
        bars = song.arrangement.bars
        track = OneTrack(
            bars=f"{bars[stretch.lead].number}-{bars[stretch.tail].number}",
            speed=_speed(asked),
            flat=bool(asked.get("flat")),
        )
        count_in_bars = (
            min(max(given(asked, "count_in_bars", int), 0), MOST_COUNT_IN_BARS) if stretch.begins else 0
        )
        live = self._warmed(given(asked, "name", str)).live
        return stretch.packed(live.hear_parts(track, count_in_bars=count_in_bars), song)

    def arrangement(self, asked: Asked) -> Arrangement:
        """Return the song that a recording is held against."""
        return self._read(asked).arrangement

    # ---- what helps to write

    def tidy(self, asked: Asked) -> dict[str, Any]:
        """Return a text with the bars of some of its lines lined up."""
        text = given(asked, "text", str)
        first, last = given(asked, "from_line", int), given(asked, "to_line", int)
        lines = text.split("\n")
        try:
            tidy = tidy_text(text).split("\n")
        except SongError:
            tidy = []
        if len(tidy) == len(lines):
            lines[first - 1 : last] = tidy[first - 1 : last]
        else:
            lines[first - 1 : last] = line_up(lines[first - 1 : last])
        return {"text": "\n".join(lines)}

    def words(self, asked: Asked) -> dict[str, Any]:
        """Return what may be written, for completion: in the key that a text names, or in C major."""
        values = settings_of_text(given(asked, "text", str)) if "text" in asked else {}
        try:
            key = key_named(values.get("key") or "C major")
        except RequestError:
            key = key_named("C major")
        lists = {
            "settings": setting_words(),
            "rows": row_words(),
            "chords": chord_words(key),
            "marks": mark_words(),
            "strums": strum_words(),
        }
        facts: dict[str, Any] = {name: [asdict(word) for word in words] for name, words in lists.items()}
        return facts | {"keys": KEY_NAMES, "meters": METER_NAMES}

    def settings(self, asked: Asked) -> dict[str, Any]:
        """Return the settings that a text writes, by name."""
        return {"values": settings_of_text(given(asked, "text", str))}

    def set(self, asked: Asked) -> dict[str, Any]:
        """Return the edit that gives a setting a value; none where it has it."""
        edit = set_setting(given(asked, "text", str), given(asked, "name", str), given(asked, "value", str))
        return {"edit": edit and asdict(edit)}

    def begun(self, asked: Asked) -> str:
        """Return a new song made of a writer's answers."""
        title, bars = given(asked, "title", str), given(asked, "bars", int)
        meter, key = meter_named(given(asked, "meter", str)), key_named(given(asked, "key", str))
        return begun_song(title, meter, key, bars, given(asked, "words", str))

    # ---- what helps to choose

    def advise(self, asked: Asked) -> dict[str, Any]:
        """Return what there is to say about each key, in each tuning."""
        return advice_facts(self._read(asked).arrangement.song)

    def move(self, asked: Asked) -> dict[str, Any]:
        """Return a text in another key and tuning, and what was dropped."""
        text, tuning = given(asked, "text", str), given(asked, "tuning", str)
        moved = transpose_text(text, given(asked, "semitones", int))
        edit = set_setting(moved.text, "tuning", tuning)
        return {"text": moved.text if edit is None else _edited(moved.text, edit), "dropped": moved.dropped}

    def ways(self, asked: Asked) -> dict[str, Any]:
        """Return the other ways to play the note at a place."""
        source = Source(given(asked, "line", int), given(asked, "column", int))
        return _ways(ways_to_play(given(asked, "text", str), source))

    def remedies(self, asked: Asked) -> dict[str, Any]:
        """Return what may help with a bar."""
        return _ways(remedies_of(given(asked, "text", str), given(asked, "bar", int)))


def imported(name: str, data: bytes) -> tuple[str, tuple[str, ...]]:
    """Return a tune from another program's file as the text of a song, and the remarks."""
    with tempfile.TemporaryDirectory(prefix="tercet-") as folder:
        path = Path(folder) / f"tune{PurePath(name).suffix.lower()[:12]}"
        path.write_bytes(data)
        try:
            found = import_tune(path, harmonise=True)
        except TuneError as error:
            raise RequestError(str(error).replace(str(path), name)) from error
    return found.text.replace(path.name, name), found.remarks


def _told(mistakes: Sequence[Mistake]) -> list[dict[str, Any]]:
    return [each.as_json() | {"place": each.place} for each in mistakes]


_WORDS = re.compile(r"^(\s+)words\b.*", re.MULTILINE)


def _without_words(text: str) -> str:
    """Return a song without its rows of words; all else stays on its line."""
    return _WORDS.sub(r"\1#", text)


def _ways(ways: Sequence[OtherWay]) -> dict[str, Any]:
    return {"ways": [{"about": way.about, "text": way.text} for way in ways]}


def _edited(text: str, edit: Edit) -> str:
    lines = text.split("\n")
    head, tail = lines[edit.line - 1][: edit.column - 1], lines[edit.end_line - 1][edit.end_column - 1 :]
    return "\n".join([*lines[: edit.line - 1], head + edit.text + tail, *lines[edit.end_line :]])


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Bars that are heard without a break, by their index in the piece as played.

    Parameters
    ----------
    first, last
        The bars.
    lead, tail
        What is played for them: from the bars before, whose strings ring on, to the one after, whose rolls begin early.
    begins, ends
        Whether nothing comes before, or after.
    """

    first: int
    last: int
    lead: int
    tail: int
    begins: bool
    ends: bool

    @classmethod
    def asked(cls, asked: Asked, arrangement: Arrangement) -> _Stretch:
        """Return the bars that are asked for: from one to another, or as many as last so long."""
        bars, song = arrangement.bars, arrangement.song
        to_bar = asked.get("to_bar")
        first = min(max(given(asked, "from_bar", int), 0), len(bars) - 1)
        wanted = (
            len(bars) - 1 if to_bar is None else min(max(given(asked, "to_bar", int), first), len(bars) - 1)
        )
        pulses_s = min(given(asked, "at_least_s", float), LONGEST_S) * float(_speed(asked))
        least_beat = pulses_s * float(song.tempo) / 60.0 * float(song.meter.pulse_beat)
        ends_beat = (bar.start_beat + bar.length_beat - bars[first].start_beat for bar in bars[first:wanted])
        last = next((first + n for n, end_beat in enumerate(ends_beat) if end_beat >= least_beat), wanted)
        begins, ends = bool(asked.get("begins")), last == wanted
        lead = first if begins else max(first - BARS_BEFORE, 0)
        return cls(first, last, lead, last if ends else last + 1, begins, ends)

    def packed(self, sound: LiveParts, song: _Song) -> bytes:
        """Return the stretch cut out of what was played, without silence before it, after it and of a whole layer."""
        inside = sound.bars[self.first - self.lead : self.last - self.lead + 1]
        half = CROSSED_FRAMES // 2
        sounds = {name: _sounding(samples) for name, samples in sound.stems.by_name.items()}
        heard = [frames for frames in sounds.values() if frames]
        low = min([inside[0][0], *(start for start, _ in heard)] if self.begins else [inside[0][0] - half])
        high = max([inside[-1][1], *(end for _, end in heard)] if self.ends else [inside[-1][1] + half])
        stems = {name: sound.stems.by_name[name] for name, frames in sounds.items() if frames}
        bars = [
            (self.first + place, (start - low) / SAMPLE_RATE_HZ, (end - low) / SAMPLE_RATE_HZ)
            for place, (start, end) in enumerate(inside)
        ]
        facts = {
            "layers": list(stems),
            "rate": SAMPLE_RATE_HZ,
            "frames": high - low,
            "begins_s": bars[0][1],
            "ends_s": bars[-1][2],
            "next_bar": None if self.ends else self.last + 1,
            "bars": bars,
            "notes": [
                _heard(each, low, song)
                for each in sound.notes
                if self.first <= each[0].bar_index <= self.last
            ],
        }
        head = json.dumps(facts, separators=(",", ":")).encode()
        filled = b"\0" * (-(4 + len(head)) % 4)
        cut = self._cut(stems, sound.stems.gain_db, low, high)
        return b"".join((len(head).to_bytes(4, "little"), head, filled, cut.data))

    def _cut(
        self, stems: Mapping[StemName, NDArray[np.float32]], gain_db: float, low: int, high: int
    ) -> NDArray[np.float32]:
        """Return the frames between two of each stem, at its level, faded where others meet it, (stems, 2, frames)."""
        cut = np.zeros((len(stems), 2, high - low), np.float32)
        gain = np.float32(10.0 ** (gain_db / 20.0))
        for part, (name, samples) in zip(cut, stems.items(), strict=True):
            found = samples[low:high].T
            np.multiply(found, np.float32(1.0) if name == "cues" else gain, out=part[:, : found.shape[1]])
        fade = np.sin(np.linspace(0.0, np.pi / 2, CROSSED_FRAMES, dtype=np.float32)) ** 2
        if not self.begins:
            cut[..., :CROSSED_FRAMES] *= fade
        if not self.ends:
            cut[..., -CROSSED_FRAMES:] *= fade[::-1]
        return cut


def _sounding(samples: NDArray[np.float32]) -> tuple[int, int] | None:
    """Return the frame where a stem, (frames, 2), begins to sound, and the one after its last sound; None if silent."""
    loud = (np.abs(samples) > SILENT).ravel()
    if not loud.any():
        return None
    sides = samples.shape[1]
    return int(loud.argmax()) // sides, len(samples) - int(loud[::-1].argmax()) // sides


def _speed(asked: Asked) -> Fraction:
    """Return a speed that is asked for in per cent, as far as there are such speeds."""
    percent = min(max(given(asked, "speed", float), 100.0 * SLOWEST), 100.0 * FASTEST)
    return Fraction(round(100 * percent), 10000)


def _heard(placed: tuple[TakeNote, int, int], low: int, song: _Song) -> list[float]:
    """Return when a string sounds, which gesture and string it is, and where its note stands in the text."""
    note, start, end = placed
    gesture = song.gestures.get((note.beat, note.layer, note.string), -1)
    source = song.arrangement.gestures[gesture].source if gesture >= 0 else Source(0, 0)
    onset_s, end_s = (start - low) / SAMPLE_RATE_HZ, (end - low) / SAMPLE_RATE_HZ
    return [onset_s, end_s, gesture, note.string, source.line, source.column, source.width]
