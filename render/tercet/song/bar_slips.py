"""Slips seen in a whole bar: beats as slashes, a chord in two words, a bar like the one before."""

from __future__ import annotations

import re
from fractions import Fraction
from itertools import pairwise

from tercet.song.grammar import WordKind
from tercet.song.mistakes import SlipError
from tercet.song.slips import words_as_meant
from tercet.theory.note_names import mode_of

__all__ = ["explain_bar"]

_SHORT = {"major": "maj", "minor": "m"}
_LIKE_BEFORE = ("%", "//", "simile", "sim.", "sim")
_GOES_ON = ("=", "/")
_PARTS_OF_CHORDS = re.compile(r"m?\d{1,2}|m|maj\d{0,2}|sus\d?|dom\d{1,2}|dim7?|aug|add\d{1,2}|b|#|flat|sharp")


def explain_bar(
    kind: WordKind,
    words: tuple[str, ...],
    before: tuple[str, ...],
    length_beat: Fraction,
    pulse_beat: Fraction,
) -> SlipError | None:
    """Return what is wrong with a bar as a whole, with its mend where that is certain; None for most.

    Parameters
    ----------
    kind
        What stands in its row.
    words
        Its words, of which one at least couldn't be read.
    before
        The words of the bar before in the same row.
    length_beat, pulse_beat
        How long it is, and how long a pulse.
    """
    if kind in ("chord", "note") and len(words) == 1 and words[0] in _LIKE_BEFORE:
        return _like_before(kind, before)
    if kind == "chord" and len(words) == 1 and words[0] in _GOES_ON:
        return SlipError("a bar that is left empty goes on with the chord", write="")
    if kind == "chord":
        return _no_chord(words) or _chord_in_parts(words) or _slashes(words, length_beat, pulse_beat)
    if kind == "mark":
        written = " ".join(words)
        joined = re.sub(r"\s*@\s*", "@", re.sub(r"\b[aA] [tT]empo\b", "a-tempo", written))
        meant = words_as_meant(kind, joined.split()) if joined != written else None
        if meant is not None:
            return SlipError("a mark is one word, its place included", write=meant)
    return None


def _like_before(kind: WordKind, before: tuple[str, ...]) -> SlipError:
    meant = words_as_meant(kind, before)
    if kind == "chord" and len(before) == 1 and meant:
        return SlipError("a bar that is left empty goes on with the chord", write="")
    message = "a bar like the one before is written again"
    if meant and (kind == "chord" or re.match(r"[A-G][#b]*\d", meant)):
        return SlipError(message, write=meant)
    octave = ", the first note with its octave" if kind == "note" else ""
    return SlipError(message, f"write what stands in the bar before{octave}")


def _slashes(words: tuple[str, ...], length_beat: Fraction, pulse_beat: Fraction) -> SlipError | None:
    """Return the slip of a bar whose beats, or the places between its chords, are slashes: ``C / G7 /``."""
    words = tuple("/" if word == "=" else word for word in words)
    chords = [word for word in words if word != "/"]
    if not chords or len(chords) == len(words):
        return None
    message = "a chord's beats are a number after a colon, not slashes"
    meant = (words_as_meant("chord", chords) or "").split()
    if len(meant) != len(chords) or ":" in "".join(meant) or words[0] == "/":
        return SlipError(message, "write the length of each chord, such as C:2")
    beats = length_beat / len(words)
    if beats in (1, pulse_beat):
        starts = [index for index, word in enumerate(words) if word != "/"] + [len(words)]
        lengths = [(after - start) * beats for start, after in pairwise(starts)]
        if len(set(lengths)) == 1 and (len(lengths) == 1 or lengths[0] % pulse_beat == 0):
            return SlipError(message, write=" ".join(meant))
        named = zip(meant, lengths, strict=True)
        return SlipError(message, write=" ".join(f"{chord}:{beat}" for chord, beat in named))
    if words[1::2] == ("/",) * (len(words) // 2) and len(words) == 2 * len(meant) - 1:
        share = length_beat / len(meant)
        if share % pulse_beat == 0:
            return SlipError(
                "chords that share a bar stand side by side, without slashes", write=" ".join(meant)
            )
    return SlipError(message, "write the length of each chord, such as C:2")


def _no_chord(words: tuple[str, ...]) -> SlipError | None:
    if " ".join(words).casefold() in ("no chord", "no chords", "n. c.", "n c"):
        return SlipError("no chord is written N.C.", write="N.C.")
    return None


def _chord_in_parts(words: tuple[str, ...]) -> SlipError | None:
    """Return the slip of a chord whose name has spaces in it: ``A minor``, ``E 7``."""
    joined: list[str] = []
    for word in words:
        mode = mode_of(word)
        if joined and (mode or _PARTS_OF_CHORDS.fullmatch(word.partition(":")[0])):
            joined[-1] += word if word.casefold() in ("dur", "moll") else _SHORT.get(mode, word)
        else:
            joined.append(word)
    joined = [chord.removesuffix("maj") for chord in joined]
    meant = words_as_meant("chord", joined) if len(joined) < len(words) else None
    return SlipError("a chord's name is one word", write=meant) if meant else None
