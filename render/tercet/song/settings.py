"""The settings of an arrangement file, as one table: how each is read, written and described to editors."""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any, get_args

from tercet.errors import Edit, ParameterError, RequestError
from tercet.song.frame import Entry, Listing, Mapping, Node, Text
from tercet.song.grammar import StrumWord, read_word
from tercet.song.mistakes import MistakeBook, SlipError, meant_word
from tercet.song.model import (
    LAYERS,
    TAG,
    BetweenNotes,
    Dynamics,
    Feel,
    LastRitard,
    Meter,
    Players,
    SecondVoice,
    Song,
    Source,
)
from tercet.song.slips import explain_word, words_as_meant
from tercet.song.spelling import number_text, yaml_text
from tercet.song.styles import STYLE_SCHEMA, STYLES, read_style, style_text
from tercet.song.track_settings import TRACKS_SCHEMA, tracks_text
from tercet.song.value_slips import meant_meter, meant_number, meant_tempo, meters_of
from tercet.song.values import (
    meant_name,
    note_unknown,
    note_wrong,
    number_of,
    one_of,
    or_words,
    text_of,
    value_of,
    yes_or_no,
)
from tercet.theory import (
    DYNAMIC_MARKS,
    INSTRUMENTS,
    NEEDED_STRINGS,
    STRUM_SIGNS,
    TUNINGS,
    Key,
    Pitch,
    allowed_open,
    meant_tunings,
    parse_key,
)
from tercet.theory.limits import (
    FRONT_RANGE_LU,
    LOWER_FIGURES,
    MOST_ADDED_BARS,
    MOST_COUNT_IN_BARS,
    MOST_SEMITONES,
    MOST_UPPER,
    SCALE_RANGE_MM,
    SWING_RANGE,
    TEMPO_RANGE,
)
from tercet.theory.note_names import meant_key
from tercet.wording import listed

__all__ = [
    "PLAYERS",
    "SCHEMA_FILES",
    "SETTINGS",
    "SETTING_NAMES",
    "SOUNDING_ABOUT",
    "SOUNDING_SCHEMA",
    "TUNING_SCHEMA",
    "Setting",
    "key_named",
    "meter_named",
    "read_settings",
    "read_sounding",
    "schema_of",
    "schema_path",
    "settings_as_meant",
    "song_schema",
    "written_tuning",
]

PLAYERS: tuple[Players, ...] = get_args(Players)
BETWEEN: tuple[BetweenNotes, ...] = get_args(BetweenNotes)
SECOND_VOICES: tuple[SecondVoice, ...] = get_args(SecondVoice)
FEELS: tuple[Feel, ...] = get_args(Feel)
LAST_RITARDS: tuple[LastRitard, ...] = get_args(LastRitard)

_PITCH_PATTERN = r"^[A-G](##|#|bb|b)?-?[0-9]$"

