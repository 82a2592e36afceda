"""Advice as a table and a few sentences, for a terminal or a pipe of eighty columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from tercet.typed import typed
from tercet.wording import counted

if TYPE_CHECKING:
    from tercet.arranging.key_advice import KeyAdvice, TuningAdvice, Voice
    from tercet.arranging.line_shapes import LineShape
    from tercet.arranging.style_advice import StyleAdvice
    from tercet.song import Players, Song
    from tercet.theory import Pitch, Tuning

__all__ = [
    "Call",
    "keys_text",
    "legend_text",
    "lines_text",
    "others_text",
    "range_text",
    "style_text",
    "tuning_text",
]

WIDTH = 80
BEST_SHOWN = 3
"""Keys shown with all their figures where several tunings play together, and for tunings that weren't asked for."""

_FIGURES = (
    ("notes", 5, "of the tune, how many these players can play"),
    ("rolls", 5, "of the rolls that are wanted, how many bring the tune out"),
    ("shift", 5, "frets that the hand moves in a bar"),
    ("cost", 5, "what a note costs the hands: fingers, stretches, changes, missing rolls"),
    ("total", 6, "cost, and what can't be played, held or sung; the less the better"),
)
"""Columns of figures: head, width, meaning."""


class Call:
    """What the user would type to hear a key."""

    def __init__(self, path: str, song: Song, asked: Players | None) -> None:
        self._path = path
        self._moved = bool(song.sounding)
        self._other = asked if asked != song.players else None

    def command(self, advice: TuningAdvice) -> str:
        """Return the command that renders a song as it was advised."""
        move = f" --transpose {advice.semitones}" if advice.semitones or self._moved else ""
        players = f" --players {self._other}" if self._other else ""
        tuning = tuning_text(advice.tuning)
        return f"{typed('tercet', 'render', self._path)}{move} --tuning {tuning}{players} -o FILE"


def keys_text(song: Song, voice: Voice | None, keys: Sequence[KeyAdvice], call: Call) -> Iterator[str]:
    """Yield the twelve keys, the best first, with what speaks against each."""
    from tercet.arranging.key_advice import VOICES

    tunings = [advice.tuning for advice in keys[0].tunings]
    moved = song.sounding or 0
    heard = (
        f", played {counted(abs(moved), 'semitone')} {'higher' if moved > 0 else 'lower'}" if moved else ""
    )
    yield f"{song.title}: {song.key}{heard}, players: {song.players}, {_listed(map(tuning_text, tunings))}"
    if voice is not None:
        kind = f"{voice.name} voice" if voice.name in VOICES else "voice"
        yield f"{kind}: {range_text(voice.lowest, voice.highest)}"
    yield ""
    heads = [tuning_text(tuning) for tuning in tunings] if len(tunings) > 1 else []
    widths = [max(len(head), 5) for head in heads]
    if heads:
        columns = [
            *(f"{head:>{width}}" for head, width in zip(heads, widths, strict=True)),
            f"{'together':>8}",
        ]
    else:
        columns = [f"{head:>{width}}" for head, width, _ in _FIGURES]
    yield f"    {'key':<9} {'move':>5}  {'tune':<10}  {'  '.join(columns)}"
    for rank, key in enumerate(keys, 1):
        if heads:
            totals = zip(key.tunings, widths, strict=True)
            figures = "  ".join(
                [*(f"{_number(one.total):>{width}}" for one, width in totals), f"{_number(key.total):>8}"]
            )
        else:
            figures = _figures(key.tunings[0])
        yield f"{rank:>2}  {_key_text(key)}  {figures}"
        yield from _against(key)
    if heads:
        yield ""
        yield "the best keys in figures"
        yield f"    {'key':<9} {'tuning':<12} {'move':>5}  {_figure_heads()}"
        for key in keys[:BEST_SHOWN]:
            for one in key.tunings:
                yield f"    {key.key!s:<9} {tuning_text(one.tuning):<12} {_move(one.semitones):>5}  {_figures(one)}"
    yield ""
    suiting = next((key for key in keys if key.suits), None)
    if suiting is None:
        yield "in every key something is left out; the first comes nearest"
    elif suiting is not keys[0]:
        yield f"the first key in which nothing is left out: {suiting.key} ({_move(suiting.semitones)})"
    yield f"to hear {keys[0].key}:"
    for one in keys[0].tunings:
        yield f"  {call.command(one)}"


def others_text(rankings: Sequence[Sequence[KeyAdvice]]) -> Iterator[str]:
    """Yield the best keys of other tunings, each by itself."""
    if not rankings:
        return
    yield "on other strings, each by itself"
    for keys in rankings:
        yield f"  {tuning_text(keys[0].tunings[0].tuning)}"
        for rank, key in enumerate(keys[:BEST_SHOWN], 1):
            yield f"{rank:>2}  {_key_text(key)}  {_figures(key.tunings[0])}"
            yield from _against(key)


def legend_text(rankings: Sequence[Sequence[KeyAdvice]]) -> Iterator[str]:
    """Yield what the columns mean."""
    yield "move   semitones from where the song is written, as in --transpose"
    for head, _, meaning in _FIGURES:
        yield f"{head:<5}  {meaning}"
    if len(rankings[0][0].tunings) > 1:
        yield "each tuning's column is its total; together is their mean"
    if any(key.off_neck for keys in rankings for key in keys):
        yield "on no string: such notes are played in another octave, or as they are with --as-written"
    yield "can't hold: no shape of that chord over all four strings is within these hands"


