"""Exact lengths as written note values, and in MEI: dots, ties and tuplets.

A length is a fraction of a whole note. Its odd part (3 for triplets, 5, 7, …) makes a tuplet; what is left is a sum of
plain and dotted values, the longest first.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from xml.etree.ElementTree import Element, SubElement

__all__ = ["Ratio", "Value", "add_filler", "odd_part", "ratio_of", "set_value", "timed", "values_of"]

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


@dataclass(frozen=True, slots=True)
class Ratio:
    """A tuplet: `actual` notes in the time of `normal`."""

    actual: int
    normal: int


def odd_part(whole: Fraction) -> int:
    """Return the odd part of a length's denominator: 1 unless it needs a tuplet."""
    odd = whole.denominator
    while odd % 2 == 0:
        odd //= 2
    return odd


def ratio_of(odd: int) -> Ratio:
    """Return the tuplet of an odd part: 3 in the time of 2, 5 of 4, 7 of 4, 9 of 8."""
    return Ratio(odd, 1 << (odd.bit_length() - 1))


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


def add_filler(layer: Element, whole: Fraction) -> None:
    """Add empty space of an exact length, in whole notes."""
    parent, nominal = timed(layer, whole)
    for value in values_of(nominal):
        set_value(SubElement(parent, "space"), value)


def timed(layer: Element, whole: Fraction) -> tuple[Element, Fraction]:
    """Return where to put values of an exact length, and their length there: in an unseen tuplet if it needs one."""
    odd = odd_part(whole)
    if odd == 1:
        return layer, whole
    ratio = ratio_of(odd)
    unseen = {"num.visible": "false", "bracket.visible": "false"}
    tuplet = SubElement(layer, "tuplet", {"num": str(ratio.actual), "numbase": str(ratio.normal), **unseen})
    return tuplet, whole * ratio.actual / ratio.normal
