"""Small MusicXML scores, written by the tests."""

from __future__ import annotations

import io
import zipfile

HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">\n'
)
CONTAINER = (
    '<container><rootfiles><rootfile full-path="{path}" media-type="application/vnd.recordare.musicxml+xml"/>'
    "</rootfiles></container>"
)
START = (
    "<attributes><divisions>{divisions}</divisions><key><fifths>{fifths}</fifths><mode>major</mode></key>"
    "<time><beats>{upper}</beats><beat-type>{lower}</beat-type></time></attributes>"
)


def start(divisions: object = 1, fifths: int = 0, upper: object = 4, lower: object = 4) -> str:
    """Return the attributes of a first measure."""
    return START.format(divisions=divisions, fifths=fifths, upper=upper, lower=lower)


def note(name: str, duration: object, inside: str = "", tail: str = "") -> str:
    """Return a note such as ``C4``, ``F#4`` or ``r``; `inside` follows the duration, `tail` comes last."""
    if name == "r":
        pitch = "<rest/>"
    else:
        alter = {"#": "<alter>1</alter>", "b": "<alter>-1</alter>"}.get(name[1], "")
        pitch = f"<pitch><step>{name[0]}</step>{alter}<octave>{name[-1]}</octave></pitch>"
    return f"<note>{pitch}<duration>{duration}</duration>{inside}<voice>1</voice>{tail}</note>"


def sung(name: str, duration: object, text: str, syllabic: str = "single", verse: int = 1) -> str:
    """Return a note with one syllable."""
    lyric = f'<lyric number="{verse}"><syllabic>{syllabic}</syllabic><text>{text}</text></lyric>'
    return note(name, duration, tail=lyric)


def harmony(root: str, kind: str, inside: str = "", text: str = "") -> str:
    """Return a chord symbol; `inside` follows the kind."""
    alter = {"#": "<root-alter>1</root-alter>", "b": "<root-alter>-1</root-alter>"}.get(root[1:], "")
    printed = f' text="{text}"' if text else ""
    tone = f"<root><root-step>{root[0]}</root-step>{alter}</root>"
    return f"<harmony>{tone}<kind{printed}>{kind}</kind>{inside}</harmony>"


def direction(inside: str, tail: str = "") -> str:
    """Return a direction."""
    return f"<direction><direction-type>{inside}</direction-type>{tail}</direction>"


def score(*measures: str, doctype: str = "", identification: str = "", title: str = "Test Tune") -> bytes:
    """Return a partwise score of one part."""
    body = "".join(
        f'<measure number="{number}">{inside}</measure>' for number, inside in enumerate(measures, 1)
    )
    return (
        f"{HEAD}{doctype}<score-partwise version='4.0'><work><work-title>{title}</work-title></work>"
        f"<identification>{identification}</identification><part-list><score-part id='P1'><part-name>Voice</part-name>"
        f"</score-part></part-list><part id='P1'>{body}</part></score-partwise>"
    ).encode()


def packed(files: dict[str, bytes], path: str = "score.xml") -> bytes:
    """Return a compressed MusicXML file of these files, its container naming `path`."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("META-INF/container.xml", CONTAINER.format(path=path))
        for name, data in files.items():
            archive.writestr(name, data)
    return buffer.getvalue()
