"""MEI from an arrangement: what the engraver is given.

Two staves, the tune and a tab of four lines, and under them a strip that tells strums, counting and fingers. Each bar
of the written form stands there once, under endings where passes differ; an expansion names the order in which they are
played. No text of the song is in it: see `tercet.publish.score.elements`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement, tostring

from tercet.arranging import Arrangement, Gesture
from tercet.errors import RequestError
from tercet.publish.score.elements import GestureIds, ScoreLook, ScoreText, Texts
from tercet.publish.score.marks import add_marks
from tercet.publish.score.staff import ACCIDENTALS, fill_tune, octave_up, tune_notes
from tercet.publish.score.tab import add_anchors, columns_of, fill_strip, fill_tab
from tercet.publish.score.words import SungLine, add_words, sung_lines
from tercet.publish.score.written_form import (
    Segment,
    WrittenBar,
    WrittenForm,
    WrittenSection,
    gestures_in,
    listed,
    written_form,
)
from tercet.song import Measure

__all__ = ["LINE_BREAK", "MOST_PRINTED", "Score", "score_of"]

_TUNE, _TAB, _STRIP = "1", "2", "3"
"""Numbers of the staves."""

MOST_PRINTED = 10_000
"""Notes of the tune: an hour of them. The engraver and its drawing take about 30 kB for each."""

LINE_BREAK = "break"
"""Before each bar there is a break, called by the bar's number from 0: those that aren't wanted are taken out."""


@dataclass(frozen=True, slots=True)
class Score:
    """What is engraved of an arrangement.

    Parameters
    ----------
    mei
        The document.
    form
        The bars it holds, in the order of their elements' names: ``m0``, ``m1``, …
    texts
        What takes the place of the stand-ins, by the names of their elements.
    gesture_ids
        For each gesture of the arrangement, on whatever pass, the elements that show it.
    bar_ids
        For each bar of the arrangement, the printed bars that show it: two where a pick-up begins within it.
    places
        For each printed bar its section as printed and its line of music there.
    """

    mei: str
    form: WrittenForm
    texts: Mapping[str, ScoreText]
    gesture_ids: tuple[GestureIds, ...]
    bar_ids: tuple[tuple[str, ...], ...]
    places: tuple[tuple[int, int], ...]


def score_of(arrangement: Arrangement, look: ScoreLook) -> Score:
    """Return an arrangement as MEI, with the names of everything in it.

    Raises
    ------
    RequestError
        When more than `MOST_PRINTED` notes of the tune would be printed.
    """
    form = written_form(arrangement, as_played=look.as_played)
    _check_size(arrangement, form)
    writer = _ScoreWriter(arrangement, look, form)
    root = Element("mei", {"xmlns": "http://www.music-encoding.org/ns/mei", "meiversion": "5.0"})
    SubElement(SubElement(SubElement(SubElement(root, "meiHead"), "fileDesc"), "titleStmt"), "title")
    mdiv = SubElement(SubElement(SubElement(root, "music"), "body"), "mdiv")
    score = SubElement(mdiv, "score")
    _add_definition(score, arrangement, look)
    writer.add_sections(SubElement(score, "section", {"xml:id": "all"}))
    return Score(
        '<?xml version="1.0" encoding="UTF-8"?>' + tostring(root, encoding="unicode"),
        form,
        writer.texts.found,
        tuple(writer.gesture_ids[index] for index in range(len(arrangement.gestures))),
        tuple(tuple(name for _, name in sorted(names)) for names in writer.bar_ids),
        tuple(writer.places),
    )


def _check_size(arrangement: Arrangement, form: WrittenForm) -> None:
    printed = sum(len(bar.printed.melody) for bar in form.bars)
    if printed > MOST_PRINTED:
        raise RequestError(
            f"{arrangement.song.title}: this song has {printed} notes to print, and at most {MOST_PRINTED} can be "
            "engraved: write what repeats once, as a section that the form plays again, or split the song in two"
        )


def _add_definition(score: Element, arrangement: Arrangement, look: ScoreLook) -> None:
    """Add what all bars share: key, meter and staves."""
    song = arrangement.song
    key = f"{abs(song.key.fifths)}{'s' if song.key.fifths > 0 else 'f'}" if song.key.fifths else "0"
    definition = SubElement(score, "scoreDef")
    group = SubElement(SubElement(definition, "staffGrp"), "staffGrp", {"bar.thru": "true"})
    if look.tune:
        tune = SubElement(group, "staffDef", {"n": _TUNE, "lines": "5", "keysig": key})
        clef = SubElement(tune, "clef", {"shape": "G", "line": "2"})
        if octave_up(arrangement):
            clef.attrib |= {"dis": "8", "dis.place": "below"}
        _add_meter(tune, arrangement)
    tab = SubElement(group, "staffDef", {"n": _TAB, "lines": "4", "notationtype": "tab.guitar"})
    SubElement(tab, "clef", {"shape": "TAB", "line": "5"})
    _add_meter(tab, arrangement, seen=not look.tune)
    tuning = SubElement(tab, "tuning")
    for string, pitch in enumerate(reversed(arrangement.tuning.open_pitches), 1):
        course = {"n": str(string), "pname": pitch.letter.lower(), "oct": str(pitch.octave)}
        if pitch.alter:
            course["accid"] = ACCIDENTALS[pitch.alter]
        SubElement(tuning, "course", course)
    strip = SubElement(
        definition[0], "staffDef", {"n": _STRIP, "lines": "1", "lines.visible": "false", "spacing": "1vu"}
    )
    SubElement(strip, "clef", {"shape": "G", "line": "2", "visible": "false"})
    _add_meter(strip, arrangement, seen=False)


def _add_meter(staff: Element, arrangement: Arrangement, *, seen: bool = True) -> None:
    meter = arrangement.song.meter
    unseen = {} if seen else {"visible": "false"}
    SubElement(staff, "meterSig", {"count": str(meter.upper), "unit": str(meter.lower), **unseen})


MOST_NUMBERS = 6
"""A bar that is played more often shows its first two numbers and its last."""


class _ScoreWriter:
    """Writes the printed bars one by one, and keeps what they are called."""

    def __init__(self, arrangement: Arrangement, look: ScoreLook, form: WrittenForm) -> None:
        self._arrangement, self._look, self._form = arrangement, look, form
        self._starts = tuple(float(gesture.start_beat) for gesture in arrangement.gestures)
        self._higher = octave_up(arrangement)
        self._count = 0
        self._line: tuple[int, int] | None = None
        self._chord: tuple[str, tuple[int | None, ...] | None] | None = None
        self._rows = max(
            (len(lines) for part in form.sections for lines in sung_lines(part, arrangement).values()),
            default=0,
        )
        self.texts = Texts()
        self.gesture_ids: dict[int, GestureIds] = {}
        self.bar_ids: list[list[tuple[Fraction, str]]] = [[] for _ in arrangement.bars]
        self.places: list[tuple[int, int]] = []

    def add_sections(self, parent: Element) -> None:
        """Add every printed section, and the order in which their parts are played."""
        expansion = SubElement(parent, "expansion", {"xml:id": "played"})
        parts: dict[int, list[tuple[str, tuple[int, ...]]]] = {}
        for index, section in enumerate(self._form.sections):
            parts[index] = self._add_section(parent, index, section)
        played = []
        counted = dict.fromkeys(range(len(self._form.sections)), 0)
        for index in self._form.order:
            pass_number = self._form.sections[index].passes[counted[index]]
            counted[index] += 1
            played += [f"#{name}" for name, passes in parts[index] if pass_number in passes]
        expansion.set("plist", " ".join(played))

    def _add_section(
        self, parent: Element, index: int, section: WrittenSection
    ) -> list[tuple[str, tuple[int, ...]]]:
        """Add a printed section; return the names of its parts and the passes that play them."""
        lines = sung_lines(section, self._arrangement)
        last = section.passes[-1]
        parts = []
        for place, segment in enumerate(section.segments):
            name = f"p{index}s{place}"
            kind = "ending" if segment.ending else "section"
            self._begin(parent, index, segment.bars[0])
            element = SubElement(parent, kind, {"xml:id": name})
            if segment.ending:
                element.set("n", listed(segment.passes))
            parts.append((name, segment.passes))
            final = _closes(section.segments, place)
            for number, bar in enumerate(segment.bars):
                if number:
                    self._begin(element, index, bar)
                written = self._add_bar(element, bar, lines.get(bar.printed.line, ()))
                if place == number == 0:
                    self._open(written, section)
                if final and number == len(segment.bars) - 1:
                    self._close(written, section, segment, last_time=last in segment.passes)
        return parts

    def _begin(self, parent: Element, section: int, bar: WrittenBar) -> None:
        """Leave room for a line break before a bar; with a new line of music, chords are named again."""
        SubElement(parent, "sb", {"xml:id": f"{LINE_BREAK}{self._count}"})
        line = section, bar.printed.line
        if line != self._line:
            self._chord = None
        self._line = line
        self.places.append(line)

    def _open(self, written: Element, section: WrittenSection) -> None:
        """Mark where a section begins, with its name, and its style where that isn't the usual one."""
        if section.repeat_start:
            written.set("left", "rptstart")
        place = {"staff": self._upper, "tstamp": "0", "place": "above"}
        song = self._arrangement.song
        styles = {song.style_of(section.name, number) for number in section.passes} - {"rolls"}
        title = f"{section.title} ({', '.join(sorted(styles))})" if styles else section.title
        self.texts.put(SubElement(written, "reh", place), f"{written.attrib['xml:id']}name", "section", title)

    def _close(self, written: Element, section: WrittenSection, segment: Segment, *, last_time: bool) -> None:
        """Mark where a section ends: a repeat, the end of the piece, and where to go."""
        name = written.attrib["xml:id"]
        goes_back = section.repeat_times > 1 and (len(segment.passes) > 1 or not last_time)
        ends = last_time and section.visits[-1] == len(self._form.order) - 1
        written.set("right", "rptend" if goes_back else "end" if ends else "dbl")
        place = {"staff": self._upper, "tstamp": "1", "place": "above"}
        if goes_back and section.repeat_times > 2:
            times = f"{section.repeat_times} times"
            self.texts.put(SubElement(written, "dir", place), f"{name}times", "remark", times)
        then = section.then_after(segment.passes, repeated=goes_back)
        if then:
            self.texts.put(SubElement(written, "dir", place), f"{name}then", "then", then)

    @property
    def _upper(self) -> str:
        """Number of the upper staff."""
        return _TUNE if self._look.tune else _TAB

    # ---- one bar

    def _add_bar(self, parent: Element, bar: WrittenBar, lines: Sequence[SungLine]) -> Element:
        name, measure = f"m{self._count}", bar.printed
        self._count += 1
        written = SubElement(parent, "measure", {"xml:id": name, "n": str(self._count)})
        if measure.length_beat != self._arrangement.song.meter.bar_beat:
            written.set("metcon", "false")
        columns = columns_of(measure, self._gestures(measure))
        notes = tune_notes(name, measure, self._arrangement)
        hung: dict[object, Element] = {}
        if self._look.tune:
            layer = _layer(written, _TUNE)
            elements = fill_tune(layer, notes, measure, self._arrangement.song, higher=self._higher)
            hung = {note.at_beat: elements[note.name] for note in notes if note.struck}
        ids = fill_tab(written, _layer(written, _TAB), columns, measure, self._arrangement, self.texts)
        signs: dict[int, str] = {}
        strip = _layer(written, _STRIP)
        whole = Fraction(1, self._arrangement.song.meter.lower)
        anchors = add_anchors(name, strip, columns, measure, whole)
        if self._look.tune:
            signs = fill_strip(anchors, measure, self._arrangement.song.meter, self.texts)
        else:
            hung = {column.at_beat: anchor for column, anchor in anchors}
        self._number(name, anchors[0][1], bar, row=4 if self._look.tune else self._rows + 1)
        words = add_words(bar, lines, hung, self._arrangement, self.texts)
        self._chords(written, measure)
        add_marks(written, bar, self._arrangement, self.texts, self._upper, dynamics=self._look.tune)
        self._remember(bar, ids, signs, {note.at_beat: note.name for note in notes if note.struck}, words)
        return written

    def _gestures(self, measure: Measure) -> list[tuple[int, Gesture]]:
        return list(gestures_in(measure, self._arrangement.gestures, self._starts))

    def _number(self, name: str, anchor: Element, bar: WrittenBar, row: int) -> None:
        """Add a bar's number in the piece as played, for each of its playings; pick-ups have none."""
        if bar.printed.section_bar == 0:
            return
        numbers = [str(self._arrangement.bars[each.bar_index].number) for each in bar.playings]
        if len(numbers) > MOST_NUMBERS:
            numbers = [*numbers[:2], "…", numbers[-1]]
        verse = SubElement(anchor, "verse", n=str(row))
        self.texts.put(SubElement(verse, "syl"), f"{name}number", "bar-number", " · ".join(numbers), "bar")

    def _chords(self, written: Element, measure: Measure) -> None:
        """Name the chords, each where it begins to differ from the one before, and where a line of music begins."""
        for index, span in enumerate(measure.chords):
            text = "N.C." if span.chord is None else str(span.chord)
            if self._chord == (text, span.shape):
                continue
            self._chord = text, span.shape
            tstamp = _tstamp(span.start_beat - measure.low_beat)
            place = {"staff": self._upper, "tstamp": tstamp, "place": "above"}
            name = f"{written.attrib['xml:id']}h{index}"
            self.texts.put(SubElement(written, "harm", place), name, "chord", text)

    def _remember(
        self,
        bar: WrittenBar,
        ids: Mapping[int, GestureIds],
        signs: Mapping[int, str],
        notes: Mapping[Fraction, str],
        words: Mapping[tuple[int, object], str],
    ) -> None:
        """Keep what shows each gesture, on every playing of a bar."""
        name = f"m{self._count - 1}"
        printed = self._gestures(bar.printed)
        for measure in bar.playings:
            played = self._gestures(measure)
            for (index, gesture), (first, _) in zip(played, printed, strict=True):
                at_beat = gesture.start_beat - measure.start_beat
                tune = gesture.layer != "strums" and gesture.notes[-1].part == "tune"
                self.gesture_ids[index] = replace(
                    ids[first],
                    note=notes.get(at_beat, "") if tune and self._look.tune else "",
                    word=words.get((measure.pass_number, at_beat), "") if tune else "",
                    strum=signs.get(first, ""),
                )
            self.bar_ids[measure.bar_index].append((measure.low_beat, name))


def _layer(written: Element, number: str) -> Element:
    return SubElement(SubElement(written, "staff", n=number), "layer", n="1")


def _tstamp(beat: Fraction) -> str:
    """Return a place in a bar as MEI counts it, from 1."""
    return f"{float(beat) + 1:.5f}".rstrip("0").rstrip(".")


def _closes(segments: Sequence[Segment], place: int) -> bool:
    """Whether a part of a section is its last on some pass: the last part, or one of the endings that close it."""
    return (not segments[-1].ending and place == len(segments) - 1) or (
        segments[-1].ending
        and all(segment.ending for segment in segments[place:])
        and not any(set(segments[place].passes) & set(later.passes) for later in segments[place + 1 :])
    )
