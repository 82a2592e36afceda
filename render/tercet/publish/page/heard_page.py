"""The report of what was heard, a page in one file that runs nothing: one recording, or a class's."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from tercet import __version__
from tercet.hearing import Heard
from tercet.hearing.class_table import class_rows
from tercet.publish.page.markup import filled, html, look_inks, page_file, policy_without_script
from tercet.publish.pictures.heard_picture import heard_picture
from tercet.publish.svg import svg_element

__all__ = ["heard_details", "heard_page"]


def heard_page(found: Sequence[Heard], song_path: str) -> bytes:
    """Return the page of recordings of a song; with several a table of who practises what stands first.

    Parameters
    ----------
    found
        At least one.
    song_path
        The song's file, for commands that make tracks.
    """
    style = look_inks() + page_file("templates/heard.css")
    song = found[0].arrangement.song
    values = {
        "policy": policy_without_script(style),
        "style": style,
        "title": song.title,
        "rows": class_rows(found) if len(found) > 1 else [],
        "recordings": [_recording(heard, song_path) for heard in found],
        "made_with": filled("made_with", version=__version__, licence="").strip(),
    }
    return html("heard.html", values)


def _recording(heard: Heard, song_path: str) -> dict[str, Any]:
    advice = heard.advice()
    claim = advice.next
    return {
        "name": heard.name,
        "ask": advice.ask,
        "well": advice.well,
        "next": claim.sentence if claim else "",
        "track": claim.track if claim else "",
        "command": claim.command(song_path) if claim else "",
        "picture": "" if advice.ask else svg_element(heard_picture(heard)),
        "details": list(heard_details(heard)),
        "others": [other.sentence for other in advice.others],
    }


def heard_details(heard: Heard) -> Iterator[str]:
    """Yield what stands behind the fold: tempo, front, strings, repeats, pauses, a line each."""
    yield filled("heard_tempo", tempo=f"{heard.tempo:.0f}", first=heard.first_bar, last=heard.last_bar)
    front = heard.front
    if front.lu is None or front.wanted_lu is None or front.uncertainty_lu is None:
        yield filled("heard_front_untold", why=front.why)
    else:
        figures = {"lu": f"{front.lu:.1f}", "uncertainty": f"{front.uncertainty_lu:.1f}"}
        yield filled("heard_front", **figures, wanted=f"{front.wanted_lu:.1f}")
    for string in heard.tuning:
        cents, uncertainty = _signed(round(string.cents)), f"{string.uncertainty_cents:.0f}"
        yield filled("heard_tuning", string=string.string, cents=cents, uncertainty=uncertainty)
    for repeat in heard.repeats:
        yield filled("heard_repeat", after=repeat.after_bar, to=repeat.to_bar)
    for pause in heard.pauses:
        yield filled("heard_pause", length=f"{pause.length_s:.1f}", bar=pause.bar_number)


def _signed(cents: int) -> str:
    """Return cents with their sign; none has none.

    >>> _signed(-3), _signed(0)
    ('−3', '0')
    """
    return f"{cents:+d}".replace("-", "−") if cents else "0"
