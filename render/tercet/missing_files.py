"""What is said of a file to read that isn't there: which one is likely meant, else which there are."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from itertools import islice
from pathlib import Path

from tercet.errors import RequestError
from tercet.printable import visible_line
from tercet.wording import did_you_mean, listed, lookalikes

__all__ = ["SONG_ENDINGS", "TUNE_ENDINGS", "files_in", "folder_instead", "missing_file"]

SONG_ENDINGS = (".yaml", ".yml")
TUNE_ENDINGS = (
    ".musicxml",
    ".xml",
    ".mxl",
    ".abc",
    ".mid",
    ".midi",
    ".cho",
    ".chopro",
    ".chordpro",
    ".crd",
    ".pro",
)
"""How names of tunes end that can be imported."""

CLASS_FILES = ("class.yaml", "class.yml")
"""Of these endings, but no songs."""

SHOWN = 4
"""Files that a sentence lists; of more it tells the number."""

MOST_SEEN = 2000
"""Names of a folder that are looked through."""

MOST_FOLDERS = 40
"""Folders below that are looked into."""


def files_in(folder: Path, endings: Sequence[str]) -> tuple[str, ...]:
    """Return the names of a folder's files with such endings, class files aside, by the alphabet."""
    return tuple(
        sorted(
            entry.name
            for entry in _entries(folder)
            if entry.name.lower().endswith(tuple(endings))
            and entry.name not in CLASS_FILES
            and _holds(entry.is_file)
        )
    )


def missing_file(path: Path, endings: Sequence[str], kind: type[RequestError] = RequestError) -> RequestError:
    """Return the error of a file that isn't there.

    Parameters
    ----------
    path
        As the user gave it.
    endings
        Of the files that could be meant.
    kind
        Of the error.
    """
    nothing = f"there is no file {visible_line(str(path))}"
    meant = str(next(iter(_likely(path, endings)), ""))
    if meant:
        return kind(nothing + did_you_mean([visible_line(meant)]), given=str(path), meant=meant)
    folder = path.parent
    if not _is_there(folder):
        return kind(f"{nothing}: there is no folder {visible_line(str(folder))}")
    here = "in this folder" if folder == Path() else f"in {visible_line(str(folder))}"
    there = files_in(folder, endings)
    if not there:
        return kind(f"{nothing}, and none that ends in {listed(endings, 'or')} {here}")
    return kind(f"{nothing}; {here} {'is' if len(there) == 1 else 'are'} {_few(there)}")


def folder_instead(
    path: Path, endings: Sequence[str], kind: type[RequestError] = RequestError
) -> RequestError:
    """Return the error of a folder that is given instead of a file; parameters as for `missing_file`."""
    shown = f"{visible_line(str(path))} is a folder"
    there = [str(path / name) for name in files_in(path, endings)]
    if not there:
        return kind(f"{shown}, and no file in it ends in {listed(endings, 'or')}")
    return kind(f"{shown}: name a file in it, such as {_few(there, 'or')}", given=str(path), meant=there[0])


def _few(names: Sequence[str], last: str = "and") -> str:
    """Return some names, and how many more there are."""
    shown = [visible_line(name) for name in names[:SHOWN]]
    return listed(shown if len(names) <= SHOWN else [*shown, f"{len(names) - SHOWN} more"], last)


def _likely(path: Path, endings: Sequence[str]) -> Iterator[Path]:
    """Yield the files that are likely meant, the likeliest first."""
    folder = path.parent
    if not _is_there(folder):
        for name in lookalikes(folder.name, _folders(folder.parent)):
            yield from filter(_is_there, [folder.parent / name / path.name])
        return
    names = sorted(entry.name for entry in _entries(folder) if _holds(entry.is_file))
    could = [name for name in names if name not in CLASS_FILES]
    fit = [name for name in could if name.lower().endswith((*endings, ".txt"))]
    meant = {_plain(path.name), _plain(path.stem)}
    yield from (folder / name for name in names if _plain(name) == _plain(path.name))
    yield from (folder / name for name in fit if _plain(Path(name).stem) in meant)
    yield from filter(_is_there, (folder / name / path.name for name in _folders(folder)))
    stems = {Path(name).stem: name for name in fit}
    yield from (folder / stems[name] for name in lookalikes(path.stem, stems))


def _plain(name: str) -> str:
    """Return a name without what is easily written in another way: capitals, spaces, hyphens."""
    return "".join(sign for sign in name.casefold() if sign not in " -_")


def _entries(folder: Path) -> list[os.DirEntry[str]]:
    try:
        with os.scandir(folder) as entries:
            return list(islice(entries, MOST_SEEN))
    except OSError:
        return []


def _folders(folder: Path) -> list[str]:
    """Return the names of the first folders in a folder, hidden ones aside."""
    names = [entry.name for entry in _entries(folder) if entry.name[:1] != "." and _holds(entry.is_dir)]
    return sorted(names)[:MOST_FOLDERS]


def _is_there(path: Path) -> bool:
    return _holds(path.exists)


def _holds(asked: Callable[[], bool]) -> bool:
    """Return what is asked of a file system, or no where that can't be told."""
    with suppress(OSError, ValueError):
        return asked()
    return False