_Fields = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting.

    Parameters
    ----------
    name
        As written in the file.
    about
        What it is, in one sentence, for editors.
    read
        From its node to fields of `Song`; raises `SlipError`. None for those that note mistakes of their own.
    write
        From a song to the text after the colon, with a line break first when it stands below; empty when the setting
        can be left out.
    schema
        What JSON Schema says of its value.
    required
        Whether every song needs it.
    """

    name: str
    about: str
    read: Callable[[Node], _Fields] | None
    write: Callable[[Song], str]
    schema: dict[str, Any]
    required: bool = False


# ---- reading


def _free_text(field: str, longest: int = 200) -> Callable[[Node], _Fields]:
    return lambda node: {field: text_of(node, longest)}


def _read_title(node: Node) -> _Fields:
    return {"title": value_of(node)}


def _read_key(node: Node) -> _Fields:
    text = value_of(node)
    try:
        return {"key": parse_key(text)}
    except ParameterError:
        pass
    meant = meant_key(text)
    letter = re.fullmatch(r"([a-g])([#b]?)", text)
    either = f"{letter[1].upper()}{letter[2]}" if letter else ""
    how = (
        f"write {either} major or {either} minor"
        if either
        else "write for instance A minor, Bb major or F# minor"
    )
    raise SlipError(
        f"must be a note and major or minor, with at most seven sharps or flats (got {text})",
        "" if meant else how,
        write=meant or None,
    )


def key_named(text: str) -> Key:
    """Read the name of a key as the setting is read.

    Raises
    ------
    RequestError
        There is no such key.
    """
    key: Key = _value_named("key", _read_key, text)
    return key


def meter_named(text: str) -> Meter:
    """Read a meter as the setting is read.

    Raises
    ------
    RequestError
        There is no such meter.
    """
    meter: Meter = _value_named("meter", _read_meter, text)
    return meter


def _value_named(name: str, read: Callable[[Node], _Fields], text: str) -> Any:
    """Read a value as the setting of that name is read; `RequestError` with what was meant for what is none."""
    if not text:
        raise RequestError(f"a {name} must be given")
    try:
        return read(Text(text, "", Source(0, 0)))[name]
    except SlipError as wrong:
        mend = f"write {wrong.write}" if wrong.write is not None else wrong.mend
        raise RequestError(
            f"a {name} {wrong.message}{mend and ': '}{mend}", given=text, meant=wrong.write or ""
        ) from None


def read_sounding(node: Node) -> _Fields:
    """Read how many semitones higher a song is played than written, of a song or a class file."""
    text = value_of(node)
    if not re.fullmatch(r"[+-]?\d{1,6}", text) or abs(int(text)) > MOST_SEMITONES:
        raise SlipError(
            f"must be a whole number of semitones, -{MOST_SEMITONES} to {MOST_SEMITONES} (got {text})",
            "write for instance -2 for two semitones lower",
        )
    return {"sounding": int(text)}


def _read_meter(node: Node) -> _Fields:
    text = value_of(node)
    match = re.fullmatch(r"(\d{1,3})\s*/\s*(\d{1,3})", text)
    if not match:
        meant, either = meant_meter(text), meters_of(text)
        raise SlipError(
            f"must be two numbers such as 3/4 or 6/8 (got {text})",
            f"write {either}" if either else "",
            write=meant or None,
        )
    upper, lower = int(match[1]), int(match[2])
    if not 1 <= upper <= MOST_UPPER:
        raise SlipError(f"must have 1 to {MOST_UPPER} beats in a bar (got {upper})")
    if lower not in LOWER_FIGURES:
        raise SlipError(f"must have {or_words(tuple(map(str, LOWER_FIGURES)))} below the line (got {lower})")
    return {"meter": Meter(upper, lower)}


_AROUND_TEMPO = re.compile(
    r"(?:about|ca\.?|c\.|~|=|mm|m\.m\.|bpm|♩|♩\s*=)?\s*[\d.,]+\s*"
    r"(?:bpm|b\.p\.m\.?|(?:beats|pulses|clicks)\s*(?:a|per|/)\s*(?:min\.?|minute))?",
    re.IGNORECASE,
)


def _read_tempo(node: Node) -> _Fields:
    text = value_of(node)
    low, high = TEMPO_RANGE
    tempo = number_of(text)
    if tempo is None or not low <= tempo <= high:
        raise SlipError(
            f"must be a number of pulses a minute, {low} to {high} (got {text})",
            "write one number: tap your foot along, and count the taps of a minute",
        )
    return {"tempo": tempo}


def _read_instrument(node: Node) -> _Fields:
    text = value_of(node)
    low, high = SCALE_RANGE_MM
    if text in INSTRUMENTS:
        return {"instrument": text, "scale_length_mm": INSTRUMENTS[text].scale_length_mm}
    number = number_of(re.sub(r"\s*mm$", "", text))
    if number is not None and low <= number <= high:
        return {"instrument": "custom", "scale_length_mm": float(number)}
    close = meant_word(re.sub(r"(?i)\s*(ukulele|uke)$", "", text), INSTRUMENTS)
    raise SlipError(
        f"must be {or_words(tuple(INSTRUMENTS))}, or the scale length of {low} to {high} mm (got {text})",
        write=close or None,
    )


def _read_tuning(node: Node) -> _Fields:
    return {"tuning": written_tuning(node)}


def written_tuning(node: Node) -> str | tuple[Pitch, ...]:
    """Read a tuning: its name, or four notes with string 4 first."""
    if isinstance(node, Listing):
        return _four_pitches([(text_of(item), item.place) for item in node.items])
    text = value_of(node)
    if text in TUNINGS:
        return text
    words = re.split(r"[\s,]+", text)
    if len(words) == 4 and re.fullmatch(r"(?:[a-g][#b]?\d ?){4}", " ".join(words)):
        notes = ", ".join(word[0].upper() + word[1:] for word in words)
        raise SlipError(f"must be notes with capital letters (got {text})", write=f"[{notes}]")
    if len(words) == 4 and any(character.isdigit() for character in text):
        return _four_pitches([(word, node.place) for word in words])
    exact = meant_tunings(text, near=False)
    likely = exact or meant_tunings(text)
    how = f"write {listed(likely, 'or')}, if that is meant" if likely else _FOUR_OF_ONES_OWN
    surely = exact[0] if len(exact) == 1 else None
    raise SlipError(
        f"must be {or_words(tuple(TUNINGS))}, or four notes (got {text})", "" if surely else how, write=surely
    )


_FOUR_OF_ONES_OWN = "write for instance [A4, D4, F#4, B4], string 4 first"
_FOUR_NOTES = "write for instance [G4, C4, E4, A4]"


def _four_pitches(words: list[tuple[str, Source]]) -> tuple[Pitch, ...]:
    if len(words) != 4:
        raise SlipError(f"must have four notes, string 4 first (got {len(words)})", _FOUR_NOTES)
    pitches = []
    for word, place in words:
        try:
            pitch = Pitch.parse(word)
        except ParameterError:
            wrong = f"must be notes with their octaves (got {word[:40]})"
            raise SlipError(wrong, _FOUR_NOTES, place) from None
        if (allowed := allowed_open(pitch)) != pitch:
            raise SlipError(f"{NEEDED_STRINGS} (got {pitch})", f"write for instance {allowed}", place)
        pitches.append(pitch)
    return tuple(pitches)


def _read_players(node: Node) -> _Fields:
    return {"players": one_of(value_of(node), PLAYERS)}


def _read_between(node: Node) -> _Fields:
    return {"between": one_of(value_of(node), BETWEEN)}


def _read_second(node: Node) -> _Fields:
    return {"second": one_of(value_of(node), SECOND_VOICES)}


def _read_as_written(node: Node) -> _Fields:
    return {"as_written": yes_or_no(node)}


def _read_feel(node: Node) -> _Fields:
    return {"feel": one_of(value_of(node), FEELS)}


def _read_rit(node: Node) -> _Fields:
    return {"rit": one_of(value_of(node), LAST_RITARDS)}


def _read_dynamics(node: Node) -> _Fields:
    wanted = "write for instance dynamics: {melody: f, between: mp, strums: p}"
    if not isinstance(node, Mapping):
        raise SlipError("must name its layers", wanted)
    marks: dict[str, str] = {}
    known = {entry.key.text for entry in node.entries}
    for entry in node.entries:
        layer, place = entry.key.text, entry.key.place
        if layer not in LAYERS:
            close = meant_word(layer, LAYERS)
            close = "" if close in known else close
            raise SlipError(
                f"`{layer[:40]}` isn't a layer", "" if close else wanted, place, write=close or None
            )
        try:
            mark = value_of(entry.value)
            marks[layer] = one_of(mark, DYNAMIC_MARKS)
        except SlipError as wrong:
            meant = words_as_meant("mark", [mark]) if mark else None
            write = meant if meant in DYNAMIC_MARKS else None
            raise SlipError(f"{layer} {wrong.message}", "", entry.value.place, write=write) from None
    return {"dynamics": Dynamics(**marks)}


def _read_strum(node: Node) -> _Fields:
    texts = value_of(node).split()
    told = [explain_word("strum", text) for text in texts]
    wrong = [slip for slip in told if slip is not None]
    if wrong:
        sure = all(slip.write is not None for slip in wrong)
        meant = " ".join(
            text if slip is None else slip.write or "" for text, slip in zip(texts, told, strict=True)
        )
        if "-" in "".join(texts) and meant.isupper():
            meant = meant.lower()  # D - D U: who writes so accents nothing
        raise SlipError(wrong[0].message, wrong[0].mend, write=meant if sure else None)
    words: list[StrumWord] = [read_word("strum", text) for text in texts]
    return {"strum": tuple(slot for word in words for slot in word.slots)}


def _read_swing(node: Node) -> _Fields:
    text = value_of(node)
    low, high = SWING_RANGE
    swing = number_of(text)
    if swing is None or not low <= swing <= high:
        meant = number_of(meant_number(text)) or Fraction(0)
        sure = low <= meant <= high and meant not in _NEARLY_TRIPLETS
        mend = "write 2/3 for the swing of triplets, 1/2 for none" if not sure else ""
        raise SlipError(
            f"must be a fraction from {low} to {high} (got {text})", mend, write=str(meant) if sure else None
        )
    return {"swing": swing}


_NEARLY_TRIPLETS = tuple(Fraction(figure) for figure in ("0.66", "0.67", "0.666", "0.667"))


def _read_front(node: Node) -> _Fields:
    text = value_of(node)
    low, high = FRONT_RANGE_LU
    front = number_of(re.sub(r"\s*(LU|dB)$", "", text, flags=re.IGNORECASE))
    if front is None or not low <= front <= high:
        meant = number_of(meant_number(text, "LU|dB"))
        sure = meant is not None and low <= meant <= high
        raise SlipError(
            f"must be how far the strums lie behind the melody, {low} to {high} LU (got {text})",
            "" if sure else "write for instance 9, or 12 for more",
            write=number_text(meant) if meant is not None and sure else None,
        )
    return {"front": front}


def _bars(text: str, most: int) -> int:
    """Read how many bars there are to be; 0 is none."""
    bars = number_of(text)
    if bars is None or bars.denominator != 1 or bars > most:
        meant = meant_number(text, "bars?|measures?")
        sure = meant.isdigit() and int(meant) <= most
        raise SlipError(
            f"must be a whole number of bars, 0 to {most} (got {text})", write=meant if sure else None
        )
    return int(bars)


def _read_count_in(node: Node) -> _Fields:
    return {"count_in_bars": _bars(value_of(node), MOST_COUNT_IN_BARS)}


def _read_lead_in(field: str) -> Callable[[Node], _Fields]:
    return lambda node: {field: _bars(value_of(node), MOST_ADDED_BARS)}


_ENDING = re.compile(rf"{TAG}(?:\s+(\d{{1,3}}))?")
_TAG_SLIP = re.compile(
    r"(?:(?P<word>[^\W\d_]+)[\s:,x×*(]*)?(?P<bars>\d{1,2}|[^\W\d_]+)?(?:\s*(?:bars?|measures?))?\)?"
)


def _read_ending(node: Node) -> _Fields:
    text = value_of(node)
    if text == _NO_ENDING:
        return {}
    match = _ENDING.fullmatch(text)
    if match is not None and (match[1] is None or 1 <= int(match[1]) <= MOST_ADDED_BARS):
        return {"tag_bars": int(match[1] or 0)}
    write = _meant_ending(text)
    mend = _ENDINGS_IN_MARKS.get(text.casefold(), f"write {TAG}, or leave the setting out")
    raise SlipError(
        f"must be {TAG}, or {TAG} and a number of bars, 1 to {MOST_ADDED_BARS}, such as {TAG} 4 (got {text})",
        "" if write else mend,
        write=write,
    )


def _meant_ending(text: str) -> str | None:
    """Return the ending that a text surely means, or None."""
    match = _TAG_SLIP.fullmatch(text.strip())
    word = (match["word"] or match["bars"] or "") if match is not None else ""
    if match is None or not (word.isdigit() or meant_word(word, (TAG,))):
        return meant_word(text, (_NO_ENDING,)) or None
    figure = meant_number(match["bars"] or "")
    if (match["bars"] and match["word"] and not figure) or (
        figure and not 1 <= int(figure) <= MOST_ADDED_BARS
    ):
        return None
    return f"{TAG} {figure}".rstrip()


_NO_ENDING = "none"
_ENDINGS_IN_MARKS = {
    **dict.fromkeys(
        ("hold", "held", "fermata", "pause"),
        "to hold the last chord, write fermata@1 in the last bar of the row marks",
    ),
    **dict.fromkeys(
        ("rit", "rit.", "ritard", "ritardando", "slow", "slower", "slow down"),
        "to slow down, write rit@1 in the row marks, in the bar where that begins",
    ),
    **dict.fromkeys(
        ("fade", "fade out", "softer"),
        "to fade, write softer@1 in the row marks, in the bar where that begins, and pp@1 in the last",
    ),
}
"""Endings that marks make, and how."""


def _read_sound(node: Node) -> _Fields:
    return {"sound": value_of(node)}


# ---- writing


def _write_instrument(song: Song) -> str:
    if not song.instrument:
        return ""
    named = INSTRUMENTS.get(song.instrument)
    if named is not None and named.scale_length_mm == song.scale_length_mm:
        return named.name
    return number_text(Fraction(song.scale_length_mm).limit_denominator(1000))


def _write_tuning(song: Song) -> str:
    if isinstance(song.tuning, str):
        return song.tuning
    return f"[{', '.join(map(str, song.tuning))}]"


def _write_dynamics(song: Song) -> str:
    told = [layer for layer in LAYERS if getattr(song.dynamics, layer) is not None]
    return "{" + ", ".join(f"{layer}: {song.dynamics.of(layer)}" for layer in told) + "}"


def _write_ending(song: Song) -> str:
    return "" if song.tag_bars is None else f"{TAG} {song.tag_bars or ''}".rstrip()


def _write_form(song: Song) -> str:
    names = [visit.section for visit in song.form]
    if names == [section.name for section in song.sections]:
        return ""
    runs: list[tuple[str, int]] = []
    for name in names:
        if runs and runs[-1][0] == name and runs[-1][1] < 99:
            runs[-1] = (name, runs[-1][1] + 1)
        else:
            runs.append((name, 1))
    form = " ".join(name if times == 1 else f"{name}*{times}" for name, times in runs)
    return (
        form
        if len(form) <= _WIDEST_FORM
        else "\n"
        + textwrap.indent(
            textwrap.fill(form, _WIDEST_FORM, break_long_words=False, break_on_hyphens=False), "  "
        )
    )


_WIDEST_FORM = 100
"""Columns, before a form goes on in a line of its own."""

_MARK = {"enum": list(DYNAMIC_MARKS)}

TUNING_SCHEMA: dict[str, Any] = {
    "anyOf": [
        {"enum": list(TUNINGS)},
        {
            "type": "array",
            "items": {"type": "string", "pattern": _PITCH_PATTERN},
            "minItems": 4,
            "maxItems": 4,
        },
    ]
}

SOUNDING_ABOUT = (
    "How many semitones higher it is played than written, lower with a minus; the file stays as it is."
)
SOUNDING_SCHEMA: dict[str, Any] = {
    "type": "integer",
    "minimum": -MOST_SEMITONES,
    "maximum": MOST_SEMITONES,
}

_ADDED_BARS_SCHEMA: dict[str, Any] = {"type": "integer", "minimum": 0, "maximum": MOST_ADDED_BARS}

SETTINGS: tuple[Setting, ...] = (
    Setting(
        "title",
        "What the song is called.",
        _read_title,
        lambda song: yaml_text(song.title),
        {"type": "string", "minLength": 1, "maxLength": 200},
        required=True,
    ),
    Setting(
        "composer",
        "Who wrote the tune.",
        _free_text("composer"),
        lambda song: yaml_text(song.composer),
        {"type": "string", "maxLength": 200},
    ),
    Setting(
        "from",
        "Where the tune is from: a book, a collection, a person, in free words.",
        _free_text("source_note", 1000),
        lambda song: yaml_text(song.source_note),
        {"type": "string", "maxLength": 1000},
    ),
    Setting(
        "licence",
        "How others may use the arrangement, such as CC0-1.0.",
        _free_text("licence"),
        lambda song: yaml_text(song.licence),
        {"type": "string", "maxLength": 200},
    ),
    Setting(
        "key",
        "The key, such as A minor or Bb major. Write every sharp and flat yourself all the same: in G major F#, not F.",
        _read_key,
        lambda song: str(song.key),
        {"type": "string", "pattern": r"^[A-G][#b♯♭]?\s*(major|minor|maj|min|m)?$"},
    ),
    Setting(
        "sounding",
        SOUNDING_ABOUT,
        read_sounding,
        lambda song: "" if song.sounding is None else str(song.sounding),
        SOUNDING_SCHEMA,
    ),
    Setting(
        "meter",
        "Beats in a bar and what counts as one, such as 3/4 or 6/8.",
        _read_meter,
        lambda song: str(song.meter),
        {"type": "string", "pattern": rf"^[1-9][0-9]?\s*/\s*({'|'.join(map(str, LOWER_FIGURES))})$"},
    ),
    Setting(
        "tempo",
        "Pulses a minute: quarters in 3/4, dotted quarters in 6/8, halves in 2/2.",
        _read_tempo,
        lambda song: number_text(song.tempo),
        {
            "anyOf": [
                {"type": "number", "minimum": TEMPO_RANGE[0], "maximum": TEMPO_RANGE[1]},
                {"type": "string", "pattern": "^[0-9]+/[0-9]+$"},
            ]
        },
    ),
    Setting(
        "instrument",
        "The size of the instrument: its name, or its scale length in mm.",
        _read_instrument,
        _write_instrument,
        {
            "anyOf": [
                {"enum": list(INSTRUMENTS)},
                {"type": "number", "minimum": SCALE_RANGE_MM[0], "maximum": SCALE_RANGE_MM[1]},
            ]
        },
    ),
    Setting(
        "tuning",
        "The open strings: a name, or four notes with string 4 first.",
        _read_tuning,
        _write_tuning,
        TUNING_SCHEMA,
    ),
    Setting(
        "players",
        "How hard it may be to play.",
        _read_players,
        lambda song: song.players,
        {"enum": list(PLAYERS)},
    ),
    Setting(
        "dynamics",
        "How loud each layer starts.",
        _read_dynamics,
        _write_dynamics,
        {"type": "object", "properties": dict.fromkeys(LAYERS, _MARK), "additionalProperties": False},
    ),
    Setting(
        "strum",
        f"The strum pattern of one bar: {'; '.join(f'{row.sign} {row.about}' for row in STRUM_SIGNS.values())}.",
        _read_strum,
        lambda song: " ".join(song.strum or ()),
        {"type": "string", "pattern": rf"^[{re.escape(''.join(STRUM_SIGNS))}\s]+$"},
    ),
    Setting(
        "between",
        "Whether Tercet adds single notes in the long spaces that no between row fills.",
        _read_between,
        lambda song: song.between if song.between != "as-written" else "",
        {"enum": list(BETWEEN)},
    ),
    Setting(
        "second",
        "A second voice for half the class, under the tune: in thirds, in sixths, or as a slow low line.",
        _read_second,
        lambda song: song.second or "",
        {"enum": list(SECOND_VOICES)},
    ),
    Setting(
        "style",
        "How tune and chords share the strings, or that of each of some sections or passes: "
        f"{'; '.join(f'{name}: {row.about}' for name, row in STYLES.items())}.",
        read_style,
        style_text,
        STYLE_SCHEMA,
    ),
    Setting(
        "as-written",
        "Whether a note that no string has keeps its octave, with an empty place in the tab, instead of being moved.",
        _read_as_written,
        lambda song: "yes" if song.as_written else "",
        {"enum": [True, False, "yes", "no"]},
    ),
    Setting(
        "swing",
        "Where the second half of the pulse falls: 2/3 swings like triplets, 1/2 is straight.",
        _read_swing,
        lambda song: number_text(song.swing) if song.swing != Fraction(1, 2) else "",
        {
            "anyOf": [
                {"type": "number", "minimum": float(SWING_RANGE[0]), "maximum": float(SWING_RANGE[1])},
                {"type": "string", "pattern": "^[0-9]+/[0-9]+$"},
            ]
        },
    ),
    Setting(
        "front",
        "How far the strums lie behind the melody, in LU, the unit of loudness; left out, the dynamics say it.",
        _read_front,
        lambda song: "" if song.front is None else number_text(song.front),
        {"type": "number", "minimum": FRONT_RANGE_LU[0], "maximum": FRONT_RANGE_LU[1]},
    ),
    Setting(
        "feel",
        "How exactly the players keep together.",
        _read_feel,
        lambda song: song.feel if song.feel != "natural" else "",
        {"enum": list(FEELS)},
    ),
    Setting(
        "rit",
        "Whether the last bars slow down where the marks say nothing about it.",
        _read_rit,
        lambda song: song.rit if song.rit != "end" else "",
        {"enum": list(LAST_RITARDS)},
    ),
    Setting(
        "sound",
        "The sound font to play it with.",
        _read_sound,
        lambda song: yaml_text(song.sound or ""),
        {"type": "string", "minLength": 1, "maxLength": 200},
    ),
    Setting(
        "count-in",
        "Bars counted before the music starts.",
        _read_count_in,
        lambda song: "" if song.count_in_bars is None else str(song.count_in_bars),
        {"type": "integer", "minimum": 0, "maximum": MOST_COUNT_IN_BARS},
    ),
    Setting(
        "intro",
        "Bars of chords played before the tune: those that lead into the first section.",
        _read_lead_in("intro_bars"),
        lambda song: str(song.intro_bars or ""),
        _ADDED_BARS_SCHEMA,
    ),
    Setting(
        "turnaround",
        "Bars of chords played each time that the piece comes back to its first section, or where the form says.",
        _read_lead_in("turnaround_bars"),
        lambda song: str(song.turnaround_bars or ""),
        _ADDED_BARS_SCHEMA,
    ),
    Setting(
        "ending",
        "How it ends: tag plays the last bars once more, tag 4 the last four.",
        _read_ending,
        _write_ending,
        {"type": "string", "pattern": rf"^({_NO_ENDING}|{TAG}( +[0-9]+)?)$"},
    ),
    Setting(
        "tracks",
        "Tracks of one's own: for each its name, and under it what it is.",
        None,
        lambda song: tracks_text(song.tracks),
        TRACKS_SCHEMA,
    ),
    Setting(
        "form",
        "Section names in the order played; verse*2 plays one twice. Without it, as written.",
        None,
        _write_form,
        {
            "anyOf": [
                {"type": "string", "minLength": 1},
                {"type": "array", "items": {"type": "string"}, "minItems": 1},
            ]
        },
    ),
    Setting(
        "sections",
        "The music: each section's rows (chords, melody, between, strum, words, marks) in a block after |.",
        None,
        lambda _: "",
        {
            "type": "object",
            "propertyNames": {"pattern": r"^[^\W\d_][\w-]*$"},
            "additionalProperties": {"type": "string", "minLength": 1},
            "minProperties": 1,
        },
        required=True,
    ),
)

_BY_NAME = {setting.name: setting for setting in SETTINGS}
_OTHER_NAMES = {
    "license": "licence",
    "bpm": "tempo",
    "speed": "tempo",
    "time": "meter",
    "time signature": "meter",
    "time-signature": "meter",
    "metre": "meter",
    "key signature": "key",
    "author": "composer",
    "artist": "composer",
    "source": "from",
    "rights": "licence",
    "size": "instrument",
    "transpose": "sounding",
    "soundfont": "sound",
    "structure": "form",
    "order": "form",
    "stile": "style",
    "level": "players",
    "name": "title",
    "countin": "count-in",
    "parts": "sections",
    "introduction": "intro",
    "turn-around": "turnaround",
    "vamp": "turnaround",
    "outro": "ending",
    "end": "ending",
}


SETTING_NAMES = {**{name: name for name in _BY_NAME}, **_OTHER_NAMES}
"""The settings' names, and other words for them, each with the name it stands for."""


