"""The limits that people read are those that hold."""

from __future__ import annotations

from pathlib import Path

import pytest

from tercet.theory import limits

FORMAT = (Path(__file__).parents[2] / "docs" / "format.md").read_text(encoding="utf-8").replace("\n", " ")


def between(pair: tuple[object, object]) -> str:
    return f"{pair[0]} to {pair[1]}"


@pytest.mark.parametrize(
    "told",
    [
        f"Frets go from {between((0, limits.LAST_FRET))}.",
        f"| {between(limits.TEMPO_RANGE)} |",
        f"the scale length in mm, {between(limits.SCALE_RANGE_MM)} |",
        f"| `{limits.SWING_RANGE[0]}` (straight) to `{limits.SWING_RANGE[1]}`;",
        f"| how often a loop is played, {between((1, limits.MOST_LOOPS))} |",
        f"| {between(limits.FRONT_RANGE_LU)} LU |",
        f"| bars counted before the music | {between((0, limits.MOST_COUNT_IN_BARS))} |",
        f"a part of the song's tempo, {limits.percent_range()};",
        f"parts of each song's tempo; a set for each | {limits.percent_range()} |",
        f"{limits.MOST_VISITS} of them in its form, {limits.MOST_BARS} bars as played",
    ],
)
def test_the_reference_tells_the_limits(told: str) -> None:
    assert told in FORMAT
