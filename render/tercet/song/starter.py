"""Songs to begin with: one that works, and one made of what a writer already knows."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from fractions import Fraction

from tercet.errors import RequestError
from tercet.song.model import Meter
from tercet.song.spelling import number_text, yaml_text
from tercet.theory import Chord, Key, spell
from tercet.theory.key_chords import DOMINANT, chord_on
from tercet.wording import counted

__all__ = ["LONGEST_TITLE", "STARTER", "begun_song", "starter_song"]

LONGEST_TITLE = 80

STARTER = """\
# A starter song: change it line by line and run `tercet check {name}` after each change.
# A row is its name, then bars between | signs. A blank line starts the next line of music.
# Songs have owners: before you share recordings of somebody's song, look up the rules where you live.
title: {title}
composer: your name
key: C major
meter: 4/4
tempo: 88                 # pulses a minute
tuning: high-g            # high-g, low-g, baritone, or four notes such as [A4, D4, F#4, B4]
players: beginner         # beginner, improving or free: what the hands are asked to do
dynamics: {{melody: f, between: mp, strums: p}}
strum: d . d u . u d u    # d down, u up, x chop, . nothing
form: verse*2
sections:
  verse: |
    chords   C                 | F         | G7                | C
    melody   G4 E G C5         | A4:2 F:2  | G4 F E D          | E4:4
    words    Put your own words | here, now | one for each note | sung
"""

BEGUN = """\
# Change the notes and the chords into those of your song, bar by bar: each bar ends at a | sign.
# Songs have owners: before you share recordings of somebody's song, look up the rules where you live.
title: {title}
key: {key}
meter: {meter}
tempo: {tempo}
tuning: high-g
players: beginner
sections:
  verse: |
"""

USUAL_TEMPO = 88
BARS_IN_LINE = 4
MOST_BARS = 64
MOST_WORDS = 1000
NOTES_OF_A_BAR = 2
"""Where there are no words."""

_SIGNS_OF_ROWS = re.compile(r"[|_]")
_OPEN_HYPHEN = re.compile(r"-\s+")
"""A syllable that goes on after a space or in the next line."""

LOWEST_MIDI, HIGHEST_MIDI = 60, 72
"""The tune stays between C4 and C5, where every tuning has it low on the neck."""


def starter_song(file_name: str, title: str) -> str:
    """Return a short song that works, to be changed; `file_name` is what its remark tells to check."""
    return STARTER.format(name=file_name, title=yaml_text(title[:LONGEST_TITLE].strip()))


def begun_song(title: str, meter: Meter, key: Key, bars: int, words: str = "") -> str:
    """Return a song to be filled in: chords and notes of the key in every bar, the words under them one to a note.

    Parameters
    ----------
    title
        What it is called.
    meter, key
        Of the song.
    bars
        How many, 1 to 64; more where the words need more.
    words
        As they are found: several words, or syllables with hyphens between them. None of them is left out.

    Raises
    ------
    RequestError
        There is no title, or too much is asked.
    """
    plain = " ".join(title.split())[:LONGEST_TITLE]
    sung = _plain_words(words)
    if not plain:
        raise RequestError("a song needs a title")
    if not 1 <= bars <= MOST_BARS:
        raise RequestError(f"a new song has 1 to {MOST_BARS} bars (got {bars})")
    if len(sung) > MOST_WORDS:
        raise RequestError(
            f"a song to begin with has at most {counted(MOST_WORDS, 'word')} (got {len(sung)})"
        )
    most = 2 * meter.upper
    cells = _shared_out(sung, bars, most)
    lengths = [_lengths(_syllables(cell) or min(NOTES_OF_A_BAR, meter.upper), meter.upper) for cell in cells]
    chords = [_chord_of_bar(key, place, len(cells)) for place in range(len(cells))]
    lines = [
        _line(key, slice(first, first + BARS_IN_LINE), chords, lengths, cells)
        for first in range(0, len(cells), BARS_IN_LINE)
    ]
    head = BEGUN.format(title=yaml_text(plain), key=key, meter=meter, tempo=USUAL_TEMPO)
    return head + "\n".join(lines)


def _plain_words(words: str) -> list[str]:
    """Return words as a row has them: hyphens between syllables only, and no sign that means something there."""
    plain = _SIGNS_OF_ROWS.sub(" ", words)
    whole = _OPEN_HYPHEN.sub("-", plain).split()
    return [word for word in ("-".join(filter(None, word.split("-"))) for word in whole) if word]


def _syllables(cell: Sequence[str]) -> int:
    return sum(len([part for part in word.split("-") if part]) for word in cell)


def _shared_out(words: Sequence[str], bars: int, most: int) -> list[list[str]]:
    """Return the words bar by bar, about as many syllables in each, at most `most`; more bars where these don't do."""
    total = _syllables(words)
    cells: list[list[str]] = [[]]
    done = 0
    for word in words:
        count = _syllables([word])
        full = _syllables(cells[-1]) + count > most
        due = len(cells) * total <= done * bars and len(cells) < bars
        if cells[-1] and (full or due):
            cells.append([])
        cells[-1].append(word)
        done += count
    return cells + [[] for _ in range(bars - len(cells))]


def _lengths(notes: int, upper: int) -> list[Fraction]:
    """Return the lengths of so many notes that fill a bar of `upper` beats, a long one last."""
    unit = Fraction(1) if notes <= upper else Fraction(1, 2)
    if notes > 2 * upper:
        unit = Fraction(upper, notes)
    return [unit] * (notes - 1) + [upper - unit * (notes - 1)]


def _chord_of_bar(key: Key, bar: int, bars: int) -> Chord:
    """Return the tonic's chord, and the dominant's in the last bar but one of each line and of the whole."""
    place = bar % BARS_IN_LINE
    before_the_end = place == BARS_IN_LINE - 2 or bar == bars - 2
    home = "m" if key.minor else ""
    return (
        chord_on(key, DOMINANT, "7")
        if before_the_end and bars > 1 and bar < bars - 1
        else chord_on(key, 0, home)
    )


def _line(
    key: Key,
    part: slice,
    chords: Sequence[Chord],
    lengths: Sequence[Sequence[Fraction]],
    cells: Sequence[Sequence[str]],
) -> str:
    rows = [
        ("chords", [str(chord) for chord in chords[part]]),
        ("melody", list(_melody(key, chords[part], lengths[part]))),
    ]
    if any(cells[part]):
        rows.append(("words", [" ".join(cell) for cell in cells[part]]))
    widths = [max(len(texts[place]) for _, texts in rows) for place in range(len(rows[0][1]))]
    return "".join(
        f"    {name:<8} {' | '.join(text.ljust(width) for text, width in zip(texts, widths, strict=True))}".rstrip()
        + "\n"
        for name, texts in rows
    )


def _melody(key: Key, chords: Sequence[Chord], lengths: Sequence[Sequence[Fraction]]) -> Iterator[str]:
    """Yield each bar's notes: up and down the tones of its chord, to sound like something until it is changed."""
    for chord, bar in zip(chords, lengths, strict=True):
        root = LOWEST_MIDI + (chord.root_class - LOWEST_MIDI) % 12
        tones = [root + interval for interval in chord.quality.intervals[:3]]
        tones = [tone - 12 if tone > HIGHEST_MIDI else tone for tone in tones]
        turn = [*tones, tones[1]]
        notes = []
        for place, length in enumerate(bar):
            pitch = spell(turn[place % len(turn)], key)
            notes.append(f"{pitch}" + ("" if length == 1 else f":{number_text(length)}"))
        yield " ".join(notes)
