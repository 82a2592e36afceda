"""A song on paper: the sheet as PDF or SVG, the handout's pictures, what the fretboard shows of its tune."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from tercet.arranging import Arrangement
from tercet.kit.events import Event, Listener, unheard
from tercet.kit.options import PlayOptions
from tercet.kit.ready import arranged, tell_off_neck
from tercet.made_files import check_may_make, made_files
from tercet.publish import picture_maker
from tercet.publish.picture_files import paper_named
from tercet.publish.pictures import FretboardMap, frets_for, handout_pictures, tune_places
from tercet.publish.score.pages import SheetLook, sheet_of, sheet_pdf, sheet_svg
from tercet.publish.score.words_sheet import words_sheet
from tercet.publish.shapes import Drawing, texts_in
from tercet.publish.typefaces import without_font
from tercet.song import Song
from tercet.theory import Key

__all__ = ["make_handout", "map_of_song", "sheet_bytes", "tell_missing_signs", "tell_signs_without_font"]

MOST_SIGNS = 12


def sheet_bytes(
    arrangement: Arrangement,
    ending: str,
    listener: Listener = unheard,
    *,
    paper: str = "A4",
    large: bool = False,
    left_handed: bool = False,
    words: bool = False,
) -> bytes:
    """Return the sheet of a song as a file, and tell of signs that no font has.

    Parameters
    ----------
    arrangement
        The song.
    ending
        A ``.pdf`` has pages, a ``.svg`` is one long picture.
    listener
        Told what to know.
    paper
        ``A4``, ``Letter``, ``A5`` or ``Half-Letter``.
    large
        Larger, tab and words only.
    left_handed
        Mirror the shapes.
    words
        Words and chords alone, for those who sing and strum.
    """
    pages = ending == ".pdf"
    lay_out = words_sheet if words else sheet_of
    sheet = lay_out(arrangement, SheetLook(paper_named(paper) if pages else None, large, left_handed))
    tell_missing_signs(sheet.texts, listener)
    return sheet_pdf(sheet) if pages else sheet_svg(sheet).encode("utf-8")


def make_handout(
    arrangement: Arrangement,
    path: Path,
    listener: Listener = unheard,
    *,
    left_handed: bool = False,
    replace: bool = False,
) -> tuple[Path, ...]:
    """Write the pictures of a handout, all or none, and return their names: ``FILE-1.png`` and so on for several.

    Raises
    ------
    RequestError
        The ending is none of a picture's, or something is in the way that must stay.
    OutputError
        A file can't be written.
    """
    make = picture_maker(path)
    check_may_make(path, replace=replace)
    pictures = handout_pictures(arrangement, left_handed=left_handed)
    several = [path.with_name(f"{path.stem}-{number + 1}{path.suffix}") for number in range(len(pictures))]
    paths = tuple(several) if len(pictures) > 1 else (path,)
    tell_signs_without_font(pictures, listener)
    with made_files(paths, maker="sheet", replace=replace) as hidden:
        for place, picture in zip(hidden, pictures, strict=True):
            place.write_bytes(make(picture))
    return paths


def map_of_song(
    song: Song,
    options: PlayOptions,
    listener: Listener = unheard,
    *,
    key: Key | None = None,
    frets: int | None = None,
    blank: bool = False,
    left_handed: bool = False,
) -> FretboardMap:
    """Return what the fretboard shows of a song: its tune's places before all others of a key, the song's without one.

    Parameters
    ----------
    song, options
        The song, and how it is arranged.
    listener
        Told which notes no string has, and whether `frets` are too few for the tune.
    key, frets, blank, left_handed
        As in `FretboardMap`; as many frets as the tune needs without a number.
    """
    arrangement = arranged(song, options, listener)
    tell_off_neck(arrangement, listener)
    places = tune_places(arrangement)
    needed = frets_for(places)
    if frets and any(fret > frets for _, fret in places):
        text = f"the tune goes up to fret {needed}: with --frets {frets} a part of it isn't shown"
        listener(Event("notice", text, song.title))
    return FretboardMap(
        key or arrangement.song.key,
        arrangement.tuning,
        frets or needed,
        song.title,
        places,
        blank,
        left_handed,
    )


def tell_signs_without_font(drawings: Iterable[Drawing], listener: Listener) -> None:
    """Tell which signs of some drawings no font here has, if any: they are drawn as boxes."""
    tell_missing_signs((text.text for drawing in drawings for text in texts_in(drawing.shapes)), listener)


def tell_missing_signs(texts: Iterable[str], listener: Listener) -> None:
    """Tell which signs of some texts no font here has, if any: they are drawn as boxes."""
    signs = without_font(texts)
    if signs:
        few = " ".join(signs[:MOST_SIGNS]) + (" …" if len(signs) > MOST_SIGNS else "")
        text = (
            f"no font here has {few}: they are drawn as boxes. "
            'For Chinese, Japanese and Korean: pip install "tercet[cjk]"'
        )
        listener(Event("notice", text))
