"""What a student is told, in words: one table, which the class page has too, so that both say the same."""

from __future__ import annotations

__all__ = ["SENTENCES", "said"]

SENTENCES = {
    "perhaps": "Perhaps: {said}",
    "and": "{most} and {last}",
    "bar_one": "1 bar",
    "bar_many": "{count} bars",
    "roll_one": "1 roll",
    "roll_many": "{count} rolls",
    "string_high": "String {string} is about {cents} cents too high: tune it first.",
    "string_low": "String {string} is about {cents} cents too low: tune it first.",
    "all_high": "All strings are about {cents} cents higher than the tracks: tune to them first.",
    "all_low": "All strings are about {cents} cents lower than the tracks: tune to them first.",
    "in_bar": "Bar {bars}: {told}.",
    "in_bars": "Bars {bars}: {told}.",
    "in_pickup": "Pick-up: {told}.",
    "not_heard": "{wanted} wasn't heard",
    "heard_for": "{heard} was heard for {wanted}",
    "slower": "Bars {first} to {last} were {percent}% slower than the rest.",
    "front_near": (
        "The strums lay {lu} LU behind the melody; {wanted} LU are wanted: softer strums, or a louder tune."
    ),
    "front_far": (
        "The strums lay {lu} LU behind the melody; {wanted} LU are wanted: a little more of the strums."
    ),
    "ran_past": (
        "{rolls} ran past the tune's string, in bars {bars}: let the thumb come to rest on the next one."
    ),
    "came_late": "Bar {bar}: one note came {ms} ms late.",
    "came_early": "Bar {bar}: one note came {ms} ms early.",
    "well_notes": "Every note of the {bars} you played was there.",
    "well_front": "The melody stood {lu} LU in front of the strums, just as wanted.",
    "well_bars": "In bars {first} to {last} every note was there.",
    "well_pulse": "Your pulse was steady.",
    "well_tuned": "Your ukulele was in tune.",
    "well_going": "You kept going for {bars}.",
    "front_nothing": "the song has no melody and strums to compare",
    "front_few": "too few strokes of melody and strums were heard",
    "front_gated": (
        "hardly any noise of the room is in the recording, so it can't be told whether the device turned itself up "
        "and down; switch its noise suppression off, or record with another app"
    ),
    "front_noise": "the strums are lost in the noise of the room",
}
"""By name; what stands in braces is put in."""


def said(name: str, **values: object) -> str:
    """Return a sentence of the table with its places filled.

    >>> said("heard_for", heard="B4", wanted="A4")
    'B4 was heard for A4'
    """
    return SENTENCES[name].format(**values)
