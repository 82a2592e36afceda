"""How tracks go through the music: from a recipe to a timeline.

Each practice form of `tercet.song.practice_forms` is a function here, which yields its passages. Where music comes
again in another pass, ladder, build-up and contrast take it once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from tercet.arranging import Arrangement, hardest_bars
from tercet.errors import RequestError
from tercet.performing.tempo import slows_from
from tercet.song import Layer, bar_indices
from tercet.song.choice_words import parse_choice
from tercet.song.practice_forms import PRACTICE_FORMS
from tercet.theory.limits import MOST_COUNT_IN_BARS, SPEED_RANGE, percent_range
from tercet.tracks.recipes import Recipe
from tercet.tracks.timelines import (
    ALL,
    NOTHING,
    BeatRange,
    Passage,
    Source,
    TrackTimeline,
    bar_ranges,
    phrase_ranges,
    section_ranges,
    whole_range,
)
from tercet.wording import listed

__all__ = ["TrackOptions", "timeline_of"]

UNITS: dict[str, Callable[[Arrangement], tuple[BeatRange, ...]]]
UNITS = {"bar": bar_ranges, "phrase": phrase_ranges, "section": section_ranges}

ROUND_NAMES: dict[Layer, str] = {"strums": "strums", "between": "single notes", "second": "second voice"}
"""What the rounds of a build-up are called by the layers that come in, but for the last, with which all are there."""


@dataclass(frozen=True, slots=True)
class TrackOptions:
    """What is asked of every track alike.

    Parameters
    ----------
    speed
        A factor for the track's own speeds.
    bars
        As in `--bars`; empty for what the recipe says.
    count_in_bars
        Bars counted before the music.
    click
        Whether a quiet knock goes throughout.
    guide
        Whether what is left out stays as a soft guide.
    """

    speed: Fraction = Fraction(1)
    bars: str = ""
    count_in_bars: int = 1
    click: bool = False
    guide: bool = False


def timeline_of(recipe: Recipe, arrangement: Arrangement, options: TrackOptions) -> TrackTimeline:
    """Return the timeline of a track.

    Parameters
    ----------
    recipe
        What it is made of.
    arrangement
        Of the piece that the recipe plays.
    options
        What is asked of every track alike.

    Raises
    ------
    RequestError
        Bars that aren't there, or a speed out of range.
    """
    if not 0 <= options.count_in_bars <= MOST_COUNT_IN_BARS:
        raise RequestError(f"count-in must be 0 to {MOST_COUNT_IN_BARS} bars (got {options.count_in_bars})")
    slowest, fastest = (of(recipe.steps) * options.speed for of in (min, max))
    if not SPEED_RANGE[0] <= slowest <= fastest <= SPEED_RANGE[1]:
        raise RequestError(
            f"{recipe.name} would be played at {float(slowest):.0%} to {float(fastest):.0%}: "
            f"speeds must be {percent_range()}"
        )
    if options.guide and recipe.guide == NOTHING:
        recipe = replace(recipe, guide=ALL, space=recipe.space)
    chosen = _chosen(arrangement, options.bars or recipe.bars)
    passages = list(_PASSAGES_OF[recipe.way](_Track(recipe, arrangement, chosen, options)))
    if options.click:
        passages = [replace(passage, pulse=True) for passage in passages]
    first = passages[0]
    passages[0] = replace(first, count_in_bars=options.count_in_bars, bell=False)
    return TrackTimeline(tuple(passages))


def _chosen(arrangement: Arrangement, bars: str) -> tuple[BeatRange, ...]:
    """Return the music that is asked for, in runs of bars."""
    if not bars:
        return (whole_range(arrangement),)
    indices = bar_indices(bars, arrangement.bars)
    firsts = [index for index in indices if index - 1 not in indices]
    lasts = [index for index in indices if index + 1 not in indices]
    runs = [
        (arrangement.bars[first], arrangement.bars[last]) for first, last in zip(firsts, lasts, strict=True)
    ]
    return tuple(
        BeatRange(start.start_beat, end.start_beat + end.length_beat, start.section, start.pass_number)
        for start, end in runs
    )


@dataclass(frozen=True, slots=True)
class _Track:
    """What a practice form makes passages of; `chosen` is the music that is asked for, in runs of bars."""

    recipe: Recipe
    arrangement: Arrangement
    chosen: Sequence[BeatRange]
    options: TrackOptions

    def within(self, ranges: Iterable[BeatRange]) -> Iterator[BeatRange]:
        """Yield what of some ranges is chosen."""
        for beats in ranges:
            for run in self.chosen:
                start, end = max(beats.start_beat, run.start_beat), min(beats.end_beat, run.end_beat)
                if start < end:
                    yield replace(beats, start_beat=start, end_beat=end)

    def units(self) -> Iterator[BeatRange]:
        """Yield what is echoed or taken in turns."""
        return self.within(UNITS[self.recipe.by](self.arrangement))

    def sections(self) -> Iterator[BeatRange]:
        """Yield the playings of sections."""
        return self.within(section_ranges(self.arrangement))

    def once(self, ranges: Iterable[BeatRange]) -> list[BeatRange]:
        """Return those of each section's first playing; of added sections only where there are no others."""
        found = list(ranges)
        song = self.arrangement.song
        written = [beats for beats in found if not song.adds(beats.section)] or found
        first: dict[str, int] = {}
        for beats in written:
            first.setdefault(beats.section, beats.pass_number)
        return [beats for beats in written if beats.pass_number == first[beats.section]]

    @property
    def counted_bars(self) -> int:
        """How many bars are counted in anew: at least one."""
        return max(self.options.count_in_bars, 1)

    def source(self, speed: Fraction | None = None, *, flat: bool = False) -> Source:
        """Return what passages are cut out of, at the recipe's own speed or another."""
        recipe, options = self.recipe, self.options
        wanted = recipe.steps[0] if speed is None else speed
        return Source(recipe.piece, wanted * options.speed, flat or recipe.flat, options.click)

    def played(self, beats: BeatRange, source: Source | None = None, **more: Any) -> Passage:
        """Return a passage in which the recording plays what the recipe says."""
        recipe = self.recipe
        whose = "listen" if recipe.heard == ALL and recipe.piece != "chords" else "together"
        values = {"heard": recipe.heard, "guide": recipe.guide, "whose": whose, **more}
        return Passage(source or self.source(), beats.start_beat, beats.end_beat, **values)

    def again(self, beats: BeatRange, source: Source | None = None, **more: Any) -> Passage:
        """Return a passage that comes more than once, so that it keeps its tempo to the end of the piece too."""
        passage = self.played(beats, source, **more)
        slowing_beat = slows_from(self.arrangement)
        if slowing_beat is None or beats.end_beat <= slowing_beat:
            return passage
        return replace(passage, source=replace(passage.source, goes_round=True))

    def space(self, beats: BeatRange, **more: Any) -> Passage:
        """Return a passage that is the student's: as long, with a soft pulse."""
        values = {"heard": self.recipe.space, "whose": "yours", "pulse": True, **more}
        return self.played(beats, **values)


