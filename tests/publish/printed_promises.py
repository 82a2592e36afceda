"""What a sheet and a page promise of a song's words and its swing, held against the song file as another reader has it.

A promise that is broken raises `AssertionError`.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from fractions import Fraction

from tests.measure.pages import followed_words, thousandths
from tests.measure.sheets import swing_told, texts, texts_in_pdf, words_by_bar
from tests.measure.song_text import SongText

__all__ = ["swing_is_told", "words_are_followed", "words_are_printed", "words_are_set"]


def bar_of(beat: Fraction, song: SongText) -> tuple[int, Fraction]:
    """Return the bar of a beat of the piece, 0 for a pick-up at the very start, and the beat within it."""
    if beat < song.pickup_beat:
        return 0, beat
    bars, within = divmod(beat - song.pickup_beat, song.bar_beat)
    return int(bars) + 1, within


def words_are_printed(pages: Sequence[str], song: SongText) -> None:
    """Every syllable stands under a printed bar in which it is sung, and no other does."""
    sung: dict[int, set[str]] = defaultdict(set)
    for note in song.tune:
        if note.syllable:
            sung[bar_of(note.beat, song)[0]].add(note.syllable)
    printed: dict[int, set[str]] = defaultdict(set)
    before_bars: set[str] = set()
    for numbers, words in (bar for page in pages for bar in words_by_bar(page)):
        if not numbers:
            before_bars |= set(words)
        for number in numbers:
            printed[number] |= set(words)
        if numbers:
            strange = set(words) - set().union(*(sung[number] for number in numbers))
            assert not strange, f"bar {numbers} shows {strange}, which isn't sung there"
    for number, syllables in sung.items():
        missing = syllables - printed[number] - before_bars
        assert not missing, f"bar {number} lacks {missing}"


def words_are_set(pdf: bytes, pages: Sequence[str]) -> None:
    """A PDF has every word of the pages, as often."""
    wanted = Counter(word for page in pages for word in texts(page, "word"))
    missing = wanted - Counter(texts_in_pdf(pdf))
    assert not missing, f"the PDF lacks {dict(missing)}"


def swing_is_told(said: Sequence[str], song: SongText) -> None:
    """A sheet says how the halves of a pulse share it, where they aren't equal."""
    wanted = None if song.swing == Fraction(1, 2) else song.swing
    assert swing_told(said) == wanted, f"the sheet says {swing_told(said)}, the song {song.swing}"


def words_are_followed(html: str, song: SongText) -> None:
    """A page follows every syllable, where the song has it, each at the time of its note."""
    wanted, due = [], []
    for note in song.tune:
        number, within = bar_of(note.beat, song)
        length = song.pickup_beat if number == 0 else Fraction(song.bar_beat)
        if note.syllable:
            wanted.append((number, thousandths(within, length), note.syllable))
            due.append(float(bar_of(song.swung(note.beat), song)[1] / length))
    found = followed_words(html)
    assert [word[:3] for word in found] == wanted
    for (number, _, syllable, along), expected in zip(found, due, strict=True):
        # Players aren't exact, and a ritard or a fermata stretches a part of its bar.
        assert abs(along - expected) <= 0.2, f"{syllable} in bar {number} follows {along:.2f} of a bar in"
