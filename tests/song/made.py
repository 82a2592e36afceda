"""All that a song is made into, without sound: each file is made and read back by a reader that isn't ours."""

from __future__ import annotations

import html.parser
import io
import json
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable, Mapping
from fractions import Fraction

import mido
import pypdf

from tercet.arranging import Arrangement, arrange, song_tuning
from tercet.arranging.report import as_json, report_of
from tercet.arranging.tab import tab_text
from tercet.exchange.abc import abc_bytes
from tercet.exchange.midi import plain_midi_bytes
from tercet.exchange.musicxml import musicxml_bytes
from tercet.performing import covered_notes, lay_out, perform
from tercet.performing.midi import midi_bytes
from tercet.publish import svg_text
from tercet.publish.page import PagePlan, PageSet, PageSound, song_page
from tercet.publish.page.sound import SpeedTiming
from tercet.publish.pictures import handout_pictures
from tercet.publish.score.pages import SheetLook, sheet_of, sheet_pdf, sheet_svg
from tercet.song import LAYERS, Song
from tercet.theory import Tuning
from tests.unprintable import harmful_in

__all__ = ["DRAWN", "MAKERS", "WRITTEN", "Makers", "made"]


def _report(arrangement: Arrangement) -> None:
    json.loads(json.dumps(as_json(report_of(arrangement)), allow_nan=False))
    covered_notes(perform(arrangement, lay_out(arrangement)))


def _tab(arrangement: Arrangement) -> None:
    text = tab_text(arrangement)
    assert text.strip()
    assert harmful_in(text) == []


def _musicxml(arrangement: Arrangement) -> None:
    data, _ = musicxml_bytes(arrangement)
    assert ET.fromstring(data).tag == "score-partwise"
    assert harmful_in(data.decode("utf-8")) == []


def _abc(arrangement: Arrangement) -> None:
    data, _ = abc_bytes(arrangement.song)
    text = data.decode("utf-8")
    assert re.search(r"^K:", text, re.MULTILINE)
    assert harmful_in(text) == []


def _plain_midi(arrangement: Arrangement) -> None:
    assert mido.MidiFile(file=io.BytesIO(plain_midi_bytes(arrangement.song)[0])).length > 0


def _midi(arrangement: Arrangement) -> None:
    take = perform(arrangement, lay_out(arrangement, count_in_bars=arrangement.song.count_in_bars or 0))
    assert all(0 <= note.midi <= 127 and note.length_s > 0 and note.onset_s >= 0 for note in take.notes)
    read = mido.MidiFile(file=io.BytesIO(midi_bytes(arrangement, take)))
    assert read.length >= max((note.onset_s for note in take.notes), default=0) - 0.01


def _sheet(arrangement: Arrangement) -> None:
    for look in (SheetLook(None, large=False), SheetLook(None, large=True)):
        _is_svg(sheet_svg(sheet_of(arrangement, look)))
    pages = pypdf.PdfReader(io.BytesIO(sheet_pdf(sheet_of(arrangement)))).pages
    assert len(pages) > 0


def _handout(arrangement: Arrangement) -> None:
    for drawing in handout_pictures(arrangement):
        _is_svg(svg_text(drawing))


def _page(arrangement: Arrangement) -> None:
    take = perform(arrangement, lay_out(arrangement, None, count_in_bars=0))
    peaks: dict[str, list[float]] = {layer: [0.1] * len(take.bars) for layer in LAYERS}
    sound = PageSound((SpeedTiming(Fraction(1), take, take.length_s, peaks),), {}, 0.0)
    for one_file in (False, True):
        files = song_page(PagePlan([PageSet(arrangement, sound)], one_file=one_file))
        text = files["index.html"].decode("utf-8")
        assert harmful_in(text) == []
        page = _Page()
        page.feed(text)
        page.close()
        assert page.heading == arrangement.song.title
        assert json.loads(page.facts)
        for name, data in files.items():
            if name.endswith(".svg"):
                _is_svg(data.decode("utf-8"))


def _is_svg(text: str) -> None:
    assert ET.fromstring(text).tag.endswith("svg")
    assert harmful_in(text) == []


class _Page(html.parser.HTMLParser):
    """The heading of a page, and the data that its player reads."""

    def __init__(self) -> None:
        super().__init__()
        self.heading = ""
        self.facts = ""
        self._inside = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._inside = "h1" if tag == "h1" else dict(attrs).get("id") or ""

    def handle_endtag(self, tag: str) -> None:
        self._inside = ""

    def handle_data(self, data: str) -> None:
        if self._inside == "h1":
            self.heading += data
        elif self._inside == "facts":
            self.facts += data


Makers = Mapping[str, Callable[[Arrangement], None]]

WRITTEN: Makers = {
    "report": _report,
    "tab": _tab,
    "musicxml": _musicxml,
    "abc": _abc,
    "plain midi": _plain_midi,
    "midi": _midi,
}
"""What takes milliseconds; each function fails where its file isn't whole."""

DRAWN: Makers = {"sheet": _sheet, "handout": _handout, "page": _page}
"""What takes a second: an engraver is at work."""

MAKERS: Makers = {**WRITTEN, **DRAWN}


def made(song: Song, makers: Makers = WRITTEN, tuning: Tuning | None = None) -> None:
    """Arrange a song, for the strings that it names or others; make its files and read them back."""
    arrangement = arrange(song, tuning or song_tuning(song))
    for make in makers.values():
        make(arrangement)
