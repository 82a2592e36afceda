"""Exact lengths as written note values, and in MEI: dots, ties and tuplets.

A length is a fraction of a whole note. Its odd part (3 for triplets, 5, 7, …) makes a tuplet; what is left is a sum of
plain and dotted values, the longest first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from xml.etree.ElementTree import Element, SubElement

__all__ = ["Value", "add_timed", "odd_part", "set_value", "tuplet", "values_of", "within_tuplet"]

_SHORTEST = 1024
"""Denominator of the shortest value that MEI names."""


@dataclass(frozen=True, slots=True)
class Value:
    """A written value: a 1/`fraction` note (1 whole, 4 quarter) with `dots` dots."""

    fraction: int
    dots: int = 0

    @property
    def whole(self) -> Fraction:
        """Length as a fraction of a whole note."""
        return Fraction(1, self.fraction) * (2 - Fraction(1, 2**self.dots))


def odd_part(whole: Fraction) -> int:
    """Return the odd part of a length's denominator: 1 unless it needs a tuplet."""
    odd = whole.denominator
    while odd % 2 == 0:
        odd //= 2
    return odd


def within_tuplet(whole: Fraction, odd: int) -> Fraction:
    """Return a length as it is written in the tuplet of its odd part; with 1 as it is."""
    return whole * odd / _normal(odd)


def _normal(odd: int) -> int:
    """Return in whose time the notes of a tuplet are played: 3 in the time of 2, 5 of 4, 7 of 4, 9 of 8."""
    return 1 << (odd.bit_length() - 1)


@lru_cache(maxsize=1024)
def values_of(whole: Fraction) -> tuple[Value, ...]:
    """Return plain and dotted values that add up to a length whose denominator is a power of two.

    A length below the shortest value is written as that: a note that sounds is seen.

    >>> values_of(Fraction(5, 8))
    (Value(fraction=2, dots=0), Value(fraction=8, dots=0))
    >>> values_of(Fraction(3, 4))
    (Value(fraction=2, dots=1),)
    >>> values_of(Fraction(1, 4096))
    (Value(fraction=1024, dots=0),)
    """
    values: list[Value] = []
    left = whole
    fraction = 1
    while left > 0 and fraction <= _SHORTEST:
        plain = Value(fraction)
        if plain.whole > left:
            fraction *= 2
            continue
        dotted = Value(fraction, 1)
        value = dotted if dotted.whole == left else plain
        values.append(value)
        left -= value.whole
    return (Value(_SHORTEST),) if not values and whole > 0 else tuple(values)


def set_value(element: Element, value: Value) -> Element:
    """Give an element its length."""
    element.set("dur", str(value.fraction))
    if value.dots:
        element.set("dots", str(value.dots))
    return element


def tuplet(layer: Element, odd: int, look: Mapping[str, str]) -> Element:
    """Add a tuplet of an odd part; with 1 return the layer, which needs none."""
    if odd == 1:
        return layer
    return SubElement(layer, "tuplet", {"num": str(odd), "numbase": str(_normal(odd)), **look})


def add_timed(layer: Element, whole: Fraction, tag: str, attributes: Mapping[str, str]) -> Element:
    """Add an element of an exact length, in whole notes, with empty space after it where one value isn't as long.

    It stands in an unseen tuplet if it needs one.
    """
    odd = odd_part(whole)
    parent = tuplet(layer, odd, {"num.visible": "false", "bracket.visible": "false"})
    element = SubElement(parent, tag, dict(attributes))
    for index, value in enumerate(values_of(within_tuplet(whole, odd))):
        set_value(SubElement(parent, "space") if index else element, value)
    return element
