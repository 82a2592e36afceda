"""ChordPro 6 in: heads, sections and grids of a song as a lead sheet whose tune is still to be written."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from tercet.exchange.chordpro.directives import DIRECTIVES, ENVIRONMENTS, OWN, environment_of
from tercet.exchange.chordpro.drafts import Stanza
from tercet.exchange.chordpro.grids import GridReader
from tercet.exchange.chordpro.head import HEADS, TEXTS, Head
from tercet.exchange.chordpro.lines import DirectiveLine, WordLine, looks_like_chordpro, read_lines, songs_of
from tercet.exchange.chordpro.measures import measures_of, pulse_quarter
from tercet.exchange.chordpro.over_words import has_chords_over_words, with_chords_in_words
from tercet.exchange.chordpro.signs import ChordReader, Remarks, Signs
from tercet.exchange.chordpro.sung import (
    SungLine,
    bars_unknown,
    has_bar_lines,
    has_chords,
    set_in_bars,
    set_like,
)
from tercet.exchange.harmonise import key_of_chords
from tercet.exchange.leadsheet import LeadMeasure, LeadSheet, TuneError
from tercet.exchange.outside import text_of
from tercet.exchange.words import names_section
from tercet.song import Meter
from tercet.theory.limits import MOST_BARS
from tercet.wording import counted

__all__ = ["is_chordpro", "is_words_with_chords", "read_chordpro", "read_chordpro_book"]

Lines = list[DirectiveLine | WordLine]

_USUAL_TIME = (4, 4)
_COMMENTS = ("comment", "comment_italic", "comment_box", "highlight")


def is_chordpro(data: bytes) -> bool:
    """Return whether a file has directives of ChordPro."""
    return looks_like_chordpro(text_of(data))


def is_words_with_chords(data: bytes) -> bool:
    """Return whether a file is words with chords over them, or in brackets among them."""
    return has_chords_over_words(text_of(data))


def read_chordpro(
    data: bytes, file: str, tune: str = "", bars_per_chord: Fraction | None = None
) -> LeadSheet:
    """Read a song.

    Parameters
    ----------
    data
        The bytes of the file.
    file
        What to call it in messages.
    tune
        Which song of a book: its number, its title or a part of it; the first without.
    bars_per_chord
        How many bars each chord lasts where the file doesn't say.

    Raises
    ------
    TuneError
        There is no such song, it has no chords, or nothing says how long they last.
    """
    songs = _songs(data, file)
    song, more = _chosen(songs, tune, file)
    sheet = _SongReader(file, bars_per_chord).read(song)
    if more:
        said = f"the file has {counted(more, 'song')}: the first is read, --tune chooses another"
        sheet = replace(sheet, remarks=(said, *sheet.remarks))
    return sheet


def read_chordpro_book(
    data: bytes, file: str, bars_per_chord: Fraction | None = None
) -> Iterator[tuple[str, LeadSheet | TuneError]]:
    """Yield the title and the sheet, or what is wrong with it, for every song of a book."""
    for number, song in enumerate(_songs(data, file), 1):
        title = _title(song) or f"song {number}"
        try:
            yield title, _SongReader(file, bars_per_chord).read(song)
        except TuneError as error:
            yield title, error


def _songs(data: bytes, file: str) -> list[Lines]:
    text = text_of(data)
    songs = songs_of(read_lines(text, file))
    if not songs:
        raise TuneError(f"{file} has no song in it: export it again")
    return [list(with_chords_in_words(song)) for song in songs]


def _title(song: Lines) -> str:
    return next((line.told for line in song if isinstance(line, DirectiveLine) and line.name == "title"), "")


def _chosen(songs: Sequence[Lines], tune: str, file: str) -> tuple[Lines, int]:
    """Return the song that is wanted, and how many there are where none was asked for."""
    if not tune:
        return songs[0], len(songs) if len(songs) > 1 else 0
    if tune.isdigit() and 1 <= int(tune) <= len(songs):
        return songs[int(tune) - 1], 0
    wanted = tune.casefold()
    found = [song for song in songs if wanted in _title(song).casefold()]
    if not found:
        titles = ", ".join(f"{number} {_title(song)[:40]}" for number, song in enumerate(songs[:20], 1))
        raise TuneError(f"{file} has no song called {tune[:40]}: there are {titles}")
    return found[0], 0


class _SongReader:
    """Reads one song, line by line."""

    def __init__(self, file: str, bars_per_chord: Fraction | None) -> None:
        self._file = file
        self._bars_per_chord = bars_per_chord
        self._remarks = Remarks()
        self._chords = ChordReader(self._remarks)
        self._signs = Signs(self._chords, self._remarks)
        self._grids = GridReader(self._chords, self._remarks)
        self._head = Head(self._chords, self._remarks)
        self._own = False
        self._played: list[Stanza] = []
        self._stanza: Stanza | None = None
        self._lines: list[SungLine] = []
        self._label = ""
        self._environment = ""
        self._passing_over = ""

    # ---- the whole song

    def read(self, song: Lines) -> LeadSheet:
        """Return the song as a lead sheet."""
        self._own = any(isinstance(line, DirectiveLine) and line.name.startswith(OWN) for line in song)
        self._signs.own = self._own
        self._head.pinned = set() if self._own else None
        for line in song:
            if isinstance(line, WordLine):
                self._word_line(line)
            else:
                self._directive(line)
        self._end_stanza()
        played = [stanza for stanza in self._played if stanza.bars]
        if not played:
            first = next((line.number for line in song), 1)
            raise TuneError(
                f"line {first} of {self._file}: there are no chords in this song, so nothing says where its bars "
                "are: write them in brackets before the words that they are for, [C]Down in the [G7]valley"
            )
        measures = measures_of(played, self._file, own=self._own)
        return self._sheet(measures)

    def _sheet(self, measures: tuple[LeadMeasure, ...]) -> LeadSheet:
        head = self._head
        if self._head.meter is None:
            self._remarks.add("no time is given: 4/4 is assumed")
        key = head.key
        if key is None:
            key = key_of_chords(
                [chord.chord for measure in measures for chord in measure.chords if chord.chord]
            )
            self._remarks.add(f"no key is given: {key} found from the chords")
        self._remarks.add(
            "the tune is still to be written: each rest stands for a note, and has its syllable below it where there "
            "are words"
        )
        self._strum()
        tempo = None if head.tempo is None else head.tempo * pulse_quarter(measures[0].meter)
        return LeadSheet(
            title=head.first("title"),
            measures=measures,
            composer=head.first("composer", "artist"),
            source_note=head.source,
            licence=head.first("copyright"),
            key=key,
            tempo_quarters=tempo,
            settings=tuple(head.settings),
            remarks=self._remarks.told(),
            without_tune=True,
        )

    def _strum(self) -> None:
        """Keep the first strum pattern as the song's."""
        meter = Meter(*(self._head.meter or _USUAL_TIME))
        patterns = [] if self._own else self._grids.patterns
        fitting = [slots for _, slots in patterns if len(slots) in [meter.upper * n for n in (1, 2, 3, 4)]]
        for line, slots in patterns:
            if slots not in fitting:
                self._remarks.add(f"a strum pattern that doesn't fill a bar of {meter} is passed over", line)
        if fitting:
            self._head.settings.append(("strum", " ".join(fitting[0])))
            if len(set(fitting)) > 1:
                self._remarks.add("a song has one strum pattern: the first is taken")

    # ---- words and grids

    def _word_line(self, line: WordLine) -> None:
        if self._passing_over:
            return
        if self._environment == "grid":
            self._grids.read(
                self._opened(line.number), line.text, line.number, self._head.meter or _USUAL_TIME
            )
            return
        if not line.text.strip():
            if not self._environment:
                self._end_stanza()
            return
        self._opened(line.number)
        signs = tuple(self._signs.of(line.text, line.number))
        if signs:
            self._lines.append(SungLine(line.number, signs, self._head.meter or _USUAL_TIME))

    def _opened(self, line: int) -> Stanza:
        """Return the stanza that is going on; begin one where none is."""
        self._head.begun = True
        if self._stanza is None:
            self._stanza = Stanza(line, self._environment, self._label)
            self._label = ""
        return self._stanza

    def _end_stanza(self) -> None:
        """Set the words of the stanza that is going on in bars."""
        stanza, lines = self._stanza, self._lines
        self._stanza, self._lines = None, []
        if stanza is None:
            return
        if lines and not (has_chords(lines) or has_bar_lines(lines)):
            self._without_chords(stanza, lines)
        elif lines:
            if self._bars_per_chord is None and not has_bar_lines(lines):
                raise bars_unknown(lines[0].number, self._file)
            meter = Meter(*lines[0].meter)
            set_in_bars(stanza, lines, self._bars_per_chord, meter.pulse_beat)
        if stanza.bars:
            self._play(stanza)

    def _without_chords(self, stanza: Stanza, lines: list[SungLine]) -> None:
        """Set words that have no chords of their own to those of a stanza before them with as many lines."""
        alike = [each for each in self._played if each.rows == len(lines)]
        named = [each for each in alike if each.kind == stanza.kind]
        if not alike:
            self._remarks.add("words without chords are passed over: write chords into them", lines[0].number)
            return
        model = (named or alike)[0]
        set_like(stanza, lines, model)
        self._remarks.add(f"words without chords go to those of line {model.line}", lines[0].number)

    def _play(self, stanza: Stanza) -> None:
        self._played.append(stanza)
        if sum(len(each.bars) for each in self._played) > MOST_BARS:
            raise TuneError(
                f"line {stanza.line} of {self._file}: here the song has more than {MOST_BARS} bars, and it may "
                "have so many: cut it in two"
            )

    # ---- directives

    def _directive(self, line: DirectiveLine) -> None:
        if not line.closed:
            self._remarks.add("a directive isn't closed: write } at its end", line.number)
        name = line.name
        if self._passing_over:
            if name == f"end_of_{self._passing_over}":
                self._passing_over = ""
            return
        if name.startswith(OWN):
            self._own_directive(name.removeprefix(OWN), line)
        elif environment_of(name):
            self._start(environment_of(name), line)
        elif name.startswith("end_of_"):
            self._end_stanza()
            self._environment = ""
        elif name == "meta":
            item, _, told = line.told.partition(" ")
            known = DIRECTIVES.get(item.strip().casefold().rstrip(":"))
            if known is not None and known.name in (*TEXTS, *HEADS):
                self._told(known.name, replace(line, told=told.strip()))
        else:
            self._told(name, line)

    def _told(self, name: str, line: DirectiveLine) -> None:
        """Take in what a directive says."""
        if self._head.take(name, line):
            return
        if name in _COMMENTS:
            self._comment(line.told)
        elif name == "chorus":
            self._chorus(line)
        elif name in DIRECTIVES:
            self._remarks.add(f"{{{name}}} is passed over", line.number)
        elif not name.startswith("x_"):
            self._remarks.add(
                f"{{{name[:30]}}} isn't a directive of ChordPro and is passed over", line.number
            )

    def _start(self, environment: str, line: DirectiveLine) -> None:
        self._end_stanza()
        if environment not in ENVIRONMENTS and f"start_of_{environment}" in DIRECTIVES:
            self._passing_over = environment
            self._remarks.add(f"what stands in {{start_of_{environment}}} is passed over", line.number)
            return
        self._environment = environment
        self._label = line.told if environment != "grid" or not re.match(r"[\d+x\s]+$", line.told) else ""

    def _comment(self, told: str) -> None:
        if names_section(told.strip()) and not self._environment:
            self._end_stanza()
            self._label = told.strip()

    def _chorus(self, line: DirectiveLine) -> None:
        """Play the last chorus once more."""
        self._end_stanza()
        choruses = [each for each in self._played if each.kind == "chorus" or _is_chorus(each.label)]
        if choruses:
            self._play(choruses[-1])
        else:
            self._remarks.add("{chorus} stands where there is no chorus yet, and is passed over", line.number)

    def _own_directive(self, name: str, line: DirectiveLine) -> None:
        """Take in what only Tercet writes."""
        if name == "section":
            self._opened(line.number).name = (
                line.told[:40] if re.fullmatch(r"[^\W\d_][\w-]{0,39}", line.told) else ""
            )
        elif name == "pickup":
            stanza = self._opened(line.number)
            if re.fullmatch(r"\d{1,3}(/[1-9]\d{0,3})?", line.told) and Fraction(line.told) > 0:
                stanza.pickup_beat = Fraction(line.told)
        elif name == "pinned":
            self._head.pinned = set(line.told.split())
        else:
            self._head.settings.append((name.replace("_", "-"), line.told))


def _is_chorus(label: str) -> bool:
    return re.match(r"(chorus|refrain)\b", label.strip(), re.IGNORECASE) is not None
