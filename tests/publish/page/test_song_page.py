"""The page as text: what it holds, and that a song's words stay words."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from fractions import Fraction
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.arranging import Arrangement
from tercet.performing import lay_out, perform
from tercet.publish.page import ListedSong, PagePlan, PageSet, PageSound, class_page, song_page
from tercet.publish.page.markup import data_for_page, filled, look_text, player_script, text_table
from tercet.publish.page.song_facts import natural_places, song_facts, speed_facts
from tercet.publish.page.sound import SpeedTiming, speed_label
from tercet.publish.page.take_home import take_home
from tercet.publish.pictures.shapes_used import ShapeUse
from tercet.song import LAYERS
from tercet.tracks.timelines import phrase_ranges
from tests.publish.drawn import four_bars, three_layers


def sound_of(made: Arrangement, *speeds: Fraction, texts: dict[str, str] | None = None) -> PageSound:
    timings = []
    for speed in speeds or (Fraction(1),):
        take = perform(made, lay_out(made, None, speed, 0))
        peaks: dict[str, list[float]] = {layer: [0.1] * len(take.bars) for layer in LAYERS}
        timings.append(SpeedTiming(speed, take, take.length_s + 1.0, peaks))
    return PageSound(tuple(timings), texts or {}, 40.0)


def page_of(made: Arrangement, **more: Any) -> str:
    return song_page(PagePlan([PageSet(made, sound_of(made))], **more))["index.html"].decode("utf-8")


C, F, C_HIGH = ShapeUse("C", (0, 0, 0, 3)), ShapeUse("F", (2, 0, 1, 0)), ShapeUse("C", (5, 4, 3, 3))


def list_of(*songs: ListedSong) -> str:
    return class_page("", songs)["index.html"].decode("utf-8")


def facts_of(html: str) -> dict[str, Any]:
    (text,) = re.findall(r'<script type="application/json" id="facts">(.*?)</script>', html)
    found: dict[str, Any] = json.loads(text)
    return found


class Scripts(HTMLParser):
    """Counts elements as a browser would."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.names: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names.append(tag)
        assert not [name for name, _ in attrs if name.startswith("on") or name == "style"]


@given(st.recursive(st.text(), lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner)))
def test_data_says_the_same_and_can_not_end_its_element(data: object) -> None:
    text = data_for_page(data)
    assert json.loads(text) == data
    assert not set(text) & set("<>&\u2028\u2029")


def test_a_title_can_not_add_an_element() -> None:
    made = three_layers()
    plain = Scripts(page_of(made)).names
    harmful = three_layers(title="</h1></script><script>alert(1)</script><img src=x>")
    assert Scripts(page_of(harmful)).names == plain


def test_nothing_is_named_from_elsewhere() -> None:
    html = page_of(three_layers())
    addresses = re.findall(r'(?:src|href)="([^"#]*)"', html)
    assert addresses
    assert not [one for one in addresses if "//" in one and not one.startswith("data:")]


