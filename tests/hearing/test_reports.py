"""The picture and the page of what was heard."""

from __future__ import annotations

import re
from dataclasses import replace

from tercet.hearing import Heard
from tercet.publish.page.heard_page import heard_page
from tercet.publish.pictures import heard_picture
from tercet.publish.shapes import Drawing, Group, texts_in
from tercet.publish.svg import svg_text


def groups_of(drawing: Drawing) -> list[Group]:
    return [shape for shape in drawing.shapes if isinstance(shape, Group)]


def test_each_slip_has_a_ring_and_nothing_else_has(slips_heard: Heard) -> None:
    drawing = heard_picture(slips_heard)
    rings = [group for group in groups_of(drawing) if group.name == "ring"]
    slips = list(slips_heard.slips())
    assert len(rings) == len({slip.stroke for slip in slips}) > 2
    assert sorted(ring.title.rpartition(": ")[2] for ring in rings) == sorted(slip.verdict for slip in slips)


def test_the_wanted_take_stands_above_what_was_heard(slips_heard: Heard) -> None:
    fields = [text for text in texts_in(heard_picture(slips_heard).shapes) if text.name == "field"]
    assert [text.text for text in fields[:2]] == ["wanted", "heard"]
    assert all(above.y < below.y for above, below in zip(fields[::2], fields[1::2], strict=True))


def test_what_was_not_heard_is_drawn_above_only(slips_heard: Heard) -> None:
    notes = [group for group in groups_of(heard_picture(slips_heard)) if group.name.startswith("note ")]
    silent = tuple(
        replace(stroke, verdict="missed", onset_s=None, level_lu=None) for stroke in slips_heard.strokes
    )
    drawing = heard_picture(replace(slips_heard, strokes=silent))
    left = [group for group in groups_of(drawing) if group.name.startswith("note ")]
    assert 0 < len(left) < 0.6 * len(notes)


def test_only_the_bars_that_were_played_are_shown(slips_heard: Heard) -> None:
    last = slips_heard.first_bar + 3
    some = replace(
        slips_heard,
        last_bar=last,
        strokes=tuple(stroke for stroke in slips_heard.strokes if stroke.bar_number <= last),
    )
    assert heard_picture(some).height < 0.6 * heard_picture(slips_heard).height


def test_the_page_runs_nothing_and_escapes_a_name(slips_heard: Heard) -> None:
    page = heard_page([replace(slips_heard, name="<b>Ada</b>"), slips_heard], "two words.yaml").decode(
        "utf-8"
    )
    assert "<script" not in page
    assert "<b>Ada" not in page
    assert "&lt;b&gt;Ada" in page
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', page)
    assert policy is not None
    assert policy[1].startswith("default-src &#39;none&#39;; style-src &#39;sha256-")
    assert page.count("<svg") == 2
    assert page.count("<table>") == 1
    assert re.search(r"tercet render (&#39;|&#34;)two words.yaml", page)


def test_a_recording_of_another_song_is_asked_about_and_not_drawn(slips_heard: Heard) -> None:
    page = heard_page([replace(slips_heard, trust=0.1)], "kettle.yaml").decode("utf-8")
    assert "Is this Kettle and Cup" in page
    assert "<svg" not in page


def test_the_same_take_gives_the_same_picture(slips_heard: Heard) -> None:
    assert svg_text(heard_picture(slips_heard)) == svg_text(heard_picture(slips_heard))
