r"""Damaged songs without end: whatever a file holds, it is read and made into everything, or said what is wrong.

Slips are made in our own songs, as bytes and as what YAML and the rows are made of: characters put in, lines moved,
values changed for wild ones, aliases, tags, merge keys, nests, escapes, other encodings. `tools/fuzz.py`
(``make fuzz``) goes on until its time is over; `tests/song/test_fuzz.py` takes some in every run.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from hypothesis import strategies as st

from tercet.errors import RequestError, SongError
from tercet.song import parse_song, played_bars, read_song, write_song
from tercet.song.class_file import CLASS_FILE_NAME, read_class
from tests.song.made import made
from tests.unprintable import HARMFUL, harmful_in, yaml_escape
from tests.yardstick import at_most

__all__ = ["KINDS", "SONGS", "Kind", "outcome"]

MOST_YARDSTICKS = 400
"""For one song, traced; most take two."""

MOST_BARS = 60
"""Longer pieces are read, not played: the time goes with their length."""

ROOT = Path(__file__).resolve().parents[2]
SONGS = sorted((ROOT / "songs").glob("*.yaml")) + sorted((ROOT / "tests/song/examples").glob("*.yaml"))
TRACKS = """\
tracks:
  low-strings-yours: {yours: strings 3-4, purpose: Play the low ones.}
  climb:
    way: ladder
    bars: 1-2
    speed: 60% 80% 100%
  swap-us:
    way: turns
    by: bar
    swap: yes
