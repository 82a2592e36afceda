"""What stands around the notes of MusicXML: dynamics, words of direction, tempo, repeats, endings, jumps."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING

from tercet.exchange.leadsheet import LeadChord, LeadMark
from tercet.exchange.musicxml.values import NOTE_TYPES
from tercet.exchange.plain_signs import passes_of
from tercet.exchange.words import jumps_of_words, mark_of_words, names_section
from tercet.theory import DYNAMIC_MARKS

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from tercet.exchange.musicxml.measures import Draft, Log

__all__ = ["DirectionReader", "add_dynamics"]

_LIKE = {
    "pppp": "ppp",
    "ffff": "fff",
    "sf": "f",
    "sfz": "f",
    "fz": "f",
    "fp": "f",
    "rf": "f",
    "rfz": "f",
    "sffz": "ff",
}
"""Marks that songs don't have, and the nearest that they have."""

_TO = re.compile(r"\s*(to|al|da)\s*( (the )?coda)?\s*[.:]?\s*", re.IGNORECASE)


class DirectionReader:
    """Reads directions and bar lines of a part.

    Parameters
    ----------
    log
        Where what is dropped goes.

    Attributes
    ----------
    tempo_quarters
        Quarters a minute at the start; None as long as no tempo was seen.
    endings
        Passes of the bracket that is open; empty without one.
    """

    def __init__(self, log: Log) -> None:
        self._log = log
        self.tempo_quarters: Fraction | None = None
        self.endings: tuple[int, ...] = ()

    def direction(self, element: Element, at: Fraction, draft: Draft) -> None:
        """Read a direction that stands at a place of its measure."""
        children = [child for kind in element.findall("direction-type") for child in kind]
        sound = element.find("sound")
        signed = any(child.tag == "coda" for child in children)
        told = " ".join(child.text or "" for child in children if child.tag == "words")
        leaves = bool(_TO.fullmatch(told)) or (sound is not None and "tocoda" in sound.attrib and at > 0)
        for child in children:
            if child.tag == "coda" and leaves:
                draft.signs["to_coda"] = True
            elif not (child.tag == "words" and signed and _TO.fullmatch(child.text or "")):
                self._direction_type(child, at, draft)
        if sound is not None:
            self.sound(sound, draft, leaves_by_sign=signed and not leaves)

    def _direction_type(self, child: Element, at: Fraction, draft: Draft) -> None:
        text = " ".join((child.text or "").split())
        if child.tag == "dynamics":
            add_dynamics(child, at, draft, self._log)
        elif child.tag == "wedge" and child.get("type") in ("crescendo", "diminuendo"):
            draft.marks.append(
                LeadMark(at, "hairpin", "louder" if child.get("type") == "crescendo" else "softer")
            )
        elif child.tag == "rehearsal" and text:
            draft.signs.setdefault("section", text)
        elif child.tag == "segno":
            draft.signs["segno"] = True
        elif child.tag == "coda":
            draft.signs["coda_at_end" if at > 0 else "coda"] = True
        elif child.tag == "metronome":
            self._metronome(child)
        elif child.tag == "words" and text:
            self._direction_words(text, at, draft)

    def _direction_words(self, text: str, at: Fraction, draft: Draft) -> None:
        if text.upper() in ("N.C.", "NC", "N.C"):
            draft.chords.append(LeadChord(at, None))
            return
        jumps = jumps_of_words(text)
        for name in jumps:
            draft.signs[name] = True
        kind = mark_of_words(text)
        if kind:
            draft.marks.append(LeadMark(at, kind))
        elif names_section(text):
            draft.signs.setdefault("section", text)
        elif not jumps:
            self._log.drop(f"the direction “{text[:40]}” is left out")

    def _metronome(self, element: Element) -> None:
        unit = NOTE_TYPES.get((element.findtext("beat-unit") or "").strip())
        per_minute = re.search(r"\d{1,4}(\.\d{1,6})?", element.findtext("per-minute") or "")
        if unit is None or per_minute is None or element.find("metronome-note") is not None:
            return
        dots = len(element.findall("beat-unit-dot"))
        length = unit * (2 - Fraction(1, 2 ** min(dots, 4)))
        self._set_tempo(Fraction(per_minute[0]) * length)

    def _set_tempo(self, tempo_quarters: Fraction) -> None:
        if tempo_quarters <= 0:
            return
        if self.tempo_quarters is None:
            self.tempo_quarters = tempo_quarters
        elif abs(tempo_quarters - self.tempo_quarters) >= 1:
            self._log.drop("a change of tempo is left out")

    def sound(self, element: Element, draft: Draft, *, leaves_by_sign: bool = False) -> None:
        """Read how something sounds: tempo, and where to go on.

        Where the coda's sign stands at the start of a measure, one leaves before that, not at its end.
        """
        if element.get("tempo"):
            self._set_tempo(self._log.fraction(element.get("tempo"), "a tempo"))
        for attribute, sign in (("dacapo", "da_capo"), ("dalsegno", "dal_segno"), ("tocoda", "to_coda"),
                                ("fine", "fine"), ("segno", "segno"), ("coda", "coda")):  # fmt: skip
            if element.get(attribute, "no") != "no" and not (leaves_by_sign and sign == "to_coda"):
                draft.signs[sign] = True
        if element.get("forward-repeat") == "yes":
            draft.signs["repeat_start"] = True

    def barline(self, element: Element, draft: Draft) -> None:
        """Read repeat, ending and signs at a bar line."""
        repeat, ending = element.find("repeat"), element.find("ending")
        if repeat is not None and repeat.get("direction") == "forward":
            draft.signs["repeat_start"] = True
            self.endings = ()
        elif repeat is not None:
            draft.signs["repeat_times"] = self._log.whole(
                repeat.get("times", "2"), "times of a repeat", 1, 99
            )
            draft.signs["ending_stops"] = True
        if ending is not None and ending.get("type") == "start":
            self.endings = passes_of(ending.get("number", ""), ending.text or "")
        elif ending is not None and element.get("location") == "left":
            self.endings = ()
        elif ending is not None:
            draft.signs["ending_stops"] = True
        if element.find("segno") is not None:
            draft.signs["segno"] = True
        if element.find("coda") is not None:
            draft.signs["coda_at_end" if element.get("location") == "right" else "coda"] = True
        if element.find("fermata") is not None and draft.notes:
            draft.marks.append(LeadMark(draft.notes[-1].start_quarter, "fermata"))


def add_dynamics(element: Element, at: Fraction, draft: Draft, log: Log) -> None:
    """Add dynamic marks, those that songs don't have as the nearest that they have."""
    for child in element:
        written = (child.text or "").strip() if child.tag == "other-dynamics" else child.tag
        value = written if written in DYNAMIC_MARKS else _LIKE.get(written, "")
        if not value:
            log.drop(f"the dynamic {written[:12]} is left out")
            continue
        if value != written:
            log.drop(f"the dynamic {written[:12]} became {value}")
        draft.marks.append(LeadMark(at, "dynamic", value))
