from __future__ import annotations

import importlib.util
import subprocess
import sys
from pathlib import Path

import pytest

from tercet.errors import SoundFontError
from tercet.sound import soundfont_choice as fonts
from tercet.sound.players import player_of
from tercet.sound.sampler import BuiltInUkulele
from tercet.sound.sf2_reader import SoundFont
from tercet.sound.soundfont_choice import Sound, choose_sound, find_fonts, usual_folders
from tercet.sound.ukulele import built_in_path
from tests.sound.made_fonts import NYLON, UKULELE, MadeZone, made_font, packaged_font, save_font
from tests.sound.takes import note, take

GRAND = (0, 0, "Grand Piano")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "fonts"
    place.mkdir()
    return place


def test_what_is_asked_for_wins_in_the_order_option_song_environment_folders(
    tmp_path: Path, folder: Path
) -> None:
    song_folder = tmp_path / "songs"
    option = save_font(tmp_path / "option.sf2", name="Option")
    save_font(song_folder / "song.sf2", name="Song")
    variable = save_font(tmp_path / "variable.sf2", name="Variable")
    save_font(folder / "folder.sf2", name="Folder")
    environ = {"TERCET_SOUND": str(variable)}

    def name(option: str | None, song: str | None, environ: dict[str, str]) -> str:
        return choose_sound(option, song, song_folder, environ, [folder]).name

    assert name(str(option), "song.sf2", environ) == "Option"
    assert name(None, "song.sf2", environ) == "Song"
    assert name(None, None, environ) == "Variable"
    assert name(None, None, {}) == "Tercet Ukulele"
    assert name("folder", "song.sf2", environ) == "Folder"
    assert name("built-in", "song.sf2", environ) == name(None, "built-in", environ) == "Tercet Ukulele"
    assert name(None, None, {"TERCET_SOUND": "built-in"}) == "Tercet Ukulele"


def test_the_ukulele_comes_before_the_guitar_and_folders_in_their_order(tmp_path: Path, folder: Path) -> None:
    other = tmp_path / "other"
    save_font(folder / "a.sf2", presets=[NYLON], name="First Guitar")
    save_font(folder / "b.sf2", presets=[GRAND], name="Piano")
    save_font(other / "deeper" / "c.sf3", presets=[UKULELE], name="Late Ukulele", compressed=True)
    (other / "d.sf2").write_bytes(made_font()[:-7])
    (other / "e.txt").write_bytes(made_font())
    found = find_fonts({}, [folder, other])
    assert [(font.name, font.usable) for font in found] == [
        ("Late Ukulele", True),
        ("First Guitar", True),
        ("TimGM6mb", True),
        ("Piano", False),
        ("d.sf2", False),
    ]
    assert [font.kind for font in found] == ["SF3", "SF2", "SF2", "SF2", ""]
    assert [font.packaged for font in found] == [False, False, True, False, False]
    assert found[0].why == "has a ukulele (bank 8, program 24)"
    assert found[1].why == "has a nylon-string guitar (bank 0, program 24)"
    assert found[3].why.startswith("has neither a ukulele in bank 8")
    assert found[4].why.startswith("the sound font is damaged: it is cut off")
    assert found[4].size_bytes == len(made_font()) - 7
    chosen = choose_sound("c", None, None, {}, [folder, other])
    assert (chosen.name, chosen.preset_name) == ("Late Ukulele", "Test Ukulele")
    assert chosen.sound == SoundFont((other / "deeper" / "c.sf3").resolve(), 8, 24)


def test_what_a_font_says_about_its_rights_is_passed_on(folder: Path) -> None:
    save_font(folder / "a.sf2", rights="CC0, the players")
    assert [font.rights for font in find_fonts({}, [folder])] == ["CC0, the players", ""]


