"""The words under a printed bar in MEI: a line for each verse that is sung, one for passes that sing the same."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element, SubElement

from tercet.arranging import Arrangement
from tercet.publish.score.elements import Texts
from tercet.publish.score.written_form import WrittenBar, WrittenSection, listed
from tercet.song import Measure, Syllable

__all__ = ["SungLine", "add_words", "sung_lines"]


@dataclass(frozen=True, slots=True)
class SungLine:
    """A line of words under a line of music: the passes that sing it, and its number as printed (empty for all)."""

    passes: tuple[int, ...]
    label: str


def sung_lines(section: WrittenSection, arrangement: Arrangement) -> dict[int, tuple[SungLine, ...]]:
    """Return the lines of words of a printed section, by its lines of music.

    Passes whose words are the same all along a line of music share one.
    """
    words: dict[int, dict[int, list[tuple[object, ...]]]] = {}
    for bar in section.bars:
        for measure in bar.playings:
            line = words.setdefault(measure.line, {}).setdefault(measure.pass_number, [])
            line.append((measure.section_bar, *_words_in(measure, arrangement)))
    found: dict[int, tuple[SungLine, ...]] = {}
    for line_number, by_pass in words.items():
        sharing: dict[tuple[tuple[object, ...], ...], list[int]] = {}
        for pass_number in sorted(by_pass):
            sung = tuple(sorted(by_pass[pass_number], key=repr))
            if any(len(bar) > 1 for bar in sung):
                sharing.setdefault(sung, []).append(pass_number)
        many = len(sharing) > 1
        found[line_number] = tuple(
            SungLine(tuple(passes), listed(passes) if many else "") for passes in sharing.values()
        )
    return found


def _words_in(measure: Measure, arrangement: Arrangement) -> tuple[tuple[object, Syllable], ...]:
    """Return the syllables of a measure, each with its place from the measure's start."""
    return tuple(
        (beat - measure.low_beat, syllable)
        for beat, syllable in arrangement.bars[measure.bar_index].words
        if measure.low_beat <= beat < measure.high_beat
    )


def add_words(
    bar: WrittenBar,
    lines: Sequence[SungLine],
    notes: Mapping[object, Element],
    arrangement: Arrangement,
    texts: Texts,
) -> dict[tuple[int, object], str]:
    """Hang the words of a printed bar on its notes.

    Parameters
    ----------
    bar, lines
        The bar, and the lines of words of its line of music.
    notes
        The elements that words hang on, by their place in beats from the bar's start.
    arrangement, texts
        What is played; where the texts are kept.

    Returns
    -------
    dict
        Names of the syllables by pass and place.
    """
    names: dict[tuple[int, object], str] = {}
    for row, line in enumerate(lines, 1):
        measure = next((each for each in bar.playings if each.pass_number in line.passes), None)
        if measure is None:
            continue
        for place, syllable in _words_in(measure, arrangement):
            note = notes.get(place)
            if note is None:
                continue
            name = f"{note.attrib['xml:id']}v{row}"
            for each in bar.playings:
                if each.pass_number in line.passes:
                    names[each.pass_number, place] = name
            if syllable.holds:
                continue
            verse = SubElement(note, "verse", n=str(row))
            element = texts.put(SubElement(verse, "syl"), name, "word", syllable.text, line.label)
            if syllable.joined:
                element.set("con", "d")
                element.set("wordpos", "i")
    return names
