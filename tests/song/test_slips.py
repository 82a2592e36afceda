"""What people write when they mean something else: what is said of it, word for word, and that each mend mends it.

The mends are applied from what `tercet check --json` prints, by an editor that knows nothing but lines and columns.
"""

from __future__ import annotations

import json
import re
import zipfile
from io import BytesIO
from pathlib import Path

import pytest

from tercet.cli import main
from tests.remake_goldens import ROOT, SLIPS, message_of
from tests.song.editor import Facts, edited

FILES = sorted(SLIPS.glob("*.yaml"))
SONGS = sorted((ROOT / "songs").glob("*.yaml"))

UNSURE = {
    "chord-german-h-and-b",
    "chords-in-words",
    "file-abc",
    "file-musicxml",
    "file-rich-text",
    "file-web-page",
    "form-which-twice",
    "key-small-letter",
    "length-dashes",
    "length-letters",
    "length-of-a-dot",
    "length-slash",
    "meter-six",
    "octave-far",
    "octave-ticks",
    "length-in-parentheses",
    "repeat-endings",
    "repeat-endings-figures",
    "repeat-signs-both",
    "rows-without-names",
    "section-bare-heading",
    "section-x2",
    "setting-capo",
    "tempo-in-words",
    "tempo-two-figures",
    "tuning-letters",
}
"""Slips that nobody but their writer can mend: for these no edit is offered."""

IN_PART = {
    "chord-lower-case",
    "form-other-name",
    "length-other-signs",
    "chord-german-small-h",
    "length-point-five",
    "note-digit-letters",
}
IN_PART |= {"sung-hyphens", "sung-underscores"}
"""Files with slips of both kinds."""

TOLD_ONCE = {"chord-german-flat-key"}
"""Files in which a B is told for the company it keeps, and no more once the German names are mended."""

ROUNDS = 2
"""A slip in the frame of a file may hide others; two rounds are enough."""


def mended(text: str, mistakes: list[Facts]) -> str:
    """Return a text with all edits of its mistakes made, those that several share once."""
    edits = [edit for mistake in mistakes for edit in mistake["edits"]]
    return edited(text, list({json.dumps(edit, sort_keys=True): edit for edit in edits}.values()))


def checked(
    texts: dict[str, str], folder: Path, capsys: pytest.CaptureFixture[str]
) -> dict[str, list[Facts]]:
    """Return the mistakes in each text as `tercet check --json` prints them; a clean text isn't among them."""
    paths: dict[str, str] = {}
    for name, text in texts.items():
        own = folder / name
        own.mkdir(parents=True, exist_ok=True)
        path = own / ("class.yaml" if name.startswith("class-") else "song.yaml")
        path.write_text(text, encoding="utf-8")
        paths[str(path)] = name
    capsys.readouterr()
    main(["check", "--json", *paths])
    reports = json.loads(capsys.readouterr().out)
    return {paths[report["file"]]: report["mistakes"] for report in reports if report["mistakes"]}


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_message(path: Path) -> None:
    assert message_of(path) == path.with_suffix(".txt").read_text(encoding="utf-8")


def test_every_golden_has_its_file() -> None:
    assert {path.stem for path in SLIPS.glob("*.txt")} == {path.stem for path in FILES}
    assert {path.stem for path in FILES} >= UNSURE | IN_PART