_Passages = Iterator[Passage]
_PASSAGES_OF: dict[str, Callable[[_Track], _Passages]] = {}


def _form(name: str) -> Callable[[Callable[[_Track], _Passages]], Callable[[_Track], _Passages]]:
    """Have a function yield the passages of a practice form, a row of `tercet.song.practice_forms`."""

    def enter(passages: Callable[[_Track], _Passages]) -> Callable[[_Track], _Passages]:
        _PASSAGES_OF[PRACTICE_FORMS[name].name] = passages
        return passages

    return enter


@_form("through")
def _through(track: _Track) -> _Passages:
    """Play once, from beginning to end."""
    if track.recipe.piece != "tune-up":
        yield from map(track.played, track.chosen)
    else:
        yield from (track.played(string, step=string.section) for string in track.sections())


@_form("echo")
def _echo(track: _Track) -> _Passages:
    """Play a phrase, then leave its space, as long to the frame, with a soft pulse: the same music, unheard."""
    for beats in track.units():
        yield track.played(beats, bell=True)
        yield track.space(beats, bell=True)


@_form("turns")
def _turns(track: _Track) -> _Passages:
    """Let the recording and the student play in turn, by bar, phrase or section."""
    for number, beats in enumerate(track.units()):
        turn = track.space if (number + track.recipe.swap) % 2 else track.played
        yield turn(beats, bell=True)


