r"""Sung words of MIDI files: lyric events, or the text events of karaoke files, as syllables with joins and lines.

Files tell where words end in one of three ways: by spaces, by hyphens, or not at all. Which it is, is counted. `/` and
a new line start a line, `\` a verse; texts that begin with `@` tell of the file.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from tercet.exchange.midi.events import MidiText, MidiTrack, MidiTune
from tercet.exchange.words import sung_text

__all__ = ["Sung", "SungWords", "karaoke_title", "word_lists"]

_LINE_SIGNS = "/\\\r\n"
_ABOUT_THE_FILE = "@"
_KARAOKE_HEADS = ("@K", "@L", "@T", "@V")
_LEAST_TEXTS = 8
_LEAST_SPACED_SHARE = 0.1
"""Of the places between two syllables: with fewer spaces they don't tell where words end."""

_LEAST_HYPHENS_SHARE = 0.03
_SENTENCE_ENDS = '.,;:!?)"”…'


@dataclass(frozen=True, slots=True)
class Sung:
    """A syllable at its place; `texts` are the words of one event, mostly one; `joined` goes on within its word."""

    at_quarter: Fraction
    texts: tuple[str, ...]
    joined: bool
    new_line: bool


@dataclass(frozen=True, slots=True)
class SungWords:
    """The words of a track, its number, and the sentence that says what was guessed."""

    track: str
    syllables: tuple[Sung, ...]
    remark: str = ""


def word_lists(tune: MidiTune) -> list[SungWords]:
    """Return the words of every track that has some."""
    karaoke = _is_karaoke(tune)
    found: dict[str, SungWords] = {}
    for track in tune.tracks:
        number = track.number.partition(".")[0]
        if number in found:
            continue
        lyrics = [text for text in track.texts if text.is_lyric]
        texts = _texts(track) if karaoke else []
        syllables, remark = _syllables(lyrics if len(lyrics) >= len(texts) else texts)
        if syllables:
            found[number] = SungWords(number, syllables, remark)
    with_lyrics = {
        track.number.partition(".")[0] for track in tune.tracks if any(text.is_lyric for text in track.texts)
    }
    return [words for words in found.values() if words.track in with_lyrics] or list(found.values())


def karaoke_title(tune: MidiTune) -> str:
    """Return the title that a karaoke file tells; empty when it tells none."""
    told = (
        event.text[2:].strip() for track in tune.tracks for event in _texts(track) if event.text[:2] == "@T"
    )
    return next(filter(None, told), "")


def _texts(track: MidiTrack) -> list[MidiText]:
    return [text for text in track.texts if not text.is_lyric]


def _is_karaoke(tune: MidiTune) -> bool:
    """Return whether text events are sung: a head says so, or many start lines."""
    for events in map(_texts, tune.tracks):
        later = [event.text[:1] for event in events if event.at_quarter > 0]
        if any(event.text.startswith(_KARAOKE_HEADS) for event in events) or (
            len(later) >= _LEAST_TEXTS and later.count("/") + later.count("\\") >= 2
        ):
            return True
    return False


def _syllables(events: Sequence[MidiText]) -> tuple[tuple[Sung, ...], str]:
    """Return what is sung, and what was guessed of where words end."""
    sung: list[tuple[MidiText, bool]] = []
    new_line = False
    for event in events:
        if not event.is_lyric and event.text.startswith(_ABOUT_THE_FILE):
            continue
        bare = event.text.lstrip(" ")
        new_line = new_line or bare[:1] in tuple(_LINE_SIGNS)
        if any(map(sung_text, _inside(event.text).split())):
            sung.append((event, new_line))
            new_line = False
        new_line = new_line or event.text.rstrip(" ")[-1:] in tuple(_LINE_SIGNS)
    texts = [_inside(event.text) for event, _ in sung]
    gaps = list(pairwise(texts))
    hyphens = sum(before.rstrip().endswith("-") for before, _ in gaps)
    spaces = sum(before[-1:].isspace() or after[:1].isspace() for before, after in gaps)
    by_hyphens = hyphens > _LEAST_HYPHENS_SHARE * len(gaps)
    by_spaces = not by_hyphens and spaces > _LEAST_SPACED_SHARE * len(gaps)
    lines = [starts for _, starts in sung]
    found = []
    for index, (event, starts) in enumerate(sung):
        text = texts[index]
        after = texts[index + 1] if index + 1 < len(sung) else " "
        joined = text.rstrip().endswith("-")
        if by_spaces and not joined and index + 1 < len(sung):
            joined = not (lines[index + 1] or _word_ends(text, after))
        words = tuple(word for word in map(sung_text, text.split()) if word)
        found.append(Sung(event.at_quarter, words, joined, starts))
    unmarked = len(gaps) > 1 and not by_hyphens and not by_spaces and not any(len(s.texts) > 1 for s in found)
    said = "the words have no spaces or hyphens, so each syllable is a word of its own: join them with -"
    return tuple(found), said if unmarked else ""


def _inside(text: str) -> str:
    """Return a text without the signs that start or end a line; a new line at either end becomes a space."""
    bare = text.strip(" ")
    starts = bare[:1] in tuple(_LINE_SIGNS)
    ends = bare[-1:] in tuple(_LINE_SIGNS)
    if not (starts or ends):
        return text
    kept = bare.strip(_LINE_SIGNS)
    kept = f" {kept}" if starts else kept
    return f"{kept} " if ends or text[-1:] == " " else kept


def _word_ends(text: str, after: str) -> bool:
    """Return whether a word ends between two syllables of a file that marks this by spaces."""
    return (
        text[-1:].isspace()
        or after[:1].isspace()
        or text[-1:] in tuple(_SENTENCE_ENDS)
        or (text[-1:].islower() and after[:1].isupper())
    )
