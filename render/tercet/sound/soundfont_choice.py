"""Choosing the sound: the built-in ukulele, or one of the sound fonts of this computer, which are found here.

The first of these that names a sound decides:

1. the option of the command line,
2. the song's ``sound:``,
3. the environment variable ``TERCET_SOUND``,
4. the built-in ukulele, which needs no font (`tercet.sound.sampler`).

The fonts of the usual folders are listed, and play when they are asked for. What was asked for by name is never
replaced by something else: if it is missing or damaged, that is an error.
"""

from __future__ import annotations

import difflib
import importlib.util
import os
import re
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PureWindowsPath

from tercet.caches import data_folder, home_folder
from tercet.errors import SoundFontError
from tercet.sound.players import PlayedSound
from tercet.sound.sampler import BuiltInUkulele
from tercet.sound.sf2_reader import FontHeader, Preset, SoundFont, read_header, read_zones
from tercet.sound.ukulele import FONT_NAME
from tercet.wording import counted

__all__ = [
    "BUILT_IN",
    "ENVIRONMENT_VARIABLE",
    "ChosenSound",
    "FoundFont",
    "Sound",
    "choose_sound",
    "examine_font",
    "find_fonts",
    "usual_folders",
]

ENVIRONMENT_VARIABLE = "TERCET_SOUND"

BUILT_IN = "built-in"
"""The name by which the built-in ukulele can be asked for where something else would play."""

ENDINGS = (".sf2", ".sf3")

WANTED: tuple[tuple[int, int, str], ...] = ((8, 24, "ukulele"), (0, 24, "nylon-string guitar"))
"""Bank, program and name of what a font should have, the best first. Program 24 (25 counted from 1) is the
nylon-string guitar of General MIDI; its variation in bank 8 is the ukulele."""

NAMED_AFTER_UKULELE = re.compile(r"\buke\b|uk[ue]lele", re.IGNORECASE)
"""Names that tell a ukulele in another place."""

DRUM_BANK = 128

FOLDERS: dict[str, tuple[str, ...]] = {
    "linux": (
        "{data}/soundfonts",
        "{data}/sounds/sf2",
        "{data}/sounds/sf3",
        "/usr/local/share/soundfonts",
        "/usr/local/share/sounds/sf2",
        "/usr/share/soundfonts",
        "/usr/share/sounds/sf2",
        "/usr/share/sounds/sf3",
        "/home/linuxbrew/.linuxbrew/share/soundfonts",
    ),
    "darwin": (
        "{home}/Library/Audio/Sounds/Banks",
        "{data}/soundfonts",
        "/Library/Audio/Sounds/Banks",
        "/opt/homebrew/share/soundfonts",
        "/opt/homebrew/share/fluid-synth/sf2",
        "/usr/local/share/soundfonts",
        "/usr/local/share/fluid-synth/sf2",
    ),
    "win32": (
        "{local}/soundfonts",
        "{home}/soundfonts",
        "{common}/soundfonts",
        "{common}/sounds/sf2",
    ),
}
"""Where systems and people keep sound fonts, after Tercet's own folder, by `sys.platform`."""


@dataclass(frozen=True, slots=True)
class FoundFont:
    """A font that was found, and what it is good for.

    Parameters
    ----------
    path, size_bytes
        The file; links are followed.
    name
        As the font gives it; the file's name when the font can't be read.
    kind
        ``"SF2"`` or ``"SF3"``, the latter with compressed samples; empty when the font can't be read.
    presets
        Those of interest: ukulele, nylon-string guitar, others named after a ukulele; the best first.
    usable
        Whether it may be chosen without being asked for; then its first preset is played.
    why
        Why it can be used, or why not.
    packaged
        Whether it comes inside a Python package, as the last resort.
    rights
        What the font says about its rights, often nothing.
    """

    path: Path
    size_bytes: int
    name: str
    kind: str
    presets: tuple[Preset, ...]
    usable: bool
    why: str
    packaged: bool = False
    rights: str = ""


@dataclass(frozen=True, slots=True)
class ChosenSound:
    """The sound that will be heard, its name and its preset's, and why it was chosen, in a sentence."""

    sound: PlayedSound
    name: str
    preset_name: str
    why: str


@dataclass(frozen=True, slots=True)
class Sound:
    """What Python users play a song with: the built-in ukulele, or a sound font. Nothing is looked for until it plays.

    Parameters
    ----------
    font
        A path, or a file's name in the usual folders, with or without its ending; the built-in ukulele without it.
    """

    font: str | Path = BUILT_IN

    def chosen(self) -> ChosenSound:
        """Return what is heard.

        Raises
        ------
        SoundFontError
            As `choose_sound`.
        """
        if str(self.font) == BUILT_IN:
            return _built_in(f"«{BUILT_IN}» is asked for.")
        return _named(str(self.font), "this program", (Path(),), usual_folders(os.environ))