@_form("ladder")
def _ladder(track: _Track) -> _Passages:
    """Play each section at one speed after the other, each time counted in."""
    for beats in track.once(track.sections()):
        for source in map(track.source, track.recipe.steps):
            step = f"{float(source.speed):.0%}"
            yield track.again(beats, source, count_in_bars=track.counted_bars, step=step)


@_form("loop")
def _loop(track: _Track) -> _Passages:
    """Play the chosen bars, or the first section, over and over without a gap."""
    runs, times = track.chosen, track.recipe.times
    if not (track.options.bars or track.recipe.bars):
        runs = track.once(section_ranges(track.arrangement))[:1]
    for number in range(times):
        yield from (track.again(beats, step=f"{number + 1} of {times}") for beats in runs)


@_form("build-up")
def _build_up(track: _Track) -> _Passages:
    """Play each section again and again: strums, then the single notes between with them, and so on up to all."""
    rounds = list(_rounds(track.arrangement.song.layers))
    for beats in track.once(track.sections()):
        for step, heard in rounds:
            yield track.again(beats, heard=parse_choice(heard), whose="listen", bell=True, step=step)


def _rounds(layers: Sequence[Layer]) -> Iterator[tuple[str, str]]:
    """Yield the rounds of a build-up, from the layer at the back on: what each is called, and what is heard.

    >>> list(_rounds(("melody", "between", "strums")))
    [('strums', 'strums'), ('strums and single notes', 'strums or between'), ('all', 'all')]
    """
    behind = [layer for layer in reversed(layers) if layer in ROUND_NAMES]
    for count in range(1, len(behind) + 1):
        heard = behind[:count]
        yield listed([ROUND_NAMES[layer] for layer in heard], "and"), " or ".join(heard)
    yield "all", "all"


@_form("contrast")
def _contrast(track: _Track) -> _Passages:
    """Play each phrase flat, then with front and back."""
    for beats in track.once(track.units()):
        yield track.again(beats, track.source(flat=True), bell=True, step="flat")
        yield track.again(beats, bell=True, step="front and back")


@_form("learn")
def _learn(track: _Track) -> _Passages:
    """Play the hardest bars slowly, several times each, with a rest in which to get ready again."""
    bars, times = track.arrangement.bars, track.recipe.times
    for hard in hardest_bars(track.arrangement):
        start, end = bars[hard.first], bars[hard.last]
        beats = BeatRange(
            start.start_beat, end.start_beat + end.length_beat, start.section, start.pass_number
        )
        if not list(track.within([beats])):
            continue
        name = f"bar {start.number}" if hard.first == hard.last else f"bars {start.number}-{end.number}"
        for number in range(times):
            step = f"{name}, {number + 1} of {times}"
            count = 0 if number else track.counted_bars
            yield track.again(beats, count_in_bars=count, whose="together", step=step)
            yield from _rest(track, hard.last, hard.into_beat, step)


def _rest(track: _Track, last: int, into_beat: Fraction | None, step: str) -> _Passages:
    """Yield the bar after hard bars: the note that they lead into, then a rest with a pulse."""
    bars = track.arrangement.bars
    if into_beat is None or last + 1 >= len(bars):
        return
    bar = bars[last + 1]
    end = bar.start_beat + bar.length_beat
    let_go = min(into_beat + track.arrangement.song.meter.pulse_beat, end)
    lead = BeatRange(bar.start_beat, let_go, bar.section, bar.pass_number)
    yield track.again(lead, whose="together", step=step)
    if let_go < end:
        rest = replace(lead, start_beat=let_go, end_beat=end)
        yield track.again(rest, whose="together", heard=NOTHING, guide=NOTHING, pulse=True, step=step)