def _under_sections(entries: list[Entry], book: MistakeBook) -> list[Entry]:
    """Return the settings with blocks of rows that stand among them as sections; note those."""
    loose = [
        entry
        for entry in entries
        if entry.key.text not in _BY_NAME and isinstance(entry.value, Text) and entry.value.body
    ]
    if not loose:
        return entries
    for entry in loose:
        body = entry.value.body if isinstance(entry.value, Text) else ()
        line = entry.key.place.line
        book.add(
            f"`{entry.key.text[:40]}` stands among the settings: a section stands under `sections:`, further in",
            entry.key.place,
            mend="write sections: on a line above the first section, and put two spaces more before names and rows",
            edits=(
                Edit(line, 1, line, 1, "sections:\n  " if entry is loose[0] else "  "),
                *(Edit(row.number, 1, row.number, 1, "  ") for row in body if row.text.strip()),
            ),
        )
    place = loose[0].key.place
    sections = Entry(Text("sections", "", place), Mapping(tuple(loose), place))
    return [*(entry for entry in entries if entry not in loose), sections]


def settings_as_meant(top: Mapping, book: MistakeBook) -> Mapping:
    """Return the settings with the names that they were meant to have; those that they don't have are noted."""
    names = {entry.key.text for entry in top.entries}
    entries: list[Entry] = []
    lacks_sections = "sections" not in map(_OTHER_NAMES.get, names) and "sections" not in names
    for entry in _under_sections(list(top.entries), book) if lacks_sections else top.entries:
        meant = entry.key.text
        if meant not in _BY_NAME:
            note_unknown(entry, _BY_NAME, _OTHER_NAMES, names, book)
            meant = meant_name(meant, _BY_NAME, _OTHER_NAMES) or meant
        if meant == entry.key.text or meant not in names:
            entries.append(replace(entry, key=replace(entry.key, text=meant)))
            names.add(meant)
    return replace(top, entries=tuple(entries))