def usual_folders(environ: Mapping[str, str]) -> tuple[Path, ...]:
    """Return the folders in which fonts are looked for, Tercet's own first, whether they exist or not.

    Parameters
    ----------
    environ
        Environment variables; ``XDG_DATA_HOME``, ``LOCALAPPDATA``, ``PROGRAMDATA`` and ``HOMEBREW_PREFIX`` are heeded.
    """
    home = home_folder() or Path("~")
    places = {
        "home": str(home),
        "data": environ.get("XDG_DATA_HOME") or str(home / ".local" / "share"),
        "local": environ.get("LOCALAPPDATA") or str(home / "AppData" / "Local"),
        "common": environ.get("PROGRAMDATA") or "C:/ProgramData",
    }
    known = FOLDERS.get(sys.platform, FOLDERS["linux"])
    own = data_folder()
    folders = [own / "soundfonts"] if own else []
    folders += [Path(folder.format(**places)) for folder in known]
    if prefix := environ.get("HOMEBREW_PREFIX"):
        folders.append(Path(prefix) / "share" / "soundfonts")
    return tuple(folder for folder in dict.fromkeys(folders) if not str(folder).startswith("~"))


def find_fonts(environ: Mapping[str, str], folders: Sequence[Path] | None = None) -> tuple[FoundFont, ...]:
    """Return the fonts of this computer in the order in which they would be chosen, the unusable ones last.

    Parameters
    ----------
    environ
        Environment variables.
    folders
        Where to look instead of `usual_folders`; the font in pretty_midi's package is added in any case.
    """
    files = dict.fromkeys(path.resolve() for path in _font_files(_folders(environ, folders)))
    found = [examine_font(path) for path in files]
    found += [examine_font(path, packaged=True) for path in _packaged_fonts()]
    return tuple(sorted(found, key=_rank))


def choose_sound(
    option: str | None,
    song_sound: str | None,
    song_folder: Path | None,
    environ: Mapping[str, str],
    folders: Sequence[Path] | None = None,
) -> ChosenSound:
    """Choose the sound that will be heard.

    Parameters
    ----------
    option
        What the command line asks for: a path, or a file's name in the usual folders, with or without its ending.
    song_sound
        What the song asks for: the same, but no absolute path, because a song is for other computers too.
    song_folder
        The folder of the song's file, in which `song_sound` is looked for first.
    environ
        Environment variables; ``TERCET_SOUND`` is read as `option` is.
    folders
        Where to look instead of `usual_folders`.

    Raises
    ------
    SoundFontError
        What was asked for isn't there, is damaged or has no fitting preset.
    """
    where = _folders(environ, folders)
    asked = option or song_sound or environ.get(ENVIRONMENT_VARIABLE)
    if asked == BUILT_IN:
        return _built_in(f"«{BUILT_IN}» is asked for.")
    if option:
        return _named(option, "the option --sound", (Path(),), where)
    if song_sound:
        _refuse_absolute(song_sound)
        return _named(song_sound, "the song's «sound:»", (song_folder,) if song_folder else (), where)
    if variable := environ.get(ENVIRONMENT_VARIABLE):
        return _named(variable, f"the environment variable {ENVIRONMENT_VARIABLE}", (Path(),), where)
    return _built_in("Nothing else was asked for, so the built-in ukulele plays.")


def _folders(environ: Mapping[str, str], folders: Sequence[Path] | None) -> tuple[Path, ...]:
    return usual_folders(environ) if folders is None else tuple(folders)


def _built_in(why: str) -> ChosenSound:
    """Choose the built-in ukulele."""
    return ChosenSound(BuiltInUkulele(), FONT_NAME, "Ukulele", why)


def _named(text: str, asker: str, places: Sequence[Path], folders: Sequence[Path]) -> ChosenSound:
    """Choose the font that somebody asks for by `text`."""
    path = _look_up(text, places, folders)
    if path is None:
        raise SoundFontError(_not_there(text, asker, places, folders))
    header = read_header(path)
    presets = _presets_of_interest(header) or _only_preset(header)
    if not presets:
        offered = ", ".join(f"«{preset.name}»" for preset in header.presets[:6])
        raise SoundFontError(
            f"{path}: {asker} asks for this font, but it has neither a ukulele (bank 8, program 24) nor a nylon-string "
            f"guitar (bank 0, program 24). It offers {counted(len(header.presets), 'preset')}: {offered}"
            f"{' and more' if len(header.presets) > 6 else ''}. Choose another font."
        )
    preset = presets[0]
    why = f"{asker[0].upper()}{asker[1:]} asks for it, and «{preset.name}» is its best preset for a ukulele."
    return ChosenSound(SoundFont(path, preset.bank, preset.program), header.name, preset.name, why)


