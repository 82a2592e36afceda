"""Which font has which signs."""

from __future__ import annotations

import pytest

from tercet.publish import typefaces
from tercet.publish.typefaces import family_for, font_files, visual_order, without_font


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("", "Noto Sans"),
        ("Grüße, Ελλάδα, Мир", "Noto Sans"),
        ("שלום", "Heebo"),
        ("مرحبا", "Noto Sans Arabic"),
        ("你好", "Noto Sans CJK JP"),
        ("안녕", "Noto Sans CJK JP"),
        ("a 你好", "Noto Sans CJK JP"),
        ("\U0001f3b5", "Noto Sans"),
    ],
)
def test_text_is_set_in_the_first_family_that_has_it(text: str, name: str) -> None:
    assert family_for(text).name == name


def test_only_the_files_that_are_needed_are_read() -> None:
    assert [path.name for path in font_files(["Lan-terns"])] == ["NotoSans[wdth,wght].ttf"]
    assert [path.name for path in font_files([])] == ["NotoSans[wdth,wght].ttf"]
    assert [path.name for path in font_files(["a", "你"])] == [
        "NotoSans[wdth,wght].ttf",
        "NotoSansCJKjp-Regular.otf",
    ]


def test_signs_without_a_font_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    assert without_font(["a\U0001f3b5b", "你\n"]) == "\U0001f3b5"
    monkeypatch.setattr(typefaces, "FAMILIES", typefaces.FAMILIES[:1])
    assert without_font(["你a"]) == "你"


def test_words_from_right_to_left_are_turned_for_what_sets_sign_by_sign() -> None:
    assert visual_order("abc") == "abc"
    assert visual_order("שלום") == "םולש"
    assert visual_order("שלום (1)") == "(1) םולש"
    assert visual_order("see שלום now") == "see םולש now"
    assert visual_order("مرحبا") == "ﺎﺒﺣﺮﻣ"
