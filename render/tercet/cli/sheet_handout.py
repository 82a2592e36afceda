"""The handout of ``tercet sheet --handout``: one picture, or as many as the song needs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from tercet.cli.talk import say_signs_without_font

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tercet.arranging import Arrangement

__all__ = ["handout_paths", "write_handout"]


def handout_paths(path: Path, count: int) -> tuple[Path, ...]:
    """Return the names of `count` pictures: the one that was asked for, or ``FILE-1.png``, ``FILE-2.png`` and so on."""
    if count == 1:
        return (path,)
    return tuple(path.with_name(f"{path.stem}-{number}{path.suffix}") for number in range(1, count + 1))


def write_handout(
    arrangement: Arrangement, path: Path, *, left_handed: bool, replace: bool
) -> Sequence[Path]:
    """Write the pictures of a handout, all or none; return their names.

    Raises
    ------
    RequestError
        The ending is none of a picture's, or something is in the way that must stay.
    OutputError
        A file can't be written.
    """
    from tercet.made_files import check_may_make, made_files
    from tercet.publish import handout_pictures, picture_maker

    make = picture_maker(path)
    check_may_make(path, replace=replace)
    pictures = handout_pictures(arrangement, left_handed=left_handed)
    paths = handout_paths(path, len(pictures))
    say_signs_without_font(pictures)
    with made_files(paths, maker="sheet", replace=replace) as hidden:
        for place, picture in zip(hidden, pictures, strict=True):
            place.write_bytes(make(picture))
    return paths