"""
CLASS = f"""\
# What the class shares
name: Tuesday, the “quick” ones
tunings: [high-g, low-g, [A4, D4, F#4, B4]]
players: beginner, improving
speeds: 60% 80% 1
formats: [mp3, wav]
{TRACKS}"""

SMALL_SONG = f"""\
title: 'Three: gates'
composer: "Tercet \\u00e9xample"
key: F# minor
meter: 6/8
tempo: 66.5
instrument: 402.5
tuning: [A4, D4, F#4, B4]
players: free
dynamics: {{melody: ff, between: mp, strums: ppp}}
strum: d . u d x U
between: fill
style: {{open: ringing, verse@2: broken, open@last: plain}}
swing: 3/5
front: 10.5
feel: loose
count-in: 2
form: [open, verse*2, open]
{TRACKS}sections:
  open: |
    chords   F#m         | D:3 E:3
    melody   C#5:2 A4 F#:3 | .:1 s1f3:2 A4:3
    chords 2 Bm[2222]    | E7sus4/B

    chords   N.C.        | A/C#
    melody   C#5:6      | =:3 .:3
  verse: |
    chords        F#m     | C#m7b5:3 F#7:3
    melody    E4  | F#:3[321] A:3 | B:3[alone] A:1/2 B:1/2 C#5 .
    melody 2      | F#4:6 |
    between       | .:3 C#4 . E | .:6
    words     la  | gate-way | sings _ _ oh
    words last oh | ten bars are all
    marks         mf@1 louder@3 | ff@1 strums:pp@4 rit@5 ,@5
    strum         d . . u . . | D . u d u x
"""

_WILD_WORDS = r"""
| : - > # [ ] { } , & * ! % @ ` ' " \ / ? ~ = _ . ( ) < … ½ ♯ ♭ é ß 海 שיר 𝄞 0 -1 1e9 1e-9 0x7f 1/0 1/512 999999999999
0.0000001 nan inf null yes no '' "" [] {} *a &a !!int << *a !!binary !!python/object:os.system %YAML --- ... |2 >- |+ --
1:2:3 2001-01-01 0o17 1_000 C-1 G9 B##4 Fbb4 s4f15 s1f99 H4 C4:0 C4:1/3 C4:99 .:1/7 .:0 =:1/3 =:0 = C4~ r:2 [4321]
Am[20.0.0.0] Am[15.0.0.15] N.C. Cmaj13#11/Bb C5 Gdim7 ppp fff mf@1 louder@2 softer@1 <@2 >@1 rit@1
[roll] [alone] a-tempo@2 fermata@1 accent@1 ,@1
strums:pp@1 d u D U x dudu verse*99 verse@2 last 1-99 E1 A5 250 700 20 400 16/32 1/1
"""
WILD = [
    *_WILD_WORDS.split(),
    *(
        "\x85",
        "\u2028",
        "\ufeff",
        "\u200f",
        "\xa0",
        "\n",
        "\n\n",
        "\t",
        "    ",
        "\r",
        "\r\n",
        " #",
        ": ",
        "x" * 300,
    ),
    *(
        "melody ",
        "words ",
        "    chords C\n",
        "form: ",
        "a: &a [*a, *a]\n",
        "<<: {tempo: 90}\n",
        "---\n",
        "...\n",
    ),
    *("[" * 40, "{" * 40, "- " * 30, "? " * 30),
    *(yaml_escape(sign) for sign in HARMFUL.values()),
    *(sign for sign in HARMFUL.values() if not "\ud800" <= sign <= "\udfff"),
]
"""What means something to a reader, put where it makes no sense."""

VALUES = {
    "tempo": "20 400 19.999 66.5 277/3 1/3 -5 1e2",
    "meter": "1/1 16/32 1/32 16/1 5/4 7/8 12/16 2/2 0/4 4/3 3/2 9/8",
    "key": "Cb-major A#-minor H-dur F#-minor C#-major G#-major Ab-minor",
    "instrument": "250 700 soprano baritone tenor 249.9 346.5mm",
    "tuning": "low-g baritone E1,E1,E1,E1 A5,A5,A5,A5 A5,E1,A5,E1 G9,C9,E9,D9 E1,F2,G3,A5 B3,B3,B3,B3",
    "players": "beginner improving free expert",
    "swing": "1/2 3/4 0.75 5/7 1 0",
    "front": "0 24 23.99 -1 1/3",
    "count-in": "0 8 9 1.5",
    "feel": "steady loose wild",
    "between": "fill as-written",
    "style": "rolls ringing broken plain {verse:plain} {verse@2:broken,verse@last:rolls} {x@9:ringing}",
    "strum": "d U x . dudu DUx. .... xxxxxx d.d.d.d.d.d.",
    "form": "verse verse*99 [verse] open chorus last",
    "dynamics": "{melody:ppp,between:fff,strums:fff} {melody:fff,strums:ppp} f",
}
"""For each setting values at the edges of what is allowed, and beyond."""


MUSIC = {
    "melody": "C0 C-1 G9 B8 F#4 Bb3 E1 C7 A5 D##4 Fbb5 s1f15 s4f0 s3f12 . =",
    "between": "C0 G9 A4 D4 s2f15 . =",
    "chords": "N.C. C Cm7b5 Ebmaj9 F#dim7/C G13 Bb6/9 Absus4 E+ D/F#",
    "words": 'la _ sha-la- <b>&amp; 海 שיר 1 # - | "oh" \'tis',
    "marks": "ppp@1 fff@2 louder@1 softer@2 ,@1 rit@1 a-tempo@1 fermata@1 accent@1 strums:fff@1 mf@1.5",
    "strum": "d u D U x . dudu",
}
"""For each row what can stand in it, at the edges of what a song may hold."""


def _settings_line(name: str, value: str) -> str:
    for sign in (",", ":"):
        value = value.replace(sign, f"{sign} ")
    plain = value.replace("-dur", " dur").replace("-m", " m") if name == "key" else value
    notes = re.fullmatch(r"(\w+#?\d, ){3}\w+#?\d", plain)
    return f"{name}: {f'[{plain}]' if notes else plain}"


@st.composite
def _with_setting(draw: st.DrawFn, text: str) -> str:
    """Another value for a setting, in its place or on top."""
    name = draw(st.sampled_from(sorted(VALUES)))
    line = _settings_line(name, draw(st.sampled_from(VALUES[name].split())))
    if draw(st.booleans()) or not re.search(rf"^{name}:", text, re.MULTILINE):
        return f"{line}\n{text}" if draw(st.booleans()) else text
    return re.sub(rf"^{name}:.*$", lambda _: line, text, count=1, flags=re.MULTILINE)


@st.composite
def _with_line_moved(draw: st.DrawFn, text: str) -> str:
    """A line left out, doubled, moved, indented, or joined with the next."""
    lines = text.split("\n")
    at, to = draw(st.integers(0, len(lines) - 1)), draw(st.integers(0, len(lines) - 1))
    way = draw(st.sampled_from(("out", "double", "move", "in", "join", "comment", "cut")))
    line = lines[at]
    if way in ("out", "move"):
        del lines[at]
    if way in ("double", "move"):
        lines.insert(to, line)
    if way == "in":
        lines[at] = draw(st.sampled_from((" ", "  ", "\t", "    "))) + line
    if way == "join" and at + 1 < len(lines):
        lines[at : at + 2] = [line + lines[at + 1]]
    if way == "comment":
        lines[at] = f"{line} # {draw(st.sampled_from(WILD))}"
    if way == "cut":
        del lines[to:]
    return "\n".join(lines)


@st.composite
def _with_word_changed(draw: st.DrawFn, text: str) -> str:
    """A word of the file changed for a wild one, doubled, or left out."""
    words = list(re.finditer(r"[^\s|]+", text))
    if not words:
        return text
    word = draw(st.sampled_from(words))
    new = draw(st.sampled_from((*WILD, "", f"{word[0]} {word[0]}", word[0] * 3, word[0][::-1])))
    return text[: word.start()] + new + text[word.end() :]


@st.composite
def _with_music_changed(draw: st.DrawFn, text: str) -> str:
    """Another note, chord, mark, syllable or strum where one stands: most of this can be played."""
    kind = draw(st.sampled_from(sorted(MUSIC)))
    rows = list(re.finditer(rf"^ +{kind}(?: \d| last)? +(.+)$", text, re.MULTILINE))
    if not rows:
        return text
    row = draw(st.sampled_from(rows))
    words = list(re.finditer(r"[^\s|:~\[\]]+(?![^\[]*\])", row[1]))
    if not words:
        return text
    word = draw(st.sampled_from(words))
    start = row.start(1) + word.start()
    new = draw(st.sampled_from(MUSIC[kind].split()))
    return text[:start] + new + text[start + len(word[0]) :]


@st.composite
def _with_number_changed(draw: st.DrawFn, text: str) -> str:
    numbers = list(re.finditer(r"\d+", text))
    if not numbers:
        return text
    number = draw(st.sampled_from(numbers))
    new = draw(
        st.sampled_from(("0", "1", "2", "3", "7", "15", "16", "64", "997", "-1", "1/3", "1.5", "9" * 30))
    )
    return text[: number.start()] + new + text[number.end() :]


@st.composite
def _with_signs_put_in(draw: st.DrawFn, text: str) -> str:
    low = draw(st.integers(0, len(text)))
    high = min(low + draw(st.sampled_from((0, 0, 0, 1, 2, 20, 200))), len(text))
    put = draw(st.sampled_from(WILD) | st.text(st.characters(codec="utf-8"), max_size=4))
    return text[:low] + put + text[high:]


@st.composite
def _in_quotes(draw: st.DrawFn, text: str) -> str:
    """A value between double quotes, with an escape in it."""
    values = list(re.finditer(r"(?<=: )[^\n|>]+$", text, re.MULTILINE))
    if not values:
        return text
    value = draw(st.sampled_from(values))
    plain = re.sub(r"[\"\\]", "", value[0])
    escape = draw(st.sampled_from([*map(yaml_escape, HARMFUL.values()), "\\n", "\\t", "\\x41", "\\q", "\\"]))
    at = draw(st.integers(0, len(plain)))
    return f'{text[: value.start()]}"{plain[:at]}{escape}{plain[at:]}"{text[value.end() :]}'


_PLAYABLE = (_with_setting, _with_music_changed)
"""Slips after which most songs can still be played, so that all that is made of them is tried too."""

_WILD_SLIPS = (_with_line_moved, _with_word_changed, _with_number_changed, _with_signs_put_in, _in_quotes)
_ENCODINGS = ("utf-8", "utf-8", "utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-32", "latin-1")


@st.composite
def _damaged(draw: st.DrawFn, whole: st.SearchStrategy[str]) -> bytes:
    """Text of files with none to six slips, perhaps in another encoding or with bytes changed."""
    text = draw(whole)
    wild = draw(st.booleans())
    slips = _PLAYABLE + _WILD_SLIPS if wild else _PLAYABLE
    for _ in range(draw(st.sampled_from((0, 1, 2, 3, 6)))):
        text = draw(draw(st.sampled_from(slips))(text))
    if not wild:
        return text.encode()
    data = text.encode(draw(st.sampled_from(_ENCODINGS)), "replace")
    if draw(st.integers(0, 7)) == 0:
        at = draw(st.integers(0, len(data)))
        data = data[:at] + draw(st.binary(min_size=1, max_size=3)) + data[at:]
    return data


damaged_song = _damaged(st.sampled_from([SMALL_SONG, *(path.read_text(encoding="utf-8") for path in SONGS)]))
damaged_class = _damaged(st.just(CLASS))


def _song(path: Path) -> None:
    song = read_song(path)
    again = parse_song(write_song(song))
    assert (again.sections, again.form, again.tracks) == (song.sections, song.form, song.tracks)
    if len(played_bars(song)) <= MOST_BARS:
        made(song)


def _class(path: Path) -> None:
    read_class(path)


class Kind(NamedTuple):
    """A kind of file: damaged ones, a whole one, its name, and all that is done with it."""

    damaged: st.SearchStrategy[bytes]
    whole: bytes
    name: str
    use: Callable[[Path], None]


KINDS = {
    "song": Kind(damaged_song, SMALL_SONG.encode(), "song.yaml", _song),
    "class": Kind(damaged_class, CLASS.encode(), CLASS_FILE_NAME, _class),
}


def outcome(kind: str, data: bytes) -> str:
    """Return ``"read"``, or ``"refused"``; anything else that happens is a fault of ours."""
    with at_most(MOST_YARDSTICKS), tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / KINDS[kind].name
        path.write_bytes(data)
        try:
            KINDS[kind].use(path)
        except RequestError as error:
            _check_said(error)
            return "refused"
    return "read"


def _check_said(error: RequestError) -> None:
    """Check that what is said is there, can be printed, and points into the file."""
    told = str(error)
    assert told.strip()
    assert harmful_in(told) == []
    if isinstance(error, SongError):
        for mistake in error.mistakes:
            assert mistake.message
            assert mistake.line >= 0
            assert mistake.column <= len(mistake.text) + 1 or mistake.text[-1:] in ("", "…")
