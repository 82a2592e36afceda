"""ABC 2.1 in: tune books, headers, words; the music itself is read in `tercet.exchange.abc_music`."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from tercet.exchange.abc_keys import AbcKey, read_key, read_meter, read_tempo, read_unit
from tercet.exchange.abc_music import AbcReader
from tercet.exchange.abc_parts import in_order_of_parts
from tercet.exchange.abc_words import set_words
from tercet.exchange.leadsheet import LeadSheet, TuneError

__all__ = ["COPYRIGHT", "SETTING_LINE", "AbcTune", "decoded", "read_abc", "read_tune_lines", "tunes_of"]

SETTING_LINE = "%%tercet "
"""Lines that begin so hold the settings of a song that Tercet exported."""

COPYRIGHT = "abc-copyright"
"""What begins a transcriber's field that tells the licence, as the standard has it."""

_FIELD = re.compile(r"([A-Za-z+]):(?![|:])(.*)")
_VOICE_CHANGE = re.compile(r"\[V:([^\]]*)\]")
_SHOWN = 8
MOST_VOICES = 100
"""Of a tune: an orchestra's."""


@dataclass(frozen=True, slots=True)
class AbcTune:
    """One tune of a book: its number, its title and its lines."""

    number: str
    title: str
    lines: tuple[str, ...]


