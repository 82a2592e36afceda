"""Reading an arrangement file (a first version of the happy path)."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path
from typing import Any

from render.errors import Mistake, SongError
from render.song.model import (
    ROW_NAMES, ChordSpan, Dynamics, Line, Mark, Meter, Note, Pin, Row, Section, Song, Source, Syllable, Visit,
)
from render.theory import Pitch, parse_chord, parse_key

__all__ = ["parse_song", "read_song"]

_NOTE = re.compile(r"(?:(r)|([A-G])(##|#|bb|b|♯|♭)?(-?\d+)?|s(\d)f(\d+))(?::([\d./]+))?(\[[^\]]*\])?(~)?(\[[^\]]*\])?$")


def read_song(path: str | Path) -> Song:
    return parse_song(Path(path).read_text("utf-8-sig"), str(path))


def parse_song(text: str, file: str = "song.yaml") -> Song:
    from ruamel.yaml import YAML

    data = YAML(typ="rt", pure=True).load(text)
    meter = Meter(*(int(x) for x in str(data.get("meter", "4/4")).split("/")))
    sections = []
    for name, block in data["sections"].items():
        base = data["sections"].lc.value(name)[0] + 2
        sections.append(_section(str(name), str(block), base, meter, file))
    form = data.get("form") or [s.name for s in sections]
    if isinstance(form, str):
        form = form.split()
    names: list[str] = []
    for item in form:
        word, _, times = str(item).partition("*")
        names += [word] * int(times or 1)
    visits = []
    for i, name in enumerate(names):
        visits.append(Visit(name, names[: i + 1].count(name), name not in names[i + 1 :]))
    extra: dict[str, Any] = {}
    if "key" in data:
        extra["key"] = parse_key(str(data["key"]))
    if "tempo" in data:
        extra["tempo"] = Fraction(str(data["tempo"]))
    inst = data.get("instrument", "concert")
    sizes = {"soprano": 346.0, "concert": 380.0, "tenor": 430.0, "baritone": 510.0}
    extra["instrument"] = str(inst)
    extra["scale_length_mm"] = sizes[inst] if inst in sizes else float(inst)
    if "tuning" in data:
        t = data["tuning"]
        extra["tuning"] = str(t) if isinstance(t, str) else tuple(Pitch.parse(str(p)) for p in t)
    if "players" in data:
        extra["players"] = str(data["players"])
    if "dynamics" in data:
        extra["dynamics"] = Dynamics(**{str(k): str(v) for k, v in data["dynamics"].items()})
    if "strum" in data:
        extra["strum"] = tuple(str(data["strum"]).replace(" ", ""))
    if "swing" in data:
        extra["swing"] = Fraction(str(data["swing"]))
    if "sound" in data:
        extra["sound"] = str(data["sound"])
    if "count-in" in data:
        extra["count_in_bars"] = int(data["count-in"])
    return Song(
        str(data["title"]), tuple(sections), tuple(visits), str(data.get("composer", "")), str(data.get("from", "")),
        str(data.get("licence", "")), meter=meter, **extra,
    )


class _Oops(Exception):
    pass


def _section(name: str, block: str, base: int, meter: Meter, file: str) -> Section:
    lines: list[list[tuple[int, str]]] = [[]]
    for i, raw in enumerate(block.split("\n")):
        if raw.lstrip().startswith("#"):
            continue
        if not raw.strip():
            lines.append([])
        else:
            lines[-1].append((base + i, raw))
    made = []
    octaves: dict[Any, int | None] = {}
    pickup_beat = Fraction(0)
    for group in [g for g in lines if g]:
        parsed = []
        for number, raw in group:
            m = re.match(r"\s*(\S+)((?:\s+(?:\d+|last)(?=\s|$))*)", raw)
            assert m
            passes = tuple(-1 if w == "last" else int(w) for w in m[2].split())
            rest = raw[m.end() :]
            cells = rest.split("|")
            if cells and not cells[-1].strip():
                cells.pop()
            parsed.append((m[1], passes, number, [c.split() for c in cells]))
        first = not made
        if first:
            for wanted in ("melody", "between", "chords"):
                row = next((p for p in parsed if p[0] == wanted), None)
                if row:
                    total = _total(row[3][0], wanted)
                    if total and total < meter.bar_beat and len(row[3]) > 1:
                        pickup_beat = total
                    break
        count = max(len(p[3]) for p in parsed if p[0] in ("melody", "chords"))
        if first and pickup_beat:
            count -= 1
        rows = []
        for rname, passes, number, cells in parsed:
            bars = []
            pick = None
            extra_cell = first and pickup_beat and len(cells) > count
            octave = octaves.setdefault((rname, passes), None)
            for i, cell in enumerate(cells):
                length = pickup_beat if extra_cell and i == 0 else meter.bar_beat
                try:
                    items, octave = _items(rname, cell, length, octave, meter, number)
                except Exception as error:
                    raise SongError(file, (Mistake(f"{type(error).__name__}: {error} in {cell}", number, 1, rname),)) from error
                if extra_cell and i == 0:
                    pick = items
                else:
                    bars.append(items)
            octaves[rname, passes] = octave
            if len(bars) != count or rname not in ROW_NAMES:
                raise SongError(file, (Mistake(f"{len(bars)} bars, not {count}", number, 1, rname),))
            rows.append(Row(rname, passes, tuple(bars), pick, Source(number, 1)))
        made.append(Line(tuple(rows)))
    return Section(name, tuple(made), pickup_beat)


def _total(words: list[str], row: str) -> Fraction | None:
    if row == "chords":
        if not words or not all(":" in w for w in words):
            return None
        return sum((Fraction(w.split(":")[1]) for w in words), Fraction(0))
    return sum((Fraction(_NOTE.match(w)[7] or 1) for w in words), Fraction(0))  # type: ignore[index]


def _items(row: str, words: list[str], length: Fraction, octave: int | None, meter: Meter, line: int) -> Any:
    if not words:
        return None, octave
    out: list[Any] = []
    at = Fraction(0)
    src = Source(line, 1)
    if row in ("melody", "between"):
        for word in words:
            m = _NOTE.match(word)
            if not m:
                raise _Oops(word)
            n = Fraction(m[7] or 1)
            pitch = position = pin = None
            if m[2]:
                octave = int(m[4]) if m[4] else octave
                pitch = Pitch.parse(f"{m[2]}{m[3] or ''}{octave}")
            if m[5]:
                position = (int(m[5]), int(m[6]))
            if m[8] or m[10]:
                body = (m[8] or m[10])[1:-1]
                if body in ("roll", "alone"):
                    pin = Pin(body)
                else:
                    pin = Pin("roll" if len(body) > 1 else "alone", tuple(int(c) for c in body))
            out.append(Note(at, n, pitch, bool(m[9]), position, pin, src))
            at += n
        if at != length:
            raise _Oops(f"adds up to {at}, not {length}")
    elif row == "chords":
        for word in words:
            chord_text, _, lt = word.partition(":")
            shape = None
            if "[" in chord_text:
                chord_text, _, s = chord_text[:-1].partition("[")
                shape = tuple(None if c == "x" else int(c) for c in s)
            n = Fraction(lt) if lt else length / len(words)
            chord = None if chord_text.replace(".", "") == "NC" else parse_chord(chord_text)
            out.append(ChordSpan(at, n, chord, shape, src))
            at += n
        if at != length:
            raise _Oops(f"adds up to {at}, not {length}")
    elif row == "strum":
        out = list("".join(words))
    elif row == "words":
        for word in words:
            parts = word.split("-")
            for i, part in enumerate(parts):
                if part:
                    out.append(Syllable("" if part == "_" else part, i < len(parts) - 1, src))
    elif row == "marks":
        for word in words:
            layer = None
            name, _, place = word.partition("@")
            if ":" in name:
                layer, _, name = name.partition(":")
            where = Fraction(place or 1) - 1
            if name in ("<", ">"):
                out.append(Mark(where, "hairpin", name, layer, src))  # type: ignore[arg-type]
            elif name == ",":
                out.append(Mark(where, "breath", "", layer, src))  # type: ignore[arg-type]
            elif name in ("rit", "a-tempo", "fermata", "accent"):
                out.append(Mark(where, name, "", layer, src))  # type: ignore[arg-type]
            else:
                out.append(Mark(where, "dynamic", name, layer, src))  # type: ignore[arg-type]
    return tuple(out), octave