def test_the_built_in_ukulele_plays_when_nothing_else_is_asked_for(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERCET_CACHE", str(tmp_path))
    save_font(folder / "a.sf2", presets=[UKULELE])
    chosen = choose_sound(None, None, None, {}, [folder])
    assert chosen.sound == Sound().chosen().sound == BuiltInUkulele()
    assert not built_in_path().exists(), "no font is made for it"
    assert (chosen.name, chosen.preset_name) == ("Tercet Ukulele", "Ukulele")
    assert "the built-in ukulele plays" in chosen.why


def test_a_font_whose_preset_holds_no_sample_is_passed_over(folder: Path) -> None:
    broken = made_font()
    place = broken.rindex(b"shdr") + 8 + 24
    (folder / "a.sf2").write_bytes(broken[:place] + b"\xff\xff\xff\x00" + broken[place + 4 :])
    assert find_fonts({}, [folder])[-1].why.startswith(
        "the sound font is damaged: the sample «Pluck» lies outside"
    )
    with pytest.raises(SoundFontError, match="the sample «Pluck» lies outside"):
        player_of(choose_sound("a", None, None, {}, [folder]).sound).stems(take([note()]))


@pytest.mark.parametrize("text", ["mine.sf2", "mine", "MINE.SF2", "Mine"])
def test_a_font_in_the_usual_folders_is_found_by_name_with_or_without_ending(folder: Path, text: str) -> None:
    path = save_font(folder / "below" / "Mine.sf2")
    assert choose_sound(text, None, None, {}, [folder]).sound == SoundFont(path, 8, 24)
    assert choose_sound(None, text, None, {}, [folder]).sound == SoundFont(path, 8, 24)
    assert choose_sound(None, None, None, {"TERCET_SOUND": text}, [folder]).sound == SoundFont(path, 8, 24)


def test_a_path_is_taken_from_the_working_folder_and_from_home(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    save_font(tmp_path / "here" / "x.sf2", name="Here")
    save_font(tmp_path / "y.sf3", name="At Home", compressed=True)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    assert choose_sound("here/x", None, None, {}, []).name == "Here"
    assert choose_sound("~/y.sf3", None, None, {}, []).name == "At Home"


def test_a_song_is_for_other_computers_too(tmp_path: Path, folder: Path) -> None:
    songs = tmp_path / "songs"
    save_font(songs / "own.sf2", name="Own")
    save_font(tmp_path / "shared.sf2", name="Shared")
    absolute = str(songs / "own.sf2")
    assert choose_sound(None, "own", songs, {}, [folder]).name == "Own"
    assert choose_sound(None, "../shared.sf2", songs, {}, [folder]).name == "Shared"
    for text in (absolute, "~/own.sf2", r"\\server\share\own.sf2", r"C:\own.sf2", "//server/own.sf2"):
        with pytest.raises(SoundFontError, match="a place on one computer only"):
            choose_sound(None, text, songs, {}, [folder])
    with pytest.raises(
        SoundFontError, match="The song's «sound:» asks for the sound font «own», which isn't there"
    ):
        choose_sound(None, "own", None, {}, [folder])


def test_a_font_that_is_not_there_is_never_replaced(tmp_path: Path, folder: Path) -> None:
    save_font(folder / "Koa-Ukulele.sf2")
    with pytest.raises(
        SoundFontError, match=r"The option --sound asks for .*«Koa-Ukelele\.sf2».*Did you mean «Koa-Uku"
    ):
        choose_sound("Koa-Ukelele.sf2", None, None, {}, [folder])
    with pytest.raises(
        SoundFontError, match=r"The environment variable TERCET_SOUND asks for .*the usual folders"
    ):
        choose_sound(None, None, None, {"TERCET_SOUND": "gone"}, [folder])
    with pytest.raises(SoundFontError, match=r"isn't there. «tercet sounds» lists"):
        choose_sound(str(tmp_path / "none.sf2"), None, None, {}, [folder])
    for odd in ("/", ".", "a\0b", "x" * 5000, "~nobody/x"):
        with pytest.raises(SoundFontError, match="isn't there"):
            choose_sound(odd, None, None, {}, [folder])
    (folder / "text.sf2").write_text("no font")
    with pytest.raises(SoundFontError, match="this is not a sound font"):
        choose_sound("text", None, None, {}, [folder])


def test_a_font_that_was_asked_for_may_have_its_ukulele_elsewhere(folder: Path) -> None:
    def preset(*presets: tuple[int, int, str]) -> str:
        return choose_sound(str(save_font(folder / "a.sf2", presets=presets)), None, None, {}, []).preset_name

    assert preset(GRAND, NYLON, UKULELE) == "Test Ukulele"
    assert preset(GRAND, (0, 5, "Tenor Uke"), NYLON) == "Test Nylon"
    assert preset(GRAND, (0, 5, "Tenor Uke")) == "Tenor Uke"
    assert preset((0, 3, "Koa"), (128, 0, "Ukulele Drums")) == "Koa"
    with pytest.raises(SoundFontError, match=r"It offers 2 presets: «Grand Piano», «Duke Organ»\. Choose"):
        preset(GRAND, (0, 5, "Duke Organ"))
    many = [(0, number, f"Sound {number}") for number in range(9)]
    with pytest.raises(SoundFontError, match=r"9 presets: «Sound 0», .*«Sound 5» and more"):
        preset(*many)


def test_links_are_followed_and_a_font_is_listed_once(folder: Path) -> None:
    path = save_font(folder / "z.sf2", name="Once")
    (folder / "a.sf2").symlink_to(path)
    found = find_fonts({}, [folder, folder])
    assert [font.path for font in found] == [path, packaged_font()]


def test_with_no_font_at_all_the_list_is_empty(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda _name: None)
    assert find_fonts({}, [folder]) == ()


@pytest.mark.parametrize(
    ("platform", "environ", "expected"),
    [
        (
            "linux",
            {"XDG_DATA_HOME": "/data"},
            ["/data/soundfonts", "/usr/share/sounds/sf2", "/usr/share/sounds/sf3"],
        ),
        (
            "darwin",
            {"HOMEBREW_PREFIX": "/brew"},
            ["/brew/share/soundfonts", "/opt/homebrew/share/soundfonts"],
        ),
        (
            "win32",
            {"PROGRAMDATA": "C:/Common", "LOCALAPPDATA": "C:/Mine"},
            ["C:/Common/soundfonts", "C:/Mine/soundfonts"],
        ),
        ("freebsd", {}, ["/usr/share/sounds/sf2"]),
    ],
)
def test_each_system_has_its_usual_folders(
    monkeypatch: pytest.MonkeyPatch, platform: str, environ: dict[str, str], expected: list[str]
) -> None:
    monkeypatch.setattr(sys, "platform", platform)
    folders = usual_folders(environ)
    assert set(map(Path, expected)) <= set(folders)
    assert len(set(folders)) == len(folders)
    assert folders[0].parts[-2:] == ("tercet", "soundfonts")


def test_fonts_are_looked_for_in_the_usual_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fonts, "FOLDERS", {"linux": ("{data}/soundfonts",)})
    monkeypatch.setattr(sys, "platform", "linux")
    path = save_font(tmp_path / "soundfonts" / "a.sf2", zones=[MadeZone(40, 90)])
    assert find_fonts({"XDG_DATA_HOME": str(tmp_path)})[0].path == path
    assert choose_sound("a", None, None, {"XDG_DATA_HOME": str(tmp_path)}).sound == SoundFont(path, 8, 24)


def test_looking_for_fonts_imports_neither_numpy_nor_pretty_midi() -> None:
    code = (
        "import os, sys; from tercet.sound.soundfont_choice import choose_sound;"
        "choose_sound(None, None, None, os.environ);"
        "print(sorted({'pretty_midi', 'fluidsynth', 'scipy'} & set(sys.modules)))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert run.stdout.strip() == "[]"