def decoded(data: bytes) -> str:
    """Return the text of a file in UTF-8, with or without its mark, or else in Windows code page 1252."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def tunes_of(text: str) -> list[AbcTune]:
    """Return the tunes of a book, those without music left out."""
    tunes: list[AbcTune] = []
    head: list[str] = []
    lines: list[str] | None = None
    for line in [*text.splitlines(), "X:end"]:
        if line.startswith("X:"):
            if lines is not None and any(each.startswith("K:") for each in lines):
                tunes.append(_tune([*head, *lines]))
            lines = [line]
        elif lines is not None:
            lines.append(line)
        elif re.match(r"[LMRZSONBHI]:", line):
            head.append(line)
    return tunes


def _tune(lines: list[str]) -> AbcTune:
    number = next(line[2:].strip() for line in lines if line.startswith("X:"))
    title = next((line[2:].strip() for line in lines if line.startswith("T:")), "")
    return AbcTune(number, title, tuple(lines))


def read_abc(data: bytes, file: str, tune: str = "", voice: str = "") -> LeadSheet:
    """Read one tune of a book.

    Parameters
    ----------
    data
        The file.
    file
        What to call it in messages.
    tune
        Number (``X:``) or title; empty when there is only one.
    voice
        The voice that has the tune; empty for the first.

    Raises
    ------
    TuneError
        When there is no tune, several and none named, or it can't be read.
    """
    tunes = tunes_of(decoded(data))
    if not tunes:
        raise TuneError(f"{file} holds no ABC tune: a tune starts with X: and has its key in K:")
    return read_tune_lines(_chosen(tunes, tune, file), file, voice)


def _chosen(tunes: list[AbcTune], wanted: str, file: str) -> AbcTune:
    """Return the tune of a number or a title; a part of a title does where only one tune has it."""
    if not wanted:
        if len(tunes) > 1:
            raise TuneError(
                f"{file} holds {len(tunes)} tunes: choose one with --tune, by number or title ({_shown(tunes)})"
            )
        return tunes[0]
    words = _plain_title(wanted)
    for each in tunes:
        if wanted.lstrip("0") == each.number.lstrip("0") or words == _plain_title(each.title):
            return each
    likely = [each for each in tunes if words and words in _plain_title(each.title)]
    if len(likely) == 1:
        return likely[0]
    if likely:
        raise TuneError(f"{file} has {len(likely)} tunes with {wanted!r} in the title: {_shown(likely)}")
    titles = {_plain_title(each.title): each for each in tunes}
    near = [titles[title] for title in difflib.get_close_matches(words, titles, n=3)]
    meant = f"; did you mean {_shown(near)}?" if near else f": it has {_shown(tunes)}"
    raise TuneError(f"{file} has no tune {wanted!r}{meant}")


def _shown(tunes: list[AbcTune]) -> str:
    shown = ", ".join(f"{each.number} {each.title}".strip() for each in tunes[:_SHOWN])
    return f"{shown}, and {len(tunes) - _SHOWN} more" if len(tunes) > _SHOWN else shown


def _plain_title(title: str) -> str:
    return " ".join(re.sub(r"[^\w\s]", " ", title.casefold()).split())


def read_tune_lines(tune: AbcTune, file: str, voice: str = "") -> LeadSheet:
    """Read one tune; parameters and errors as for `read_abc`."""
    try:
        return _TuneReader(tune, voice).read(file)
    except TuneError as error:
        raise TuneError(f"{file}: tune {tune.number}: {error}") from error


@dataclass(slots=True)
class _Header:
    title: str = ""
    composer: str = ""
    source: str = ""
    licence: str = ""
    parts: str = ""
    meter: tuple[int, int] | None = (4, 4)
    unit: Fraction | None = None
    tempo: str = ""
    key: AbcKey = field(default_factory=lambda: AbcKey({}))
    has_key: bool = False


class _TuneReader:
    """Reads one tune line by line."""

    def __init__(self, tune: AbcTune, voice: str) -> None:
        self._tune = tune
        self._voice = voice
        self._voices: list[str] = []
        self._now = ""
        self._header = _Header()
        self._reader: AbcReader | None = None
        self._verse = 0
        self._settings: list[tuple[str, str]] = []
        self._remarks: list[str] = []

    def read(self, file: str) -> LeadSheet:
        """Return the tune as a lead sheet."""
        pending = ""
        for raw in self._tune.lines:
            if raw.startswith(SETTING_LINE):
                name, _, value = raw.removeprefix(SETTING_LINE).partition(":")
                self._settings.append((name.strip(), value.strip()))
            line = _without_comment(raw)
            found = _FIELD.match(line)
            if found:
                self._music(pending)
                pending = ""
                self._field(found[1], found[2].strip())
            elif self._reader is not None and line.strip():
                pending += line.rstrip()
                if pending.endswith("\\"):
                    pending = pending[:-1]
                    continue
                self._music(pending)
                pending = ""
        if pending:
            self._music(pending)
        return self._sheet(file)

    def _music(self, line: str) -> None:
        """Read what a line holds for our voice; ``[V:…]`` within it changes to another."""
        before, *voices = _VOICE_CHANGE.split(line)
        pieces = [(self._now, before), *zip(voices[::2], voices[1::2], strict=True)]
        ours = ""
        for name, music in pieces:
            self._set_voice(name)
            ours += music if self._is_ours() else ""
        if self._reader is not None and ours.strip():
            self._reader.line(ours)
            self._verse = 0

    def _is_ours(self) -> bool:
        wanted = self._voice or (self._voices[0] if self._voices else "")
        return self._now == wanted or not self._voices

    def _field(self, letter: str, text: str) -> None:
        if self._reader is None:
            self._header_field(letter, text)
        elif letter == "w":
            if self._is_ours():
                self._verse += 1
                for remark in set_words(self._reader, text, self._verse):
                    self._say(remark)
        elif letter == "W":
            self._say("words below the tune (W:) belong to no notes and are left out")
        elif letter == "T":
            self._say(f"a second title, {text[:60]}, is left out")
        else:
            self._body_field(letter, text)

    def _say(self, remark: str) -> None:
        if remark not in self._remarks:
            self._remarks.append(remark)

    def _header_field(self, letter: str, text: str) -> None:
        header = self._header
        if letter == "T" and not header.title:
            header.title = text
        elif letter == "T":
            self._say(f"a second title, {text[:60]}, is left out")
        elif letter == "C" and not header.composer:
            header.composer = text
        elif letter in "SOB" and not header.source:
            header.source = text
        elif letter == "Z" and text.startswith(COPYRIGHT):
            header.licence = text.removeprefix(COPYRIGHT).strip()
        elif letter == "M":
            header.meter = read_meter(text)
        elif letter == "L":
            header.unit = read_unit(text)
        elif letter == "Q":
            header.tempo = text
        elif letter == "P":
            header.parts = text
        elif letter == "V":
            self._set_voice(text)
        elif letter == "K":
            header.key = read_key(text)
            self._start()

    def _start(self) -> None:
        """Make the reader when the header ends."""
        header = self._header
        if header.meter is None:
            self._say("the tune has no meter: 4/4 is written")
        meter = header.meter or (4, 4)
        usual = (
            Fraction(1, 4) if header.meter and Fraction(*header.meter) < Fraction(3, 4) else Fraction(1, 2)
        )
        self._reader = AbcReader(header.key, meter, header.unit or usual, self._body_field)
        self._now = self._voices[0] if self._voices else ""

    def _set_voice(self, text: str) -> None:
        name = text.split(maxsplit=1)[0] if text.split() else ""
        if name and name not in self._voices:
            self._voices.append(name)
            if len(self._voices) > MOST_VOICES:
                raise TuneError(f"it has more than {MOST_VOICES} voices: export the tune alone")
        self._now = name

    def _body_field(self, letter: str, text: str) -> None:
        reader = self._reader
        if reader is None:
            return
        if letter == "V":
            self._set_voice(text)
        elif letter == "P":
            reader.name_section(text)
        elif not self._is_ours():
            return
        elif letter == "K":
            reader.key = read_key(text)
            self._say(
                f"a change of key ({text[:20]}) is left out, as a song has one; the notes stay as they sound"
            )
        elif letter == "M":
            reader.meter = read_meter(text) or reader.meter
        elif letter == "L":
            reader.unit_quarter = read_unit(text)
        elif letter == "Q":
            self._say("a change of tempo is left out")

    # ---- all together

    def _sheet(self, file: str) -> LeadSheet:
        reader = self._reader
        if reader is None:
            raise TuneError("it has no key (K:), with which a tune's header ends")
        reader.finish()
        if self._voice and self._voice not in self._voices:
            known = ", ".join(self._voices) or "none"
            raise TuneError(f"it has no voice {self._voice!r}: its voices are {known}")
        if len(self._voices) > 1 and not self._voice:
            self._say(
                f"the tune is taken from voice {self._voices[0]}, the first of {', '.join(self._voices)}"
            )
        header = self._header
        if header.key.remark:
            self._say(header.key.remark)
        measures = in_order_of_parts(reader.measures, header.parts)
        tempo = read_tempo(header.tempo, header.unit or Fraction(1, 2)) if header.tempo else None
        lost = [f"{what} ({count})" if count > 1 else what for what, count in reader.lost.items()]
        return LeadSheet(
            title=header.title or Path(file).stem.replace("-", " ").replace("_", " "),
            measures=tuple(measures),
            composer=header.composer,
            source_note=header.source,
            licence=header.licence,
            key=header.key.key,
            tempo_quarters=tempo,
            settings=tuple(self._settings),
            remarks=(*self._remarks, *lost),
        )


def _without_comment(line: str) -> str:
    found = re.search(r"(?<!\\)%", line)
    return (line[: found.start()] if found else line).replace("\\%", "%")