def test_each_mend_applied_leaves_nothing_wrong(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    texts = {path.stem: path.read_text(encoding="utf-8") for path in FILES}
    found = checked(texts, tmp_path, capsys)
    assert set(found) == set(texts)
    assert {name for name, mistakes in found.items() if not any(m["edits"] for m in mistakes)} == UNSURE
    sure = {name: text for name, text in texts.items() if name not in UNSURE | IN_PART | TOLD_ONCE}
    assert len(sure) >= 60
    for _ in range(ROUNDS):
        told = [(name, mistake) for name in sure for mistake in found.get(name, ())]
        assert [(name, mistake["message"]) for name, mistake in told if not mistake["edits"]] == []
        for name, text in list(sure.items()):
            sure[name] = mended(text, found.get(name, []))
        again = {name: text for name, text in sure.items() if name in found}
        found = checked(again, tmp_path, capsys) if again else {}
    assert found == {}


def test_a_mend_mends_its_mistake_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where only some slips of a file are mended, the others are still told, and nothing else is."""
    texts = {name: (SLIPS / f"{name}.yaml").read_text(encoding="utf-8") for name in IN_PART}
    found = checked(texts, tmp_path, capsys)
    left = {name: {m["message"] for m in mistakes if not m["edits"]} for name, mistakes in found.items()}
    assert all(left.values())
    after = checked({name: mended(text, found[name]) for name, text in texts.items()}, tmp_path, capsys)
    assert {name: {m["message"] for m in mistakes} for name, mistakes in after.items()} == left


LEGAL = """title: Legal
meter: 3/4
sections:
  intro: |
    chords   C  |\tG7\u00a0|

    chords   Am | F
    melody   A4:3 | F4:3
  verse: |
    chords   C | G7

    chords   Am | .
    melody   A4:3 | =:3
    words    long |
  coda: |
    chords   C | G7 | C

    melody   E4:3 | D4:3
"""
"""Lines of chords alone beside lines with both, tabs and odd spaces within rows: all of it is meant."""


def test_what_is_legal_stays_legal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert checked({"legal": LEGAL}, tmp_path, capsys) == {}


# ---- a slip in one place


def _in_row(row: str, pattern: str, by: str) -> tuple[str, str]:
    return rf"(?m)^( +{row} .*?[ |]){pattern}(?=[ |\n])", rf"\1{by}"


INJECTED = {
    "letter": _in_row("melody", r"([A-G])(4\S*)", r"{lower}\3"),
    "length": _in_row("melody", r"(\w+):1/2", r"\2:.5"),
    "colon": _in_row("melody", r"(\w+):(\d)", r"\2::\3"),
    "quotes": _in_row("melody", r"([A-G][#b]?\d)", "“\\2”"),
    "syllable": _in_row("melody", r"A(4\S*)", r"La\2"),
    "German": _in_row("melody", r"F#(\S*)", r"Fis\2"),
    "spelt": _in_row("melody", r"F#(\S*)", r"F-sharp\2"),
    "minor": _in_row("chords", r"([ADE])m", r"\2-moll"),
    "major": _in_row("chords", r"([ACDEFG])", r"\2-dur"),
    "brackets": _in_row("chords", r"([A-G]m?7?)", r"(\2)"),
    "square": _in_row("chords", r"([A-G]m?7?)", r"[\2]"),
    "point": _in_row("chords", r"([A-G]m?7?)", r"\2."),
    "two words": _in_row("chords", r"([A-G])m", r"\2 minor"),
    "two words, 7": _in_row("chords", r"([A-G])7", r"\2 7"),
    "capital mark": _in_row("marks", r"(mf|mp|p|f)(@\S+)", r"{upper}\3"),
    "tempo": (r"(?m)^(tempo: \d+)$", r"\1 BPM"),
    "no colon": (r"(?m)^(tempo|key|meter): ", r"\1 "),
    "equals": (r"(?m)^(tempo|key|meter): ", r"\1 = "),
    "meter": (r"(?m)^(meter: \d+)/", r"\1-"),
    "key": (r"(?m)^(key: [A-G]) major", r"\1-Dur"),
    "players": (r"(?m)^(players: improvin)g", r"\1"),
    "title": (r"(?m)^title: (\w.*)", r"title: \1: a tune"),
}
"""For each slip what is found in a song, and what is written instead."""


def _slipped(text: str, pattern: str, by: str) -> tuple[str, int] | None:
    places = list(re.finditer(pattern, text))
    if not places:
        return None
    match = places[len(by) % len(places)]
    first = (match[2] or "") if match.re.groups > 1 else ""
    slip = match.expand(by.replace("{lower}", first.lower()).replace("{upper}", first.upper()))
    return text[: match.start()] + slip + text[match.end() :], text.count("\n", 0, match.start()) + 1


def test_a_slip_in_one_place_is_undone_and_nothing_else_is_changed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each slip is put into each song that has a place for it: mended, the song is what it was, to the letter."""
    slipped: dict[str, tuple[str, str, int]] = {}
    for name, (pattern, by) in INJECTED.items():
        for song in SONGS:
            text = song.read_text(encoding="utf-8")
            found = _slipped(text, pattern, by)
            if found is not None:
                slipped[f"{name} in {song.stem}"] = (text, *found)
    assert {name.partition(" in ")[0] for name in slipped} == set(INJECTED)
    told = checked({name: text for name, (_, text, _) in slipped.items()}, tmp_path, capsys)
    assert set(told) == set(slipped)
    for name, (text, wrong, line) in slipped.items():
        edits = [edit for mistake in told[name] for edit in mistake["edits"]]
        meant = mended(wrong, told[name])
        expected = (
            re.sub(r"(?m)^title: (.*)$", r'title: "\1: a tune"', text) if name.startswith("title") else text
        )
        assert meant == expected, (name, told[name])
        assert {(edit["line"], edit["end_line"]) for edit in edits} == {(line, line)}


# ---- files of other kinds


def _packed(**parts: str) -> bytes:
    stream = BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return stream.getvalue()


_DOCUMENT = "this is a word processor's document, not plain text"
OTHER_FILES: dict[str, tuple[bytes, str, str]] = {
    "document": (
        _packed(**{"[Content_Types].xml": "<Types/>", "word/document.xml": "<w/>"}),
        _DOCUMENT,
        "plain text",
    ),
    "open document": (
        _packed(mimetype="application/vnd.oasis.opendocument.text", **{"content.xml": "<office/>"}),
        _DOCUMENT,
        "plain text",
    ),
    "pages": (_packed(**{"Index/Document.iwa": "x", "preview.jpg": "x"}), _DOCUMENT, "plain text"),
    "old document": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), _DOCUMENT, "plain text"),
    "large document": (
        _packed(**{"[Content_Types].xml": "<Types/>", "word/media/image.png": "x" * 100_000}),
        _DOCUMENT,
        "plain text",
    ),
    "packed MusicXML": (
        _packed(**{"META-INF/container.xml": "<container/>", "score.xml": "<score-partwise/>"}),
        "this is a packed MusicXML file",
        "tercet import TUNE.mxl",
    ),
    "MIDI": (
        b"MThd\x00\x00\x00\x06\x00\x01\x00\x02\x01\xe0MTrk",
        "this is a MIDI file",
        "tercet import TUNE.mid",
    ),
    "PDF": (
        b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n",
        "this is a PDF, which holds printed pages, not text",
        "tercet new",
    ),
    "UTF-16": ("title: One\n".encode("utf-16"), "the file is saved as UTF-16", "save it as UTF-8"),
}


@pytest.mark.parametrize("kind", OTHER_FILES)
@pytest.mark.parametrize("name", ["song.yaml", "Kettle Song.docx"])
def test_files_of_other_kinds_are_told_by_what_they_hold(
    kind: str, name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data, message, mend = OTHER_FILES[kind]
    (tmp_path / name).write_bytes(data)
    assert main(["check", "--json", str(tmp_path / name)]) == 1
    (report,) = json.loads(capsys.readouterr().out)
    (mistake,) = report["mistakes"]
    assert mistake["message"] == message
    assert mend in mistake["mend"]
    assert mistake["edits"] == []