def read_settings(top: Mapping, book: MistakeBook) -> _Fields:
    """Read every setting but `tracks`, `form` and `sections`; return the fields of `Song` that could be read."""
    fields: _Fields = {}
    written = {entry.key.text for entry in top.entries}
    for entry in top.entries:
        setting = _BY_NAME.get(entry.key.text)
        if setting is not None and setting.read is not None:
            try:
                fields |= setting.read(entry.value)
            except SlipError as wrong:
                if setting.name == "tempo":
                    wrong = _with_meter(wrong, entry.value, top)
                note_wrong(setting.name, setting.read, entry, wrong, book)
    for setting in SETTINGS:
        if setting.required and setting.name not in written:
            example = (
                "sections: and under it a name with |, and rows"
                if setting.name == "sections"
                else "title: Harbour Lanterns"
            )
            book.add(
                f"the setting `{setting.name}` is missing", Source(0, 0), mend=f"write for instance {example}"
            )
    if "tuning" not in written and fields.get("instrument") in INSTRUMENTS:
        fields["tuning"] = INSTRUMENTS[fields["instrument"]].tuning
    return fields


def _with_meter(wrong: SlipError, tempo: Node, top: Mapping) -> SlipError:
    """Return what is said of a tempo with its mend, which the meter may decide: what a pulse is."""
    meter: Meter | None = Meter(4, 4)
    for entry in top.entries:
        if entry.key.text == "meter":
            try:
                meter = _read_meter(entry.value)["meter"]
            except SlipError as unread:
                meter = None if unread.write is None else Meter(*map(int, unread.write.split("/")))
    meant = meant_tempo(text_of(tempo), meter) if isinstance(tempo, Text) else ""
    return SlipError(wrong.message, write=meant) if meant else wrong


def schema_of(setting: Setting) -> dict[str, Any]:
    """Return what JSON Schema says of a setting's value, with its description."""
    copied: dict[str, Any] = json.loads(json.dumps(setting.schema))
    return {"description": setting.about, **copied}


# ---- the schema


SCHEMA_FILES = {"songs": "song.schema.json", "class files": "class.schema.json"}
"""The published schemas, beside this module, and what each is for."""


def schema_path(name: str) -> Path:
    """Return where a published schema lies on this computer."""
    return Path(__file__).with_name(name)


def song_schema() -> dict[str, Any]:
    """Return the schema, as JSON Schema draft 2020-12.

    It says which settings there are and what their values look like. The rows of a section are text to it: what
    is right in them only the reader knows.
    """
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Tercet arrangement file",
        "description": "One song: its settings, and its music in rows.",
        "type": "object",
        "properties": {setting.name: schema_of(setting) for setting in SETTINGS},
        "required": [setting.name for setting in SETTINGS if setting.required],
        "additionalProperties": False,
    }
