"""Files from outside: read with a cap on their size, told apart by what is in them, unpacked with care.

Nothing here opens a connection or writes a file, and nothing is parsed before its size is known.
"""

from __future__ import annotations

import zipfile
import zlib
from io import BytesIO
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from tercet.exchange.leadsheet import TuneError

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

__all__ = ["LARGEST_FILE_BYTES", "parse_xml", "read_outside", "unpack"]

LARGEST_FILE_BYTES = 8 * 1024 * 1024
"""Of a file, and of what a compressed one holds: the score of a symphony's movement, a lead sheet many times over."""

MOST_TAGS = 400_000
"""Each costs about 200 bytes once it is parsed."""

_MOST_PACKED = 1000
_CONTAINER = "META-INF/container.xml"
_ZIP_TROUBLE = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    OSError,
    NotImplementedError,
    RuntimeError,
    ValueError,
)


def read_outside(path: Path) -> bytes:
    """Return the bytes of a file.

    Raises
    ------
    TuneError
        When it isn't there, can't be read, is empty, or is larger than `LARGEST_FILE_BYTES`.
    """
    try:
        with path.open("rb") as stream:
            data = stream.read(LARGEST_FILE_BYTES + 1)
    except FileNotFoundError:
        raise TuneError(f"{path}: there is no such file") from None
    except IsADirectoryError:
        raise TuneError(f"{path} is a folder; name a file in it") from None
    except (OSError, ValueError) as error:
        raise TuneError(f"{path} can't be read: {getattr(error, 'strerror', None) or error}") from error
    if len(data) > LARGEST_FILE_BYTES:
        raise TuneError(
            f"{path} is larger than {LARGEST_FILE_BYTES // 2**20} MB, far more than a tune needs: export the tune alone"
        )
    if not data.strip(b"\x00\t\n\r "):
        raise TuneError(f"{path} is empty: export the tune again")
    return data


def unpack(data: bytes, file: str) -> bytes:
    """Return the score inside a compressed MusicXML file, the one that its container names.

    Raises
    ------
    TuneError
        When the archive is damaged, names no score of its own, or holds more than `LARGEST_FILE_BYTES`.
    """
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            if len(archive.namelist()) > _MOST_PACKED:
                raise TuneError(
                    f"{file} holds more than {_MOST_PACKED} files: a compressed score holds a few"
                )
            if _CONTAINER not in archive.namelist():
                raise TuneError(
                    f"{file} is a zip file without {_CONTAINER}, so it isn't compressed MusicXML: export it again"
                )
            name = _score_name(parse_xml(_member(archive, _CONTAINER, file), file), file)
            if name not in archive.namelist():
                raise TuneError(
                    f"{file} says that its score is {name}, but holds no such file: export it again"
                )
            return _member(archive, name, file)
    except _ZIP_TROUBLE as error:
        raise TuneError(f"{file} is a damaged zip file ({error}): export it again") from error


def _score_name(container: Element, file: str) -> str:
    """Return the path that a container names, which must stay within the archive."""
    for root in container.iter():
        if root.tag.rpartition("}")[2] != "rootfile":
            continue
        name = root.get("full-path", "")
        kind = root.get("media-type", "")
        if kind and "musicxml" not in kind and "xml" not in kind:
            continue
        path = PurePosixPath(name)
        if not name or path.is_absolute() or ".." in path.parts or "\\" in name or ":" in name:
            raise TuneError(
                f"{file} names a score outside itself ({name[:60]!r}): this file isn't safe to read"
            )
        return name
    raise TuneError(f"{file}: its container names no score: export it again")


def _member(archive: zipfile.ZipFile, name: str, file: str) -> bytes:
    with archive.open(name) as stream:
        data = stream.read(LARGEST_FILE_BYTES + 1)
    if len(data) > LARGEST_FILE_BYTES:
        raise TuneError(
            f"{file}: what it holds is larger than {LARGEST_FILE_BYTES // 2**20} MB once unpacked, far more than a "
            "tune needs: export the tune alone"
        )
    return data


def parse_xml(data: bytes, file: str) -> Element:
    """Parse XML that nobody vouches for; a plain DOCTYPE is fine, entities of its own are not.

    Raises
    ------
    TuneError
        When it isn't well formed, declares entities, or has more than `MOST_TAGS` tags.
    """
    from xml.etree.ElementTree import ParseError

    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    if data.count(b"<") > MOST_TAGS or data.count(b"=") > MOST_TAGS:
        raise TuneError(
            f"{file} has more than {MOST_TAGS} tags, far more than a tune needs: export the tune alone"
        )
    try:
        root: Element = fromstring(data, forbid_dtd=False, forbid_entities=True, forbid_external=True)
    except DefusedXmlException:
        raise TuneError(
            f"{file} declares XML entities, which could make it grow or reach other files, so it isn't read: "
            "export the tune again from the program that made it"
        ) from None
    except ParseError as error:
        line, column = error.position
        raise TuneError(
            f"{file}:{line}:{column + 1}: this isn't whole XML ({str(error).partition(':')[0]}): the file is "
            "damaged or cut off; export it again"
        ) from None
    except (LookupError, ValueError) as error:
        raise TuneError(f"{file} can't be read as XML ({error}): export it again") from None
    return root
