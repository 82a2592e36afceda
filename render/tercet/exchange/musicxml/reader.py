"""MusicXML in (3.1 and 4.0, by part or by measure, plain or compressed): a score's tune as a lead sheet."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from xml.etree.ElementTree import Element

from tercet.exchange.leadsheet import LeadMeasure, LeadSheet, TuneError
from tercet.exchange.musicxml.measures import MeasureReader
from tercet.exchange.musicxml.voices import voice_of
from tercet.exchange.outside import parse_xml, unpack
from tercet.theory import Key
from tercet.theory.pitch import key_of_signature
from tercet.wording import counted

__all__ = ["SETTING_PREFIX", "read_musicxml"]

SETTING_PREFIX = "tercet:"
"""Miscellaneous fields of this name hold the settings of a song that Tercet exported."""

_MOST_NAMED = 12
_ABOUT_AS_MANY = 0.9
"""Of the syllables of the part that has most: so many make the first such part the tune, as the upper voices of a
choir sing about as many."""


@dataclass(frozen=True, slots=True)
class _Part:
    """A part: its id, its name, and its measures with their numbers."""

    id: str
    name: str
    measures: tuple[tuple[str, Element], ...]


def read_musicxml(data: bytes, file: str, part: str = "", voice: str = "") -> LeadSheet:
    """Read the tune of a score.

    Parameters
    ----------
    data
        The file; compressed or not.
    file
        What to call it in messages.
    part
        Number (from 1) or name of the part that has the tune; empty to choose.
    voice
        Number of the voice within the part; empty to choose.

    Raises
    ------
    TuneError
        When it isn't MusicXML, is damaged or hostile, or has no such part or voice.
    """
    unpacked = ""
    if data.startswith(b"PK"):
        data, unpacked = unpack(data, file)
    root = parse_xml(data, file)
    if root.tag not in ("score-partwise", "score-timewise"):
        raise TuneError(
            f"{file} is XML, but not MusicXML (its first tag is <{root.tag[:40]}>): export it as MusicXML"
        )
    parts = _parts(root)
    if not any(parts_measures.measures for parts_measures in parts):
        raise TuneError(f"{file} has no measures: export it again")
    chosen, why_part = _chosen_part(parts, part, file)
    chosen_voice, why_voice = _chosen_voice(chosen, voice, file)
    chords_from, why_chords = _chords_from(parts, chosen)
    reader = MeasureReader(file, chosen_voice, stays=bool(voice))
    measures = reader.read(chosen.measures, chords_from.measures if chords_from is not chosen else None)
    measures = _as_long_as_others(measures, chosen, [each for each in parts if each is not chosen], file)
    settings = _settings(root)
    remarks = [why for why in (unpacked, why_part, why_voice, why_chords) if why]
    return LeadSheet(
        title=_title(root, file),
        measures=measures,
        composer=_creator(root),
        source_note=_text(root, "identification/source") or _larger_work(root),
        licence=_text(root, "identification/rights"),
        key=_key(reader, remarks),
        tempo_quarters=reader.tempo_quarters,
        settings=settings,
        remarks=(*remarks, *reader.remarks()),
    )


def _parts(root: Element) -> list[_Part]:
    names = {
        score_part.get("id", ""): " ".join((score_part.findtext("part-name") or "").split())
        for score_part in root.findall("part-list/score-part")
    }
    found: dict[str, list[tuple[str, Element]]] = {}
    if root.tag == "score-partwise":
        for element in root.findall("part"):
            measures = [(measure.get("number", ""), measure) for measure in element.findall("measure")]
            found.setdefault(element.get("id", ""), []).extend(measures)
    else:
        for measure in root.findall("measure"):
            for element in measure.findall("part"):
                found.setdefault(element.get("id", ""), []).append((measure.get("number", ""), element))
    return [_Part(name, names.get(name, ""), tuple(measures)) for name, measures in found.items()]


def _counts(part: _Part) -> tuple[int, int, int]:
    """Return how many syllables, chord symbols and notes with a pitch a part has."""
    words = chords = notes = 0
    for _, measure in part.measures:
        words += len(measure.findall("note/lyric/text"))
        chords += len(measure.findall("harmony"))
        notes += len(measure.findall("note/pitch"))
    return words, chords, notes


def _chosen_part(parts: list[_Part], wanted: str, file: str) -> tuple[_Part, str]:
    """Return the part with the tune, and the sentence that says why."""
    shown = ", ".join(
        f"{number} {part.name or part.id}" for number, part in enumerate(parts[:_MOST_NAMED], 1)
    )
    if wanted:
        for number, part in enumerate(parts, 1):
            if wanted == str(number) or wanted.casefold() in (part.name.casefold(), part.id.casefold()):
                return part, ""
        raise TuneError(f"{file} has no part {wanted!r}: its parts are {shown}")
    counts = [_counts(part) for part in parts]
    if not any(notes for _, _, notes in counts):
        raise TuneError(f"{file} has no notes with a pitch: choose a score with a tune")
    candidates = [index for index, (_, _, notes) in enumerate(counts) if notes]
    most = max(words for words, _, _ in counts)
    best = next(
        (index for index in candidates if most and counts[index][0] >= _ABOUT_AS_MANY * most),
        next((index for index in candidates if counts[index][1]), candidates[0]),
    )
    if len(parts) == 1:
        return parts[0], ""
    words, chords, _ = counts[best]
    sing = sum(words > 0 for words, _, _ in counts)
    why = (
        "it has most words"
        if sing > 1
        else "it has words"
        if words
        else "it has chord symbols"
        if chords
        else "it comes first"
    )
    name = parts[best].name or parts[best].id
    return parts[
        best
    ], f"the tune is taken from part {best + 1} ({name}), because {why}; the parts are {shown}"


def _chosen_voice(part: _Part, wanted: str, file: str) -> tuple[str, str]:
    """Return the voice with the tune, and the sentence that says why."""
    notes: Counter[str] = Counter()
    words: Counter[str] = Counter()
    for _, measure in part.measures:
        for note in measure.findall("note"):
            voice = voice_of(note)
            notes[voice] += note.find("pitch") is not None
            words[voice] += len(note.findall("lyric"))
    voices = sorted(voice for voice, count in notes.items() if count)
    if wanted:
        if wanted not in voices:
            raise TuneError(
                f"{file}: this part has no voice {wanted!r} with notes: its voices are {', '.join(voices)}"
            )
        return wanted, ""
    if not voices:
        raise TuneError(f"{file}: this part has no notes with a pitch: choose another with --part")
    if len(voices) == 1:
        return voices[0], ""
    best = min(voices, key=lambda voice: (-words[voice], voices.index(voice)))
    why = "it has most words" if words[best] else "it comes first"
    return best, f"the tune is taken from voice {best}, because {why}; the voices are {', '.join(voices)}"


def _chords_from(parts: list[_Part], chosen: _Part) -> tuple[_Part, str]:
    """Return the part whose chord symbols are taken, and the sentence that says so when it is another one."""
    if _counts(chosen)[1]:
        return chosen, ""
    for part in parts:
        if part is not chosen and _counts(part)[1]:
            return (
                part,
                f"the chord symbols are taken from part {parts.index(part) + 1} ({part.name or part.id})",
            )
    return chosen, ""


def _as_long_as_others(
    measures: tuple[LeadMeasure, ...], chosen: _Part, others: list[_Part], file: str
) -> tuple[LeadMeasure, ...]:
    """Return the measures, one that the tune leaves unfilled as long as the other parts make it.

    Where measures aren't counted, as before the first or beside a repeat sign in the middle of one, only parts with
    notes tell: programs give the others a whole measure's rest there.
    """
    uncounted = [_is_uncounted(number, element) for number, element in chosen.measures]
    short = [measure.length_quarter < measure.nominal_quarter for measure in measures]
    if not any(short) and not any(uncounted):
        return measures
    lengths = [(part, _lengths(part, file)) for part in others]
    kept = []
    for index, measure in enumerate(measures):
        if not short[index] and not uncounted[index]:
            kept.append(measure)
            continue
        told = [
            own[index]
            for part, own in lengths
            if index < len(own) and (not uncounted[index] or _has_notes(part.measures[index][1]))
        ]
        own_part = not uncounted[index] or not told or _has_notes(chosen.measures[index][1])
        length = max([*told, *([measure.length_quarter] if own_part else [])])
        kept.append(replace(measure, length_quarter=length, notes=measure.notes if own_part else ()))
    return tuple(kept)


def _is_uncounted(number: str, measure: Element) -> bool:
    return measure.get("implicit") == "yes" or number == "0"


def _has_notes(measure: Element) -> bool:
    return measure.find("note/pitch") is not None


def _lengths(part: _Part, file: str) -> list[Fraction]:
    """Return how long the measures of another part are; nothing where that part is damaged."""
    try:
        return MeasureReader(file, "1").lengths(part.measures)
    except TuneError:
        return []


def _text(root: Element, path: str) -> str:
    return " ".join("".join(root.findtext(path) or "").split())[:200]


def _title(root: Element, file: str) -> str:
    movement, work = _text(root, "movement-title"), _text(root, "work/work-title")
    credit = _text(root, "credit/credit-words")
    return (
        movement
        or work
        or credit
        or Path(file).stem.replace("_", " ").replace("-", " ").strip()
        or "Untitled"
    )


def _larger_work(root: Element) -> str:
    """Return the work that a movement with a title of its own is from; empty without one."""
    movement, work = _text(root, "movement-title"), _text(root, "work/work-title")
    return work if movement and work != movement else ""


def _creator(root: Element) -> str:
    """Return who wrote the tune, and who wrote the words when somebody else did."""
    people = {
        creator.get("type", "composer"): " ".join((creator.text or "").split())
        for creator in reversed(root.findall("identification/creator"))
    }
    composer, words = people.get("composer", ""), people.get("lyricist", people.get("poet", ""))
    both = f"{composer}, words {words}" if composer and words and composer != words else composer
    return (both or (f"words {words}" if words else ""))[:200]


def _settings(root: Element) -> tuple[tuple[str, str], ...]:
    return tuple(
        (name.removeprefix(SETTING_PREFIX), field.text or "")
        for field in root.findall("identification/miscellaneous/miscellaneous-field")
        if (name := field.get("name", "")).startswith(SETTING_PREFIX)
    )


def _key(reader: MeasureReader, remarks: list[str]) -> Key | None:
    """Return the key of the first signature; without a mode the tune's last note decides."""
    if reader.fifths is None:
        return None
    fifths, mode = reader.fifths, reader.mode
    major, minor = (key_of_signature(fifths, minor=is_minor) for is_minor in (False, True))
    if mode in ("major", "minor"):
        return major if mode == "major" else minor
    last = reader.last_pitch_class
    key = minor if last == minor.tonic_class else major
    signs = counted(abs(fifths), "sharp" if fifths > 0 else "flat")
    said = f"the key signature ({signs if fifths else 'no signs'}) says no more than that"
    if mode and mode != "none":
        said = f"the file says {mode}, which a song can't"
    remarks.append(f"key guessed as {key} from the last note: {said}")
    return key
