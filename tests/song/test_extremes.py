"""Every value that the reader accepts can be arranged, printed, exported and performed, however far out it lies."""

from __future__ import annotations

import itertools
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tercet.errors import RequestError
from tercet.song import Song, drop_pins, parse_song, transpose_song, write_song
from tercet.song.settings import PLAYERS
from tercet.theory import DYNAMIC_MARKS, STRUM_SIGNS
from tercet.theory import TUNINGS as TUNINGS_BY_NAME
from tests.song.made import DRAWN, MAKERS, WRITTEN, made
from tests.unprintable import harmful_in

TUNINGS = (
    "high-g", "low-g", "baritone", "[E1, E1, E1, E1]", "[A5, A5, A5, A5]", "[A5, E1, A5, E1]", "[E1, F2, G3, A5]",
    "[A5, G4, F2, E1]", "[B3, C4, C#4, D4]", "[Fb1, Bbb5, E##3, C4]",
)  # fmt: skip
METERS = [(upper, lower) for upper in range(1, 17) for lower in (1, 2, 4, 8, 16, 32)]
KEYS = ("C major", "Cb major", "C# major", "Ab minor", "A# minor", "F# minor")
CHORDS = ("C", "F#m7b5", "Bb13", "Ebmaj9/Db", "N.C.", "Gsus4", "Bdim7", "E+", "C5", "C[0003]", "A[2.15.0.0]")
NOTES = ("C-1", "C0", "E1", "B2", "C4", "F##4", "Abb4", "A5", "C7", "G9", "s1f0", "s4f15", "s2f12", ".")
PINS = ("", "", "[roll]", "[alone]", "[4321]", "[1]", "[32]")
MARKS = (*DYNAMIC_MARKS, "rit", "a-tempo", "fermata", "accent", ",", "strums:fff", "between:ppp")
WORDS = ("la", "sha-", "_", "海", "שיר", "<&>", "don't")


def _lengths(draw: st.DrawFn, upper: int) -> list[Fraction]:
    """Cut a bar into one to six lengths, whole beats, or parts of one as small as any."""
    grid = draw(st.sampled_from((1, 1, 2, 3, 4, 5, 7, 64, 512)))
    cuts = draw(st.sets(st.integers(1, upper * grid - 1), max_size=5)) if upper * grid > 1 else set()
    edges = [0, *sorted(cuts), upper * grid]
    return [Fraction(high - low, grid) for low, high in itertools.pairwise(edges)]


def _row(name: str, bars: list[str]) -> str:
    return f"    {name}  {' | '.join(bars)}\n"


@st.composite
def extreme_songs(draw: st.DrawFn) -> str:
    """Text of songs of which every setting lies at an edge of what is allowed, or inside."""
    upper, lower = draw(st.sampled_from(METERS))
    bars = range(draw(st.integers(1, 3)))
    melody = [
        [_note(draw, draw(st.sampled_from(NOTES)), length) for length in _lengths(draw, upper)] for _ in bars
    ]
    rows = [
        _row("chords", [draw(st.sampled_from(CHORDS)) for _ in bars]),
        _row("melody", [" ".join(bar) for bar in melody]),
    ]
    words = [" ".join(_syllables(draw, bar)) for bar in melody]
    if any(words) and draw(st.booleans()):
        rows.append(_row("words", words))
    if draw(st.booleans()):
        rows.append(_row("between", [f"{draw(st.sampled_from(NOTES))}:{upper}" for _ in bars]))
    if draw(st.booleans()):
        marks = [f"{draw(st.sampled_from(MARKS))}@{draw(st.integers(1, upper))}" for _ in bars]
        rows.append(_row("marks", marks))
    slots = draw(st.sampled_from((1, 2, 3, 4))) * upper
    front, behind = draw(st.sampled_from((("ppp", "fff"), ("fff", "ppp"), ("mf", "mf"))))
    settings_drawn = {
        "title": repr(draw(st.sampled_from(("x", "y" * 200, "\u200fשיר", "<b>&amp;")))),
        "key": draw(st.sampled_from(KEYS)),
        "meter": f"{upper}/{lower}",
        "tempo": draw(st.sampled_from(("20", "400", "66.6", "277/3"))),
        "instrument": draw(st.sampled_from(("250", "700", "soprano", "baritone"))),
        "tuning": draw(st.sampled_from(TUNINGS)),
        "players": draw(st.sampled_from(PLAYERS)),
        "dynamics": f"{{melody: {front}, between: {behind}, strums: {behind}}}",
        "strum": " ".join(draw(st.sampled_from(list(STRUM_SIGNS))) for _ in range(slots)),
        "between": draw(st.sampled_from(("fill", "as-written"))),
        "swing": draw(st.sampled_from(("1/2", "3/4", "0.62"))),
        "front": draw(st.sampled_from(("0", "24", "9.5"))),
        "feel": draw(st.sampled_from(("steady", "natural", "loose"))),
        "count-in": draw(st.sampled_from(("0", "1", "8"))),
        "form": f"verse*{draw(st.sampled_from((1, 2, 5)))}",
    }
    head = "".join(f"{name}: {value}\n" for name, value in settings_drawn.items())
    return f"{head}sections:\n  verse: |\n{''.join(rows)}"


