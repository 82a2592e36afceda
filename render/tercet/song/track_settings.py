"""What a track of one's own can say, as one table: how each setting is read, written and described to editors."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, get_args

from tercet.errors import Edit
from tercet.song.bar_choice import says_bars
from tercet.song.choice_words import LONGEST_CHOICE, ChoiceError, parse_choice
from tercet.song.frame import Listing, Node, Text
from tercet.song.mistakes import SlipError
from tercet.song.model import OwnTrack, Turn
from tercet.song.practice_forms import PRACTICE_FORMS, forms_with
from tercet.song.spelling import number_text, yaml_text
from tercet.song.values import (
    SPEED_SCHEMA,
    number_of,
    one_of,
    place_within,
    speeds_of,
    text_of,
    value_of,
    yes_or_no,
)
from tercet.theory.limits import MOST_LOOPS, MOST_OWN_TRACKS

__all__ = [
    "CHOICES",
    "LONGEST_NAME",
    "OTHER_NAMES",
    "OWN_FORMS",
    "SETTING_NAMED",
    "TRACKS_SCHEMA",
    "TRACK_NAME",
    "TRACK_SETTINGS",
    "Fields",
    "TrackSetting",
    "tracks_text",
]

OWN_FORMS = tuple(form.name for form in PRACTICE_FORMS.values() if form.for_own_tracks)
"""The practice forms that a track of one's own may have."""

TURNS: tuple[Turn, ...] = get_args(Turn)

TRACK_NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
LONGEST_NAME = 40
_LONGEST_PURPOSE = 200
CHOICES = ("yours", "guide", "heard")

Fields = dict[str, Any]


@dataclass(frozen=True, slots=True)
class TrackSetting:
    """One thing that a track can say.

    Parameters
    ----------
    name
        As written in the file.
    about
        What it is, in one sentence, for editors.
    read
        From its node to fields of `OwnTrack`; raises `SlipError`.
    write
        From a track to the text after the colon; empty when it can be left out.
    schema
        What JSON Schema says of its value.
    """

    name: str
    about: str
    read: Callable[[Node], Fields]
    write: Callable[[OwnTrack], str]
    schema: dict[str, Any]

    @property
    def only(self) -> tuple[str, ...]:
        """The practice forms that it is for; empty for all."""
        return forms_with(self.name)


# ---- reading one setting


def _read_choice(field: str) -> Callable[[Node], Fields]:
    def read(node: Node) -> Fields:
        if isinstance(node, Listing):
            words = [item.text for item in node.items if isinstance(item, Text)]
            raise SlipError(
                "a choice of notes is one line of words", f"write {', '.join(words)}, without [ and ]"
            )
        plain = value_of(node, LONGEST_CHOICE)
        try:
            choice = parse_choice(node.text if isinstance(node, Text) else plain)
        except ChoiceError as error:
            raise _placed(error, node) from None
        if str(choice) == "nothing" and field != "guide":
            mend = "leave the setting out" if field == "yours" else "name the notes that are heard"
            raise SlipError("`nothing` chooses no notes, so it makes no track", mend)
        # One spelling, unless that is too long to be read again: `or` takes more room than a comma.
        return {field: str(choice) if len(str(choice)) <= LONGEST_CHOICE else plain}

    return read


def _placed(error: ChoiceError, node: Node) -> SlipError:
    """Return what is wrong with a choice as a slip at its place in the file."""
    if not isinstance(node, Text):  # pragma: no cover - not a text: value_of has refused it
        return SlipError(error.wrong, error.mend)
    place = place_within(node, error.start, error.width)
    if not error.write:
        return SlipError(error.wrong, error.mend, place)
    whole = place_within(node, 0, len(node.text))
    if whole.width != len(node.text):
        return SlipError(error.wrong, f"write {error.write.strip()}", place)
    after = whole.column + whole.width
    return SlipError(
        error.wrong, place=place, edits=(Edit(whole.line, whole.column, whole.line, after, error.write),)
    )


def _read_bars(node: Node) -> Fields:
    text = value_of(node)
    if not says_bars(text):
        mend = "write bars as 7, 5-8, verse, verse:3-4 or verse@2:3-4"
        raise SlipError(f"`{text[:40]}` doesn't say which bars", mend)
    return {"bars": text}


def _read_times(node: Node) -> Fields:
    text = value_of(node)
    times = number_of(re.sub(r"\s*(?:x|×|times)$", "", text))
    if times is None or times.denominator != 1 or not 1 <= times <= MOST_LOOPS:
        raise SlipError(f"must be a whole number, 1 to {MOST_LOOPS} (got {text})", "write for instance 4")
    return {"times": int(times)}


