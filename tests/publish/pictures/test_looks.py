"""From levels to size and ink, and how texts are fitted."""

from __future__ import annotations

import pytest

from tercet.publish.pictures.looks import LOOKS, PAPER, fitted, ink_of, radius_of, text_width, toned


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
    assert len({look.head for look in LOOKS.values()}) == len({look.dash for look in LOOKS.values()}) == 3


def test_texts_are_made_smaller_then_cut() -> None:
    assert fitted("short", 20.0, 200.0, 10.0) == ("short", 20.0)
    text, size = fitted("m" * 20, 20.0, 300.0, 10.0)
    assert (text, round(size, 3)) == ("m" * 20, 15.789)
    text, size = fitted("m" * 100, 20.0, 300.0, 10.0)
    assert size == 10.0
    assert text.endswith("m…")
    assert text_width(text, size) <= 300.0
    assert (
        text_width("illi", 10.0)
        < text_width("aaaa", 10.0)
        < text_width("AAAA", 10.0)
        < text_width("字WWW", 10.0)
    )