def _key_text(key: KeyAdvice) -> str:
    return f"{key.key!s:<9} {_move(key.semitones):>5}  {range_text(key.lowest, key.highest):<10}"


def _figure_heads() -> str:
    return "  ".join(f"{head:>{width}}" for head, width, _ in _FIGURES)


def _figures(advice: TuningAdvice) -> str:
    shown = (
        _percent(advice.playable),
        _percent(advice.audible_rolls),
        _number(advice.shift_per_bar),
        _number(advice.cost_per_note),
        _number(advice.total),
    )
    return "  ".join(f"{text:>{width}}" for text, (_, width, _) in zip(shown, _FIGURES, strict=True))


def _against(key: KeyAdvice) -> Iterator[str]:
    """Yield lines with what the class should know of a key: all of them, then tuning by tuning where they differ."""
    said: dict[str, list[str]] = {}
    for one in key.tunings:
        for text in _against_tuning(one, key):
            said.setdefault(text, []).append(tuning_text(one.tuning))
    alike: dict[str, list[str]] = {"": list(_against_voice(key))}
    for text, names in said.items():
        who = "" if len(names) == len(key.tunings) else f"{_listed(names)}: "
        alike.setdefault(who, []).append(text)
    for who, texts in alike.items():
        yield from textwrap.wrap(
            who + "; ".join(texts), WIDTH, initial_indent=" " * 6, subsequent_indent=" " * 8
        )


def _against_voice(key: KeyAdvice) -> Iterator[str]:
    if key.semitones_outside:
        yield f"{counted(key.semitones_outside, 'semitone')} beyond the voice"
    if key.sung_octave:
        way = "lower" if key.sung_octave < 0 else "higher"
        octaves = "an octave" if abs(key.sung_octave) == 1 else f"{abs(key.sung_octave)} octaves"
        yield f"sung {octaves} {way}"


def _against_tuning(advice: TuningAdvice, key: KeyAdvice) -> Iterator[str]:
    if advice.semitones != key.semitones:
        yield f"the tune an octave lower, {range_text(advice.lowest, advice.highest)}"
    if advice.not_held:
        yield f"can't hold {', '.join(advice.not_held)}"
    if advice.missing:
        yield f"{advice.missing} of {counted(advice.notes, 'note')} on no string"
    if advice.added_missing:
        yield f"{counted(advice.added_missing, 'added note')} on no string"
    if advice.high:
        yield f"{advice.high} of {counted(advice.notes, 'note')} too high up the neck"


def style_text(tuning: Tuning, advice: StyleAdvice) -> Iterator[str]:
    """Yield the style that suits a song on some strings, and why."""
    yield f"style, {tuning_text(tuning)}"
    yield from textwrap.wrap(
        f"{advice.style}: {advice.reason}", WIDTH, initial_indent="  ", subsequent_indent="    "
    )


def lines_text(tuning: Tuning, lines: Sequence[LineShape], song: Song) -> Iterator[str]:
    """Yield for each line of music the hand that carries most of it."""
    from tercet.arranging.report import frets_text

    yield f"one hand for each line, {tuning_text(tuning)}, as written in {song.key}"
    yield "  the shape (and its fingers) that stays while so many notes in a row are played"
    for line in lines:
        where = f"{line.section}, line {line.line}, {_bars(line.first_bar, line.last_bar)}"
        if line.hand is None:
            yield f"  {where}: no note of it within reach"
            continue
        fingers = "".join(map(str, line.hand.fingers))
        known = f", {line.known_as}" if line.known_as else ""
        held = f"{len(line.held)} of {counted(line.notes, 'note')}"
        yield f"  {where}: {frets_text(line.hand.frets)} ({fingers}{known}), {held}"
        bars: dict[int, list[str]] = {}
        for note in line.held:
            bars.setdefault(note.bar_number, []).append(str(note.string))
        from_to = _bars(line.held[0].bar_number, line.held[-1].bar_number)
        strings = f"{from_to}, strings {' | '.join(map(' '.join, bars.values()))}"
        yield from textwrap.wrap(strings, WIDTH, initial_indent=" " * 6, subsequent_indent=" " * 8)


def _listed(names: Iterable[str]) -> str:
    """Return names as they are read aloud: ``a, b and c``."""
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def _bars(first: int, last: int) -> str:
    return f"bar {first}" if first == last else f"bars {first} to {last}"


def _move(semitones: int) -> str:
    return f"{semitones:+d}" if semitones else "0"


def _number(value: float) -> str:
    """Return a figure with two places; nothing is written as minus zero."""
    return f"{round(value, 2) + 0.0:.2f}"


def _percent(share: float) -> str:
    """Return a share in whole percent, 100 only where nothing is missing."""
    return "100%" if share == 1 else f"{min(round(100 * share), 99)}%"


def range_text(lowest: Pitch, highest: Pitch) -> str:
    """Return a range of pitches: ``C4 to D5``."""
    return f"{lowest} to {highest}"


def tuning_text(tuning: Tuning) -> str:
    """Return a tuning as --tuning takes it."""
    return tuning.name if tuning.name != "custom" else ",".join(map(str, tuning.open_pitches))
