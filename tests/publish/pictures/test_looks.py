"""From levels to size, ink and places."""

from __future__ import annotations

import pytest

from tercet.publish.pictures.looks import LOOKS, PAPER, ink_of, places, radius_of, toned
from tercet.song import LAYERS, SECOND, Layer


def test_six_decibels_are_twice_the_size() -> None:
    assert radius_of(0.0) == 13.0
    assert radius_of(-6.0206) == pytest.approx(6.5)
    assert radius_of(-80.0) == 1.2
    assert radius_of(40.0) == 26.0


def test_ink_grows_with_level_and_never_goes() -> None:
    inks = [ink_of(level_db) for level_db in range(-40, 20)]
    assert inks == sorted(inks)
    assert (inks[0], inks[-1]) == (0.3, 1.0)


def test_a_colour_is_thinned_towards_the_paper() -> None:
    assert toned("#000000", 0.0) == PAPER
    assert toned("#9c2a16", 1.0) == "#9c2a16"
    assert toned("#000000", 0.5) == "#7e7c77"


def test_no_two_layers_share_a_shape_or_a_line() -> None:
    assert len({look.head for look in LOOKS.values()}) == len({look.dash for look in LOOKS.values()}) == 4


@pytest.mark.parametrize(
    ("levels_db", "said"),
    [
        ({"melody": 4.0, "between": -4.0, "strums": -8.0}, ["in front", "in the middle", "at the back"]),
        ({"melody": -8.0, "between": 0.0, "strums": 0.5}, ["in front", "in front", "at the back"]),
        ({"melody": 0.0, "between": 0.3, "strums": -0.3}, ["side by side"] * 3),
        ({"melody": 4.0, "strums": -8.0}, ["in front", "at the back", "out"]),
        (
            {"melody": 4.0, "second": 0.0, "between": -4.0, "strums": -8.0},
            ["in front", "close behind", "in the middle", "at the back"],
        ),
        ({}, ["out"] * 3),
    ],
)
def test_places(levels_db: dict[Layer, float], said: list[str]) -> None:
    asked = [layer for layer in LAYERS if layer != SECOND or layer in levels_db]
    found = places(levels_db, asked)
    assert list(found.values()) == said
    heard = [layer for layer in found if layer in levels_db]
    assert heard == sorted(heard, key=lambda layer: -levels_db[layer])
