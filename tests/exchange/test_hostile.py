"""Damaged and hostile files, made here: each refused with its message, quickly and within little memory."""

from __future__ import annotations

import io
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from tercet.exchange import TuneError, imported_text, read_tune
from tercet.exchange.outside import LARGEST_FILE_BYTES
from tests.exchange.midi.test_reader import REFUSED
from tests.exchange.musicxml.scores import CONTAINER, DOCTYPE, HEAD, note, packed, score, start
from tests.yardstick import at_most

GOOD = score(start() + note("C4", 4))
MOST_YARDSTICKS = 40
LARGEST_KB = 300_000


def with_doctype(inside: str, body: str = "") -> bytes:
    return f"{HEAD}<!DOCTYPE score-partwise [{inside}]><score-partwise>{body}</score-partwise>".encode()


def laughs() -> bytes:
    levels = "".join(f'<!ENTITY a{level} "{f"&a{level - 1};" * 10}">' for level in range(1, 10))
    return with_doctype(f'<!ENTITY a0 "ha">{levels}', "&a9;")


def bomb() -> bytes:
    """Return 300 MB of a comment, packed into 300 kB."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("META-INF/container.xml", CONTAINER.format(path="score.xml"))
        with archive.open("score.xml", "w") as member:
            member.write(b"<!--")
            for _ in range(300):
                member.write(b" " * 2**20)
    return buffer.getvalue()


def without_score() -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("word/document.xml", "<document/>")
        archive.writestr("notes.txt", GOOD)
    return buffer.getvalue()


def otherwise_packed(method: int, named: str = "score.xml", size: int = 0) -> bytes:
    """Return an archive whose score is packed otherwise than by deflating, with so many MB of a comment in it."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        if named:
            archive.writestr("META-INF/container.xml", CONTAINER.format(path=named))
        archive.writestr("score.xml", GOOD + b"<!--" + bytes(size * 2**20) + b"-->", method)
    return buffer.getvalue()


def container_packed_otherwise() -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("META-INF/container.xml", CONTAINER.format(path="score.xml"), zipfile.ZIP_LZMA)
        archive.writestr("score.xml", GOOD)
    return buffer.getvalue()


def with_password() -> bytes:
    data = bytearray(packed({"score.xml": GOOD}))
    for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = data.rindex(mark)
        data[at + offset] |= 1
    return bytes(data)


def many_members() -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for number in range(2000):
            archive.writestr(f"{number}.xml", "")
    return buffer.getvalue()


def broken_member() -> bytes:
    data = bytearray(packed({"score.xml": GOOD}))
    at = data.index(b"score.xml") + 12
    data[at : at + 20] = bytes(20)
    return bytes(data)


def nameless_container() -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("META-INF/container.xml", "<container/>")
    return buffer.getvalue()


def entity_in_container() -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        entity = '<!DOCTYPE container [<!ENTITY x SYSTEM "file:///etc/passwd">]>'
        archive.writestr("META-INF/container.xml", entity + CONTAINER.format(path="&x;"))
    return buffer.getvalue()


