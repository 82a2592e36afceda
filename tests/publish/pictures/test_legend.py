"""Which layer is said to be in front."""

from __future__ import annotations

import pytest

from tercet.publish.pictures.legend import places
from tercet.song import Layer


@pytest.mark.parametrize(
    ("levels_db", "said"),
    [
        ({"melody": 4.0, "between": -4.0, "strums": -8.0}, ["in front", "in the middle", "at the back"]),
        ({"melody": -8.0, "between": 0.0, "strums": 0.5}, ["in front", "in front", "at the back"]),
        ({"melody": 0.0, "between": 0.3, "strums": -0.3}, ["side by side"] * 3),
        ({"melody": 4.0, "strums": -8.0}, ["in front", "at the back", "out"]),
        ({}, ["out"] * 3),
    ],
)
def test_places(levels_db: dict[Layer, float], said: list[str]) -> None:
    found = places(levels_db)
    assert list(found.values()) == said
    heard = [layer for layer in found if layer in levels_db]
    assert heard == sorted(heard, key=lambda layer: -levels_db[layer])
