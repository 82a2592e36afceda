"""The practice forms: how a track goes through the music. One table for tracks, schema, commands and docs.

Each is a row here, and a function of the same name in `tercet.tracks.practice_forms`, which yields its passages.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

__all__ = ["PRACTICE_FORMS", "USUAL_TIMES", "PracticeForm", "forms_with"]

USUAL_TIMES = 4
"""How often something is played over, where neither its form nor the user says."""


@dataclass(frozen=True, slots=True)
class PracticeForm:
    """How a track goes through the music.

    Parameters
    ----------
    name
        As in a song file's ``way:`` and in ``kit.json``.
    about
        What happens, in a few words.
    settings
        Settings of a track of one's own that only some forms have: ``by``, ``times``, ``swap``.
    speeds
        Its usual speeds, 1 being the song's tempo; several for one that goes from step to step. Empty where it goes as
        fast as a kit asks for.
    times
        How often it plays something where nothing else is asked for.
    by_turns
        Whether the class has turns of its own, in which the recording leaves it space.
    for_own_tracks
        Whether a track of one's own may go so.
    """

    name: str
    about: str
    settings: tuple[str, ...] = ()
    speeds: tuple[Fraction, ...] = ()
    times: int = USUAL_TIMES
    by_turns: bool = False
    for_own_tracks: bool = True


def _percent(*speeds: int) -> tuple[Fraction, ...]:
    return tuple(Fraction(each, 100) for each in speeds)


PRACTICE_FORMS: dict[str, PracticeForm] = {
    form.name: form
    for form in (
        PracticeForm("through", "played through once"),
        PracticeForm(
            "echo", "a stretch is played, then the same space is left to the class", ("by",), by_turns=True
        ),
        PracticeForm("turns", "teacher and class play stretches by turns", ("by", "swap"), by_turns=True),
        PracticeForm("ladder", "again and again, each time at the next speed", (), _percent(60, 75, 90, 100)),
        PracticeForm("loop", "again and again at one speed", ("times",)),
        PracticeForm("build-up", "again and again, each time with one layer more"),
        PracticeForm("contrast", "flat, then layered, phrase by phrase"),
        PracticeForm("flat", "all layers equally loud"),
        PracticeForm(
            "learn", "the hardest bars, slowly, several times each", (), _percent(60), for_own_tracks=False
        ),
    )
}
"""All of them, by name."""


def forms_with(setting: str) -> tuple[str, ...]:
    """Return the names of the forms that have a setting of their own; empty if every track has it.

    >>> forms_with("by"), forms_with("bars")
    (('echo', 'turns'), ())
    """
    return tuple(form.name for form in PRACTICE_FORMS.values() if setting in form.settings)