HOSTILE: dict[str, tuple[Callable[[], bytes], str]] = {
    "empty": (lambda: b"", "is empty"),
    "nothing-but-zeros": (lambda: bytes(1000), "is empty"),
    "text": (lambda: b"just words", "isn't a kind of file that can be imported"),
    "pdf": (lambda: b"%PDF-1.7 ...", "is a PDF"),
    "picture": (lambda: b"\x89PNG\r\n\x1a\n", "is a picture"),
    "recording": (lambda: b"fLaC....", "is a recording"),
    "gzip": (lambda: b"\x1f\x8b\x08\x00", "gzip file: unpack it"),
    "other-xml": (lambda: b"<html><body/></html>", "not MusicXML .its first tag is <html>"),
    "no-parts": (lambda: b"<score-partwise/>", "has no measures"),
    "cut-off": (lambda: GOOD[: len(GOOD) // 2], "isn't well-formed XML"),
    "stray-ampersand": (lambda: GOOD.replace(b"Test", b"Test & co"), "isn't well-formed XML"),
    "wrong-encoding": (lambda: GOOD.replace(b'"UTF-8"', b'"no-such-code"'), "XML"),
    "entity-bomb": (laughs, "declares XML entities"),
    "one-entity": (lambda: with_doctype('<!ENTITY x "y">', "&x;"), "declares XML entities"),
    "external-entity": (
        lambda: with_doctype(
            '<!ENTITY x SYSTEM "file:///etc/passwd">', "<work><work-title>&x;</work-title></work>"
        ),
        "declares XML entities",
    ),
    "parameter-entity": (
        lambda: with_doctype('<!ENTITY % x SYSTEM "http://127.0.0.1:9/x.dtd"> %x;'),
        "declares XML entities",
    ),
    "too-large": (
        lambda: HEAD.encode() + b"<!--" + b"x" * LARGEST_FILE_BYTES + b"-->",
        "is larger than 8 MB",
    ),
    "many-tags": (lambda: b"<score-partwise>" + b"<a/>" * 1_000_000, "more than 400000 tags"),
    "many-attributes": (
        lambda: b"<score-partwise " + b" ".join(b"a%d=''" % n for n in range(500_000)) + b"/>",
        "more than 400000 tags",
    ),
    "deeply-nested": (lambda: b"<score-partwise>" + b"<a>" * 100_000, "isn't well-formed XML"),
    "zip-bomb": (bomb, "larger than 8 MB once unpacked"),
    "zip-cut-off": (lambda: packed({"score.xml": GOOD})[:60], "damaged zip"),
    "zip-broken-inside": (broken_member, "damaged zip"),
    "zip-without-score": (
        without_score,
        "the archive has no META-INF/container.xml.*nothing in it is MusicXML",
    ),
    "zip-bzip2": (lambda: otherwise_packed(zipfile.ZIP_BZIP2, size=300), "members are stored or deflated"),
    "zip-lzma": (lambda: otherwise_packed(zipfile.ZIP_LZMA, size=50), "members are stored or deflated"),
    "zip-bzip2-unnamed": (lambda: otherwise_packed(zipfile.ZIP_BZIP2, ""), "members are stored or deflated"),
    "zip-lzma-container": (container_packed_otherwise, "members are stored or deflated"),
    "zip-password": (with_password, "without a password"),
    "zip-many-members": (many_members, "more than 1000 files"),
    "zip-nameless": (nameless_container, "names no score"),
    "zip-names-what-is-not-there": (
        lambda: packed({"other.txt": GOOD}),
        "names a score that isn't there, and nothing in it is MusicXML",
    ),
    "zip-climbs-out": (lambda: packed({"score.xml": GOOD}, "../../etc/passwd"), "outside itself"),
    "zip-absolute": (lambda: packed({"score.xml": GOOD}, "/etc/passwd"), "outside itself"),
    "zip-drive": (lambda: packed({"score.xml": GOOD}, "C:\\secret.xml"), "outside itself"),
    "zip-entity-in-container": (entity_in_container, "declares XML entities"),
    "divisions-0": (lambda: score(start(0) + note("C4", 4)), "measure 1: divisions must be more than 0"),
    "divisions-words": (lambda: score(start("many") + note("C4", 4)), "divisions must be a number"),
    "negative-duration": (lambda: score(start() + note("C4", -4)), "duration of -4 quarters"),
    "huge-duration": (lambda: score(start() + note("C4", 268_435_455)), "duration of 2.68435e.08 quarters"),
    "huge-number": (lambda: score(start() + note("C4", "9" * 5000)), "a duration must be a number"),
    "infinite-duration": (lambda: score(start() + note("C4", "1e999")), "a duration must be a number"),
    "long-measure": (lambda: score(start() + note("C4", 60) * 20), "it is 1200 quarters long"),
    "huge-meter": (
        lambda: score(start(1, 0, 10**9) + note("C4", 4)),
        "beats must be a whole number from 1 to 64",
    ),
    "meter-over-0": (lambda: score(start(1, 0, 4, 0) + note("C4", 4)), "beat-type must be a whole number"),
    "odd-octave": (
        lambda: score(start() + note("C4", 4).replace("<octave>4", "<octave>77")),
        "an octave must be",
    ),
    "no-step": (
        lambda: score(start() + note("C4", 4).replace("<step>C", "<step>H")),
        "letter must be A to G",
    ),
    "no-pitch": (lambda: score(start() + note("r", 4)), "no notes with a pitch"),
    "repeats-without-end": (
        lambda: score(
            start() + note("C4", 4),
            *[note("C4", 4) + '<barline><repeat direction="backward" times="99"/></barline>'] * 30,
        ),
        "more than 2000 bars",
    ),
    "full-bar": (lambda: score(start(20) + note("C4", 1) * 80), "more than 64 notes"),
}


ABC_HEAD = "X:1\nT:x\nM:4/4\nL:1/4\nK:C\n"
HOSTILE_ABC: dict[str, tuple[str, str]] = {
    "abc-without-music": ("X:1\nT:x\n", "holds no ABC tune"),
    "abc-many-bars": (ABC_HEAD + "|:C" * 1 + ":" * 100_000 + "|", "more than 2000 bars"),
    "abc-one-long-bar": (ABC_HEAD + "C9999" * 1000, "makes no sense"),
    "abc-many-notes": (ABC_HEAD + "C/" * 100_000, "a bar line is missing"),
    "abc-many-chords": (ABC_HEAD + '"C"' * 100_000, "no notes in this tune"),
    "abc-many-voices": (ABC_HEAD + "".join(f"V:{n}\n" for n in range(50_000)), "more than 100 voices"),
    "abc-many-parts": (f"X:1\nP:{'(' * 90}A{')9' * 90}\nK:C\nP:A\nC|", "plays more than 500 parts"),
    "abc-many-tunes": ("X:1\nK:C\nC|\n" * 20_000, "holds 20000 tunes"),
    "abc-six-megabytes": (ABC_HEAD + "C|" * 3_000_000, "more than 400 000 characters"),
    "abc-short-bars": (ABC_HEAD + "C|" * 100_000, "more than 4000 bars"),
    "abc-short-notes": (ABC_HEAD + "C/16" * 60 * 1_500, "a bar line is missing|more than 30000 notes"),
    "abc-full-bars": (ABC_HEAD + ("C/8" * 32 + "|") * 3_000, "more than 30000 notes"),
    "abc-empty-lines": (ABC_HEAD + "\n" * 7_000_000, "more than 400 000 characters"),
    "abc-tunes-without-number": ("T:x\nK:C\nC|\n\n" * 300_000, "more than 40000 tunes"),
    "abc-digits": (ABC_HEAD + "C" + "9" * 100_000 + "|", "makes no sense"),
}
"""Texts, and what is said of them."""

HOSTILE_CHORDPRO: dict[str, tuple[str, str]] = {
    "no-bars": ("{t: x}\n[C]la [G]la\n", "line 2 of .*nothing says how many bars each chord lasts"),
    "no-chords": ("{t: x}\n\nla la\n", "line 1 of .*there are no chords in this song"),
    "no-song": ("{ns}\n{ns}\n", "has no song in it"),
    "tab-only": ("{t: x}\n{sot}\nA|--0--|\n{eot}\n", "there are no chords"),
    "many-lines": ("{t: x}\n" + "[|][C]la\n" * 30_000, "30002 lines"),
    "long-line": ("{t: x}\n" + "[C]la" * 1_000_000, "line 2 of .*more than 4000 signs"),
    "goes-on": ("{t: x}\n" + "la\\\n" * 19_000, "line 2 of .*more than 4000 signs"),
    "many-bars": ("{t: x}\n" + ("[|][C]la" * 100 + "\n") * 30, "more than 2000 bars"),
    "many-choruses": (
        "{t: x}\n{soc}\n" + ("[|][C]" * 100 + "\n") * 10 + "{eoc}\n" + "{chorus}\n" * 9_000,
        "more than 2000 bars",
    ),
    "full-bar": ("{t: x}\n[|][C]" + "la " * 70, "line 2 of .*one bar holds 70, be they words or chords"),
    "many-chords": ("{t: x}\n[|]" + "[C]" * 70, "line 2 of .*one bar holds 70, be they words or chords"),
    "repeats-without-end": ("{t: x}\n{sog}\n" + "| C :|\n" * 3_000 + "{eog}\n", "more than 2000 bars"),
    "cells": ("{t: x}\n{sog}\n| " + "C~D~E~F~G " * 60 + "|\n{eog}\n", "there are no chords"),
}
"""Words with chords, and what is said of them."""


def imported(path: Path) -> str:
    return imported_text(read_tune(path), path.name)[0]


@pytest.mark.parametrize("name", HOSTILE)
def test_is_refused_with_its_message_and_quickly(name: str, tmp_path: Path) -> None:
    make, message = HOSTILE[name]
    path = tmp_path / "tune.musicxml"
    path.write_bytes(make())
    with at_most(MOST_YARDSTICKS), pytest.raises(TuneError, match=message):
        imported(path)


@pytest.mark.parametrize("name", HOSTILE_ABC)
def test_hostile_abc_is_refused_with_its_message_and_quickly(name: str, tmp_path: Path) -> None:
    text, message = HOSTILE_ABC[name]
    path = tmp_path / "tune.abc"
    path.write_text(text, encoding="utf-8")
    with at_most(MOST_YARDSTICKS), pytest.raises(TuneError, match=message):
        imported(path)


@pytest.mark.parametrize("name", HOSTILE_CHORDPRO)
def test_hostile_chordpro_is_refused_with_its_message_and_quickly(name: str, tmp_path: Path) -> None:
    text, message = HOSTILE_CHORDPRO[name]
    path = tmp_path / "tune.cho"
    path.write_text(text, encoding="utf-8")
    with at_most(MOST_YARDSTICKS), pytest.raises(TuneError, match=message):
        imported(path)


def test_there_are_more_than_thirty_of_them() -> None:
    assert len(HOSTILE) + len(HOSTILE_ABC) + len(REFUSED) >= 60


def test_all_of_them_take_little_memory(tmp_path: Path) -> None:
    paths = []
    for name, (make, _) in HOSTILE.items():
        paths.append(tmp_path / f"{name}.musicxml")
        paths[-1].write_bytes(make())
    for name, (data, _) in REFUSED.items():
        paths.append(tmp_path / f"{name}.mid")
        paths[-1].write_bytes(data)
    for name, text in HOSTILE_ABC.items():
        paths.append(tmp_path / f"{name}.abc")
        paths[-1].write_text(text[0], encoding="utf-8")
    for name, text in HOSTILE_CHORDPRO.items():
        paths.append(tmp_path / f"{name}.cho")
        paths[-1].write_text(text[0], encoding="utf-8")
    program = (
        "import pathlib, re, sys\n"
        "from tercet.cli import main\n"
        "codes = {main(['import', path, '-o', path + '.yaml']) for path in sys.argv[1:]}\n"
        "status = pathlib.Path('/proc/self/status').read_text()\n"
        "print(sorted(codes), re.search(r'VmHWM:\\s+(\\d+)', status)[1])\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program, *map(str, paths)],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    codes, _, peak_kb = ran.stdout.strip().rpartition(" ")
    assert codes == "[1]"
    assert "Traceback" not in ran.stderr
    assert int(peak_kb) < LARGEST_KB
    assert list(tmp_path.glob("*.yaml")) == []


def test_a_plain_doctype_is_fine_and_reaches_for_nothing(tmp_path: Path) -> None:
    path = tmp_path / "tune.xml"
    path.write_bytes(score(start() + note("C4", 4), doctype=DOCTYPE))
    assert "melody" in imported(path)


def test_texts_from_outside_stay_texts(tmp_path: Path) -> None:
    nasty = "x&#10;sound: /etc/passwd&#10;# {{*}} \u2028&#x202e;"
    path = tmp_path / "tune.xml"
    field = '<miscellaneous><miscellaneous-field name="tercet:sound">/etc/passwd</miscellaneous-field>'
    field += (
        '<miscellaneous-field name="tercet:players">free&#10;sound: x</miscellaneous-field></miscellaneous>'
    )
    path.write_bytes(score(start() + note("C4", 4), title=nasty, identification=field))
    text, song, _ = imported_text(read_tune(path), "bad\nname: x")
    assert song.title == "x sound: /etc/passwd # {{*}}"
    assert song.sound is None
    assert song.players == "improving"
    assert text.startswith("# Imported from bad name: x.")


def test_settings_that_make_no_sense_are_left_out(tmp_path: Path) -> None:
    field = (
        '<miscellaneous><miscellaneous-field name="tercet:players">wizards</miscellaneous-field>'
        '<miscellaneous-field name="tercet:feel">loose</miscellaneous-field>'
        '<miscellaneous-field name="tercet:style">{chorus: plain}</miscellaneous-field></miscellaneous>'
    )
    path = tmp_path / "tune.xml"
    path.write_bytes(score(start() + note("C4", 4), identification=field))
    _, song, remarks = imported_text(read_tune(path), "tune.xml")
    assert (song.players, song.style, song.feel) == ("improving", "rolls", "loose")
    assert "`players` and `style` in the file don't fit this song and are left out" in remarks


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(TuneError, match="there is no file"):
        read_tune(tmp_path / "nothing.xml")
    with pytest.raises(TuneError, match="is a folder"):
        read_tune(tmp_path)