def _note(draw: st.DrawFn, name: str, length: Fraction) -> str:
    """A note of the melody; a place on the neck has no pin that could name another string."""
    return f"{name}:{length}{draw(st.sampled_from(PINS)) if name[0] in 'ABCDEFG' else ''}"


def _syllables(draw: st.DrawFn, notes: list[str]) -> list[str]:
    return [draw(st.sampled_from(WORDS)) for note in notes if note[0] != "."]


@given(extreme_songs())
@settings(max_examples=40)
def test_all_that_is_written(text: str) -> None:
    song = parse_song(text)
    assert parse_song(write_song(song)) == song
    made(song, WRITTEN)


@given(extreme_songs())
@settings(max_examples=6)
def test_all_that_is_drawn(text: str) -> None:
    made(parse_song(text), DRAWN)


def song_or_refusal(text: str, semitones: int) -> Song | RequestError:
    """What moving a song ends in."""
    try:
        return transpose_song(parse_song(text), semitones)[0]
    except RequestError as refused:
        return refused


@given(extreme_songs(), st.integers(-24, 24), st.sampled_from(sorted(TUNINGS_BY_NAME)))
@settings(max_examples=20)
def test_in_another_key_and_tuning(text: str, semitones: int, tuning: str) -> None:
    """A song moves as far as its notes stay keys, else it is said; what moved can be made."""
    moved = song_or_refusal(text, semitones)
    if isinstance(moved, RequestError):
        assert harmful_in(str(moved)) == []
        assert any(name in text for name in ("C-1", "C0", "E1", "G9", "C7"))
        return
    made(drop_pins(moved)[0], WRITTEN, TUNINGS_BY_NAME[tuning])


SPOILT = {
    "report": ("as_json", {"cost": float("nan")}),
    "tab": ("tab_text", "a\x1b[2J"),
    "musicxml": ("musicxml_bytes", (b"<score-partwise>&#27;</score-partwise>", ())),
    "abc": ("abc_bytes", (b"X:1\nT:One\n", ())),
    "plain midi": ("plain_midi_bytes", (b"MThd", ())),
    "midi": ("midi_bytes", b"MThd"),
    "sheet": ("sheet_svg", "<svg><text>a & b</text></svg>"),
    "handout": ("svg_text", "<svg>\u202e</svg>"),
    "page": ("song_page", {"index.html": b"<h1>Two</h1>"}),
}
"""For each maker a function of it, and a result that isn't whole."""


@pytest.mark.parametrize("name", SPOILT)
def test_what_is_not_whole_is_found(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    song = parse_song("title: One\nsections:\n  verse: |\n    chords C\n    melody C4:4\n")
    makers = {name: MAKERS[name]}
    made(song, makers)
    function, spoilt = SPOILT[name]
    monkeypatch.setattr(f"tests.song.made.{function}", lambda *_, **__: spoilt)
    with pytest.raises((AssertionError, ValueError, EOFError, OSError, SyntaxError)):
        made(song, makers)


def test_every_maker_is_spoilt_once() -> None:
    assert SPOILT.keys() == MAKERS.keys()