def test_the_policy_of_one_file_allows_just_its_script_and_style() -> None:
    made = three_layers()
    plan = PagePlan([PageSet(made, sound_of(made, texts={"100-melody": "AAAA"}))], one_file=True)
    html = song_page(plan)["index.html"].decode("utf-8")
    for element in ("script", "style"):
        (text,) = re.findall(rf"<{element}>(.*?)</{element}>", html, re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"{element}-src &#39;sha256-{digest}&#39;" in html
    assert 'id="stem-100-melody">AAAA</script>' in html
    assert "unsafe" not in html


def test_scripts_and_styles_are_small() -> None:
    files = song_page(PagePlan([PageSet(three_layers(), sound_of(three_layers()))]))
    sent = {name: len(data) for name, data in files.items() if name.endswith((".js", ".css"))}
    assert sent.pop("page/hearing.js") < 60_000, "it comes only when it is asked for"
    assert sum(sent.values()) < 70_000
    assert len(player_script(modelled=True).encode()) + len(look_text().encode()) < 80_000


def test_notes_keep_their_order_at_every_speed() -> None:
    made = three_layers()
    speeds = (Fraction(1), Fraction(3, 5))
    sound = sound_of(made, *speeds)
    facts = song_facts(made, sound.timings[0].take)
    slow = speed_facts(sound.timings[1], made, facts.order)
    assert len(slow["onset"]) == len(facts.facts["notes"])
    assert -1 not in slow["onset"]
    assert all(end > onset for onset, end in zip(slow["onset"], slow["end"], strict=True))


def test_a_note_that_a_speed_lacks_is_told_so() -> None:
    made = three_layers()
    timing = sound_of(made).timings[0]
    facts = song_facts(made, timing.take)
    less = replace(timing, take=replace(timing.take, notes=timing.take.notes[1:]))
    assert speed_facts(less, made, facts.order)["onset"][0] == -1


def test_one_bar_and_two_are_counted_in() -> None:
    made = four_bars()
    timing = sound_of(made).timings[0]
    one, two = speed_facts(timing, made, song_facts(made, timing.take).order)["count"]["bar"]
    pulses = made.song.meter.pulses
    assert (len(one), len(two)) == (pulses, 2 * pulses)
    assert [first for _, first in two] == ([1] + [0] * (pulses - 1)) * 2
    assert two[pulses:] == one


def test_layers_stand_where_the_song_has_them() -> None:
    made = three_layers()
    assert natural_places(sound_of(made).timings[0].take, made.song.layers) == {
        "melody": "front",
        "between": "middle",
        "strums": "back",
    }


def test_left_hands_see_mirrored_shapes() -> None:
    made = three_layers()
    assert page_of(made) != page_of(made, left_handed=True)


def test_the_list_of_songs_leads_to_each() -> None:
    html = list_of(ListedSong("a/index.html", "<A>", ("us",)))
    assert '<a class="name" href="a/index.html" dir="auto">&lt;A&gt;</a>' in html
    assert text_table()["class_title"] in html
    assert "first-line" not in html


def test_the_list_says_for_whom_a_song_is_and_what_is_new_in_it() -> None:
    first = ListedSong("a/index.html", "A", ("C major",), "beginner", (C, F, C_HIGH), "a/page/first-line.mp3")
    later = ListedSong("b/index.html", "B", ("C major",), "free", (F, C, ShapeUse("G7", (0, 2, 1, 2))))
    again = ListedSong(
        "c/index.html", "C", ("C major",), "improving", (F, C_HIGH, ShapeUse("C", (0, 0, 3, 3)))
    )
    html = list_of(first, later, again, replace(first, first_line=""))
    items = re.findall(r"<li>(.*?)</li>", html, re.DOTALL)
    news = [re.findall(r'<p class="new">(.*?)</p>', item)[0] for item in items]
    assert news == [
        "New chords: C, F. 1 new way to hold a chord.",
        "New chord: G7.",
        "1 new way to hold a chord.",
        text_table()["new_none"].replace("'", "&#39;"),
    ]
    assert [item.count("<svg") for item in items] == [2, 1, 0, 0]
    levels = ["beginner", "free", "improving", "beginner"]
    assert all(text_table()[f"level_{level}"] in item for level, item in zip(levels, items, strict=True))
    assert ['class="first-line" href="a/page/first-line.mp3"' in item for item in items] == [
        True,
        False,
        False,
        False,
    ]


def test_six_sets_to_take_home_are_six_lines() -> None:
    names = [f"{number:02}-{track}" for number, track in enumerate(("echo", "slow", "demo"), 1)]
    sets = [f"{tuning}-{speed}" for tuning in ("high-g", "low-g", "baritone") for speed in (60, 100)]
    downloads = {
        kind: [(f"{folder}/{name}.{kind}", 1_500_000) for folder in sets for name in names]
        for kind in ("wav", "mp3")
    }
    home = take_home({**downloads, "pdf": [("song.pdf", 60_000)], "midi": [("song.mid", 900)]})
    assert [sheet["name"] for sheet in home["sheets"]] == ["song.pdf"]
    assert [one["title"] for one in home["sets"]][1:] == [name.replace("-", " ") for name in sorted(sets)]
    assert home["sets"][0]["title"] == text_table()["take_all"]
    assert {one["about"] for one in home["sets"][1:]} == {"6 files, 9.0 MB"}
    assert [track["name"] for track in home["sets"][1]["tracks"]] == ["echo", "slow", "demo"]
    assert [file["kind"] for file in home["sets"][1]["tracks"][0]["kinds"]] == ["WAV", "MP3"]
    assert take_home({}) == take_home({"mp3": []}) == {}


def test_each_phrase_begins_with_its_first_note() -> None:
    made = three_layers()
    take = sound_of(made).timings[0].take
    phrases = facts_of(page_of(made))["phrases"]
    starts = [phrase.start_beat for phrase in phrase_ranges(made)]
    assert len(phrases) == len(starts) > 1
    for at, start in zip(phrases, starts, strict=True):
        assert take.notes[at].beat >= start
        assert all(note.beat < start for note in take.notes[:at])


def test_every_text_that_is_used_is_in_the_table_and_the_other_way_round() -> None:
    package = Path(song_page.__code__.co_filename).parent
    sources = [
        path
        for path in package.rglob("*")
        if path.suffix in (".py", ".html", ".js") and "lean" not in path.parts
    ]
    everything = "\n".join(path.read_text(encoding="utf-8") for path in sources)
    named = set(re.findall(r'(?:T\.text\(|word\(|filled\(|text_table\(\)\[)"(\w+)"', everything))
    named |= set(re.findall(r"\bt\.(\w+)", everything))
    unknown = {name for name in named if not name.endswith("_")} - set(text_table())
    assert unknown == set()
    composed = (
        r"layer_|means_|place_|count_\d|turn_|play$|stop$|class_title|whose_|language|level_|drawer_|stage_|"
        r"again_bar|new_|lesson_|mine_(of|tuning|players|hand|said)_|yours_"
    )
    quoted = set(re.findall(r'"(\w+)"', everything))
    unused = {name for name in text_table() if name not in named | quoted and not re.match(composed, name)}
    assert unused == set()


def test_a_text_keeps_braces_of_its_values() -> None:
    assert filled("bar_name", bar="{section}", section="{bar}") == "bar {section}, {bar}"


@pytest.mark.parametrize(("speed", "label"), [(Fraction(1), "100"), (Fraction(133, 200), "66-5")])
def test_speeds_have_names_that_files_take(speed: Fraction, label: str) -> None:
    assert speed_label(speed) == label


@pytest.mark.parametrize("modelled", [True, False])
def test_the_script_is_strict_and_fetches_nothing(modelled: bool) -> None:
    script = player_script(modelled=modelled)
    assert script.startswith('"use strict";')
    assert not re.search(
        r"\b(eval|fetch|XMLHttpRequest|WebSocket|(inner|outer|Adjacent)HTML|document\.write|sendBeacon)\b",
        script,
    )