def _refuse_absolute(song_sound: str) -> None:
    """Refuse a song that names a place on one computer, or on another one in the network."""
    windows = PureWindowsPath(song_sound)
    if windows.drive or windows.root or song_sound.startswith("~"):
        raise SoundFontError(
            f"The song's «sound:» is «{song_sound}», a place on one computer only. Write the font's file name alone, "
            "or its path from the song's folder, or name it by --sound instead."
        )


def _look_up(text: str, places: Sequence[Path], folders: Sequence[Path]) -> Path | None:
    """Return the file that `text` means: a path from one of the places, else a name in the folders."""
    asked = Path(text)
    if text.startswith("~/"):
        asked = (home_folder() or Path("~")) / text[2:]
    for place in places:
        for ending in ("", *ENDINGS):
            path = place / asked.with_name(asked.name + ending) if asked.name else place / asked
            if _is_file(path):
                return path
    for path in _font_files(folders):
        if text.lower() in (path.name.lower(), path.stem.lower()):
            return path
    return None


def _not_there(text: str, asker: str, places: Sequence[Path], folders: Sequence[Path]) -> str:
    """Return what to tell who asked for a font that isn't there."""
    names = sorted({path.name for path in _font_files(folders)})
    near = difflib.get_close_matches(text, names, n=1)
    advice = f"Did you mean «{near[0]}»? " if near else ""
    asked = f"{asker[0].upper()}{asker[1:]} asks for the sound font «{text}», which isn't there. {advice}"
    if Path(text).is_absolute() or text.startswith("~/"):
        return f"{asked}«tercet sounds» lists the fonts that are there."
    looked = ", ".join([*(str(place.resolve()) for place in places), "the usual folders"])
    return f"{asked}It was looked for in {looked}; «tercet sounds» lists the fonts that are there."


def examine_font(path: Path, packaged: bool = False) -> FoundFont:
    """Look at a font: what it has, and whether it may be chosen unasked."""
    try:
        header = read_header(path)
        presets = _presets_of_interest(header)
        for preset in presets:
            read_zones(path, preset.bank, preset.program)
    except SoundFontError as error:
        size_bytes = path.stat().st_size if _is_file(path) else 0
        why = str(error).removeprefix(f"{path}: ")
        return FoundFont(path, size_bytes, path.name, "", (), usable=False, why=why, packaged=packaged)
    usable = bool(presets) and _wanted_rank(presets[0]) < len(WANTED)
    if usable:
        why = f"has a {_wanted_name(presets[0])} (bank {presets[0].bank}, program {presets[0].program})"
    else:
        why = "has neither a ukulele in bank 8, program 24 nor a nylon-string guitar in bank 0, program 24"
    kind = "SF3" if header.compressed else "SF2"
    return FoundFont(
        path, header.size_bytes, header.name, kind, presets, usable, why, packaged, rights=header.rights
    )


def _rank(font: FoundFont) -> tuple[bool, bool, int]:
    """Order of choice: usable ones, the last resort after the others, the ukulele first."""
    return not font.usable, font.packaged, _wanted_rank(font.presets[0]) if font.presets else len(WANTED)


def _presets_of_interest(header: FontHeader) -> tuple[Preset, ...]:
    """Return the wanted presets, then those named after a ukulele."""
    presets = [
        preset
        for preset in header.presets
        if _wanted_rank(preset) < len(WANTED)
        or (preset.bank != DRUM_BANK and NAMED_AFTER_UKULELE.search(preset.name))
    ]
    return tuple(sorted(presets, key=_wanted_rank))


def _only_preset(header: FontHeader) -> tuple[Preset, ...]:
    """Return the font's preset if it has but one that isn't drums."""
    melodic = tuple(preset for preset in header.presets if preset.bank != DRUM_BANK)
    return melodic if len(melodic) == 1 else ()


def _wanted_rank(preset: Preset) -> int:
    """Return the preset's place in `WANTED`, its length for others."""
    places = [(bank, program) for bank, program, _ in WANTED]
    place = (preset.bank, preset.program)
    return places.index(place) if place in places else len(places)


def _wanted_name(preset: Preset) -> str:
    return WANTED[_wanted_rank(preset)][2]


def _font_files(folders: Sequence[Path]) -> list[Path]:
    """Return the font files in folders and one level below, folder by folder, then by name."""
    files: list[Path] = []
    for folder in folders:
        inside = [*folder.glob("*"), *folder.glob("*/*")]
        fonts = [path for path in inside if path.suffix.lower() in ENDINGS and _is_file(path)]
        files += sorted(fonts, key=lambda path: (path.name.lower(), path.name))
    return files


def _packaged_fonts() -> list[Path]:
    """Return the sound fonts inside pretty_midi's package, which isn't imported for it."""
    package = importlib.util.find_spec("pretty_midi")
    places = package.submodule_search_locations if package else None
    return _font_files([Path(place) for place in places or ()])


def _is_file(path: Path) -> bool:
    """Return whether this is a file; a path that the system won't even look at isn't."""
    try:
        return path.is_file()
    except OSError:
        return False