_CHOICE_SCHEMA = {"type": "string", "minLength": 1, "maxLength": LONGEST_CHOICE}

TRACK_SETTINGS: tuple[TrackSetting, ...] = (
    TrackSetting(
        "purpose",
        "What a student does with it, in one sentence.",
        lambda node: {"purpose": text_of(node, _LONGEST_PURPOSE)},
        lambda track: yaml_text(track.purpose),
        {"type": "string", "maxLength": _LONGEST_PURPOSE},
    ),
    TrackSetting(
        "yours",
        "The notes that are left to the student, in words: open, or melody but not bar 3.",
        _read_choice("yours"),
        lambda track: yaml_text(track.yours),
        _CHOICE_SCHEMA,
    ),
    TrackSetting(
        "heard",
        "Instead of yours: the notes that are heard, in the same words.",
        _read_choice("heard"),
        lambda track: yaml_text(track.heard),
        _CHOICE_SCHEMA,
    ),
    TrackSetting(
        "guide",
        "Of the notes left out, those that are still heard softly.",
        _read_choice("guide"),
        lambda track: yaml_text(track.guide),
        _CHOICE_SCHEMA,
    ),
    TrackSetting(
        "way",
        f"How it goes: {', '.join(OWN_FORMS)}.",
        lambda node: {"way": one_of(value_of(node), OWN_FORMS)},
        lambda track: track.way if track.way != "through" else "",
        {"enum": list(OWN_FORMS)},
    ),
    TrackSetting(
        "bars",
        "Which bars: 5-8 as played, verse, verse:3-4 or verse@2:3-4; without it, all.",
        _read_bars,
        lambda track: yaml_text(track.bars),
        {"type": ["string", "integer"]},
    ),
    TrackSetting(
        "by",
        "What is echoed, or played by turns.",
        lambda node: {"by": one_of(value_of(node), TURNS)},
        lambda track: track.by if track.by != "phrase" else "",
        {"enum": list(TURNS)},
    ),
    TrackSetting(
        "speed",
        "How fast, as a part of the song's tempo; a ladder has several.",
        lambda node: {"speeds": speeds_of(node)},
        lambda track: " ".join(f"{number_text(speed * 100)}%" for speed in track.speeds),
        {"anyOf": [SPEED_SCHEMA, {"type": "array", "items": SPEED_SCHEMA, "minItems": 1}]},
    ),
    TrackSetting(
        "times",
        "How often a loop is played.",
        _read_times,
        lambda track: "" if track.times is None else str(track.times),
        {"type": "integer", "minimum": 1, "maximum": MOST_LOOPS},
    ),
    TrackSetting(
        "swap",
        "Whether the class has the first turn.",
        lambda node: {"swap": yes_or_no(node)},
        lambda track: "yes" if track.swap else "",
        {"enum": [True, False, "yes", "no"]},
    ),
)
SETTING_NAMED = {setting.name: setting for setting in TRACK_SETTINGS}
OTHER_NAMES = {
    "about": "purpose",
    "description": "purpose",
    "mine": "heard",
    "play": "heard",
    "only": "heard",
    "without": "yours",
    "left-out": "yours",
    "soft": "guide",
    "kind": "way",
    "mode": "way",
    "type": "way",
    "section": "bars",
    "sections": "bars",
    "tempo": "speed",
    "speeds": "speed",
    "repeat": "times",
    "repeats": "times",
}

TRACKS_SCHEMA: dict[str, Any] = {
    "type": "object",
    "propertyNames": {"pattern": f"^{TRACK_NAME.pattern}$", "maxLength": LONGEST_NAME},
    "additionalProperties": {
        "type": "object",
        "properties": {
            setting.name: {"description": setting.about, **setting.schema} for setting in TRACK_SETTINGS
        },
        "additionalProperties": False,
        "minProperties": 1,
    },
    "maxProperties": MOST_OWN_TRACKS,
}


def tracks_text(tracks: Iterable[OwnTrack]) -> str:
    """Return the lines of the setting ``tracks``, after its name; empty for none."""
    lines: list[str] = []
    for track in tracks:
        lines.append(f"  {track.name}:")
        lines += [
            f"    {setting.name}: {text}" for setting in TRACK_SETTINGS if (text := setting.write(track))
        ]
    return "".join(f"\n{line}" for line in lines)
