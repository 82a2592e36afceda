"""Arrangements made by hand, bar by bar and stroke by stroke, for the tests of performing and of MIDI."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from hypothesis import strategies as st

from tercet.arranging import Action, Arrangement, Gesture, StringNote
from tercet.song import Bar, ChordSpan, Dynamics, Layer, Mark, MarkKind, Meter, Note, Song, Syllable
from tercet.theory import Key, tuning_named

OPEN_MIDI = {4: 67, 3: 60, 2: 64, 1: 69}
"""High-g: keys of the open strings."""

ALL_MF = Dynamics(melody="mf", between="mf", strums="mf")

Beats = int | str | Fraction

_KINDS: dict[str, MarkKind] = {
    "louder": "hairpin", "softer": "hairpin", "rit": "rit", "a-tempo": "a-tempo", "fermata": "fermata",
    "accent": "accent", ",": "breath",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Stroke:
    """One gesture: beats of the piece as played; strings in the order struck; a shape, string 4 first."""

    layer: Layer
    action: Action
    beat: Fraction
    length: Fraction
    strings: str
    shape: str
    tune: bool = False
    accent: bool = False


def tune(
    beat: Beats,
    length: Beats,
    strings: str = "1",
    shape: str = "0003",
    layer: Layer = "melody",
    accent: bool = False,
) -> Stroke:
    """Return a note of the tune: a roll over strings, or a single note."""
    action: Action = "roll" if len(strings) > 1 else "single"
    return Stroke(layer, action, Fraction(beat), Fraction(length), strings, shape, True, accent)


def added(beat: Beats, length: Beats, string: str = "2", shape: str = "0003") -> Stroke:
    return Stroke("between", "single", Fraction(beat), Fraction(length), string, shape)


def strum(
    beat: Beats, length: Beats, strings: str = "432", shape: str = "0003", accent: bool = False
) -> Stroke:
    return Stroke("strums", "strum", Fraction(beat), Fraction(length), strings, shape, accent=accent)


def chop(beat: Beats, length: Beats, strings: str = "432", shape: str = "0003") -> Stroke:
    return Stroke("strums", "chop", Fraction(beat), Fraction(length), strings, shape)


@dataclass(frozen=True, slots=True)
class Visit:
    """A playing of a section: its name, its pass, how many bars, and the length of its pick-up."""

    section: str
    pass_number: int
    bars: int
    pickup: Fraction = Fraction(0)


def piece(
    *strokes: Stroke,
    meter: str = "4/4",
    tempo: Beats = 120,
    swing: str = "1/2",
    visits: Sequence[Visit] = (Visit("verse", 1, 4),),
    marks: Mapping[int, str] | None = None,
    words: Mapping[int, Sequence[tuple[Beats, str]]] | None = None,
    dynamics: Dynamics = ALL_MF,
    title: str = "A piece",
    key: Key = Key("C", 0, False),
) -> Arrangement:
    """Return an arrangement.

    Parameters
    ----------
    strokes
        In any order.
    marks
        By bar number, as in a song: ``mf@1 louder@3 strums:pp@2``.
    words
        By bar number: places in the bar from 0 and syllables, ``-`` at the end where the word goes on.
    """
    upper, lower = (int(figure) for figure in meter.split("/"))
    song = Song(
        title,
        (),
        (),
        key=key,
        meter=Meter(upper, lower),
        tempo=Fraction(tempo),
        swing=Fraction(swing),
        dynamics=dynamics,
    )
    bars = tuple(
        replace(
            bar,
            marks=_marks((marks or {}).get(bar.number, "")),
            words=_words((words or {}).get(bar.number, ())),
        )
        for bar in _bars(visits, song.meter)
    )
    gestures = [_gesture(stroke, bars) for stroke in strokes]
    order = ("melody", "between", "strums")
    gestures.sort(key=lambda gesture: (gesture.start_beat, order.index(gesture.layer)))
    return Arrangement(song, tuning_named("high-g"), bars, tuple(gestures), ())


def _bars(visits: Sequence[Visit], meter: Meter) -> list[Bar]:
    bars: list[Bar] = []
    beat = Fraction(0)
    for visit in visits:
        if visit.pickup and bars:
            bars[-1] = replace(bars[-1], pickup_from=meter.bar_beat - visit.pickup)
        elif visit.pickup:
            bars.append(_bar(visit, 0, 0, beat, visit.pickup, Fraction(0)))
            beat += visit.pickup
        for index in range(1, visit.bars + 1):
            number = bars[-1].number + 1 if bars else 1
            bars.append(_bar(visit, number, index, beat, meter.bar_beat, meter.bar_beat))
            beat += meter.bar_beat
    return bars


def _bar(
    visit: Visit, number: int, section_bar: int, beat: Fraction, length: Fraction, pickup_from: Fraction
) -> Bar:
    return Bar(
        number,
        visit.section,
        visit.pass_number,
        section_bar,
        0,
        beat,
        length,
        (ChordSpan(Fraction(0), length, None),),
        (Note(Fraction(0), length),),
        pickup_from=pickup_from,
    )


def _marks(text: str) -> tuple[Mark, ...]:
    found = []
    for word in text.split():
        match = re.fullmatch(r"(?:(melody|between|strums):)?([^@:]+)(?:@([\d./]+))?", word)
        assert match is not None, word
        layer: Layer | None = match[1]  # type: ignore[assignment]
        kind = _KINDS.get(match[2], "dynamic")
        value = match[2] if kind in ("dynamic", "hairpin") else ""
        found.append(Mark(Fraction(match[3] or 1) - 1, kind, value, layer))
    return tuple(sorted(found, key=lambda mark: mark.at_beat))


def _words(pairs: Sequence[tuple[Beats, str]]) -> tuple[tuple[Fraction, Syllable], ...]:
    return tuple(
        (Fraction(at), Syllable(text.rstrip("-").strip("_"), text.endswith("-"))) for at, text in pairs
    )


def _gesture(stroke: Stroke, bars: Sequence[Bar]) -> Gesture:
    index = max(place for place, bar in enumerate(bars) if bar.start_beat <= stroke.beat)
    bar = bars[index]
    at = stroke.beat - bar.start_beat
    led_in = bar.section_bar > 0 and at >= bar.pickup_from and index + 1 < len(bars)
    owner = bars[index + 1] if led_in else bar
    in_pickup = led_in or bar.section_bar == 0
    notes = []
    for place, name in enumerate(stroke.strings):
        string = int(name)
        fret = int(stroke.shape[4 - string])
        on_tune = stroke.tune and place == len(stroke.strings) - 1
        part: Literal["tune", "added", "chord"] = "chord"
        if on_tune:
            part = "tune"
        elif stroke.layer == "between":
            part = "added"
        notes.append(StringNote(string, fret, OPEN_MIDI[string] + fret, part))
    return Gesture(
        layer=stroke.layer,
        action=stroke.action,
        start_beat=stroke.beat,
        length_beat=stroke.length,
        notes=tuple(notes),
        bar_number=bar.number,
        section=owner.section,
        section_bar=0 if in_pickup else bar.section_bar,
        pass_number=owner.pass_number,
        bar_beat=at - bar.length_beat if in_pickup else at,
        phrase=0,
        accent=stroke.accent,
        up=stroke.layer == "strums" and stroke.strings[0] < stroke.strings[-1],
        shape=tuple(map(int, stroke.shape)),
    )


# ---- random pieces

_ROLLS = ("4321", "432", "43", "321", "32", "21", "1", "2", "3", "4")
_STRUMS = ("432", "43", "21", "4321", "234", "12")
_LENGTHS = {
    "4/4": ("1/2", "1", "1", "2", "3/2", "1/3", "4", "5"),
    "3/4": ("1/2", "1", "1", "2", "3", "1/4", "4"),
    "6/8": ("1", "2", "3", "3", "6", "1/2"),
    "2/2": ("1/2", "1", "1/4", "2", "3"),
    "5/8": ("1", "2", "3", "5"),
}
_MARKS = (
    "p",
    "f",
    "ff",
    "mp",
    "louder",
    "softer",
    "louder",
    "rit",
    "a-tempo",
    "fermata",
    "strums:pp",
    "melody:f",
    "between:softer",
    ",",
)
_SHAPES = ("0003", "2010", "0212", "2000", "0000", "5432")


@st.composite
def pieces(draw: st.DrawFn, most_bars: int = 4) -> Arrangement:
    """Draw an arrangement: any meter, pick-ups, passes, marks, swing; notes of all layers, some on one string."""
    meter = draw(st.sampled_from(sorted(_LENGTHS)))
    bar = Fraction(meter.split("/")[0])
    visits = []
    for index in range(draw(st.integers(1, 3))):
        pickup = draw(st.sampled_from((Fraction(0), Fraction(0), Fraction(1, 2), Fraction(1))))
        visits.append(Visit("AB"[index % 2], index // 2 + 1, draw(st.integers(1, most_bars)), pickup))
    end = sum((visit.bars for visit in visits), 0) * bar + visits[0].pickup
    strokes: list[Stroke] = []
    now = Fraction(0)
    while now < end:
        length = min(Fraction(draw(st.sampled_from(_LENGTHS[meter]))), end - now)
        shape = draw(st.sampled_from(_SHAPES))
        what = draw(st.integers(0, 9))
        if what > 0:
            layer: Layer = "between" if what == 1 else "melody"
            strings = draw(st.sampled_from(_ROLLS)) if layer == "melody" else draw(st.sampled_from("1234"))
            strokes.append(tune(now, length, strings, shape, layer, accent=what == 2))
        if length >= 1 and draw(st.booleans()):
            strokes.append(strum(now + length / 2, length / 2, draw(st.sampled_from(_STRUMS)), shape))
        elif what == 3:
            strokes.append(chop(now, length, "4321", shape))
        if what == 4:
            strokes.append(added(now, length, draw(st.sampled_from("1234")), shape))
        now += length
    count = sum(visit.bars for visit in visits)
    one_mark = st.tuples(st.integers(1, count), st.sampled_from(_MARKS), st.integers(1, int(bar)))
    marked = draw(st.lists(one_mark, max_size=8))
    marks: dict[int, str] = {}
    for number, mark, place in marked:
        marks[number] = f"{marks.get(number, '')} {mark}@{place}"
    return piece(
        *strokes,
        meter=meter,
        tempo=draw(st.integers(40, 200)),
        swing=draw(st.sampled_from(("1/2", "2/3", "3/5"))),
        visits=visits,
        marks=marks,
        dynamics=Dynamics(),
    )
