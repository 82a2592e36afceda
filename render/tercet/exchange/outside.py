"""Files from outside: read with a cap on their size, told apart by what is in them, unpacked with care.

Nothing here opens a connection or writes a file, and nothing is parsed before its size is known.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from io import BytesIO
from pathlib import Path, PurePosixPath
from xml.etree.ElementTree import Element, ParseError

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import fromstring

from tercet.exchange.leadsheet import TuneError
from tercet.missing_files import TUNE_ENDINGS, folder_instead, missing_file

__all__ = ["LARGEST_FILE_BYTES", "DamagedXmlError", "parse_xml", "read_outside", "text_of", "unpack"]

LARGEST_FILE_BYTES = 8 * 1024 * 1024
"""Of a file, and of what a compressed one holds: the score of a symphony's movement, a lead sheet many times over."""

MOST_TAGS = 400_000
"""Each costs about 200 bytes once it is parsed."""

_MARKS: tuple[tuple[bytes, str], ...] = (
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)
"""What files begin with that name their encoding."""

_FIRST_BYTES = 200

_MOST_PACKED = 1000
_CONTAINER = "META-INF/container.xml"
_ENCRYPTED = 1
"""The bit of a member's flags."""

_SCORE_ENDINGS = (".xml", ".musicxml")
_SCORE_START = re.compile(rb"<score-(partwise|timewise)\b")
_ZIP_TROUBLE = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    OSError,
    NotImplementedError,
    RuntimeError,
    ValueError,
)


class DamagedXmlError(TuneError):
    """XML that isn't well formed."""


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
        raise missing_file(path, TUNE_ENDINGS, TuneError) from None
    except IsADirectoryError:
        raise folder_instead(path, TUNE_ENDINGS, TuneError) from None
    except (OSError, ValueError) as error:
        raise TuneError(f"{path} can't be read: {getattr(error, 'strerror', None) or error}") from error
    if len(data) > LARGEST_FILE_BYTES:
        raise TuneError(
            f"{path} is larger than {LARGEST_FILE_BYTES // 2**20} MB, far more than a tune needs: export just the tune"
        )
    if not data.strip(b"\x00\t\n\r "):
        raise TuneError(f"{path} is empty: export the tune again")
    return data


def text_of(data: bytes, named: str = "") -> str:
    """Return the text of a file.

    What it is encoded in is told by its first bytes, or by every other byte being 0 (UTF-16); else it is what the file
    names, UTF-8, or Windows code page 1252.
    """
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return data.decode(encoding, errors="replace")
    start = data[:_FIRST_BYTES]
    for zeros, encoding in ((start[1::2], "utf-16-le"), (start[::2], "utf-16-be")):
        if zeros and zeros.count(0) > 0.9 * len(zeros):
            return data.decode(encoding, errors="replace")
    if named:
        return data.decode(named, errors="replace")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def unpack(data: bytes, file: str) -> tuple[bytes, str]:
    """Return the score inside a compressed MusicXML file, the one that its container names, and what is to be said.

    Where the container is missing, can't be read or names what isn't there, the first score is taken, and that is said.

    Raises
    ------
    TuneError
        When the archive is damaged, holds no score, packs what is read in another way than by deflating, or holds more
        than `LARGEST_FILE_BYTES`.
    """
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            if len(archive.namelist()) > _MOST_PACKED:
                raise TuneError(
                    f"{file} holds more than {_MOST_PACKED} files: a compressed score holds a few"
                )
            name, trouble = _named_score(archive, file)
            if not trouble:
                return _member(archive, name, file), ""
            first = _first_score(archive, file)
            if first is None:
                raise TuneError(
                    f"{file} is a zip file without a score: {trouble}, and nothing in it is MusicXML: export it again"
                )
            return first[1], f"{trouble}: its first score is read, {first[0]}"
    except _ZIP_TROUBLE as error:
        raise TuneError(f"{file} is a damaged zip file ({error}): export it again") from error


def _named_score(archive: zipfile.ZipFile, file: str) -> tuple[str, str]:
    """Return the member that the container names, and what is wrong where it names none that is there."""
    if _CONTAINER not in archive.namelist():
        return "", f"the archive has no {_CONTAINER}, which names the score"
    data = _member(archive, _CONTAINER, file)
    try:
        container = parse_xml(data, file)
    except DamagedXmlError:
        return "", f"{_CONTAINER}, which names the score, isn't well-formed XML"
    name = _score_name(container, file)
    if not name:
        return "", f"{_CONTAINER} names no score"
    return name, "" if name in archive.namelist() else f"{_CONTAINER} names a score that isn't there"


def _score_name(container: Element, file: str) -> str:
    """Return the path that a container names, which must stay within the archive; empty when it names none."""
    for root in container.iter():
        if root.tag.rpartition("}")[2] != "rootfile":
            continue
        name = root.get("full-path", "")
        kind = root.get("media-type", "")
        if not name or (kind and "musicxml" not in kind and "xml" not in kind):
            continue
        if not _stays_within(name):
            raise TuneError(
                f"{file} names a score outside itself ({name[:60]!r}): this file isn't safe to read"
            )
        return name
    return ""


def _stays_within(name: str) -> bool:
    path = PurePosixPath(name)
    return not (path.is_absolute() or ".." in path.parts or "\\" in name or ":" in name)


def _first_score(archive: zipfile.ZipFile, file: str) -> tuple[str, bytes] | None:
    """Return the name and the bytes of the first member that begins like a score."""
    for name in archive.namelist():
        if not name.lower().endswith(_SCORE_ENDINGS) or name.startswith(("META-INF/", "__MACOSX/")):
            continue
        data = _member(archive, name, file)
        if _SCORE_START.search(data[:4096].replace(b"\x00", b"")):
            return name, data
    return None


def _member(archive: zipfile.ZipFile, name: str, file: str) -> bytes:
    """Return a member's bytes; how it is packed and how large it says that it is are looked at before it is opened."""
    told = archive.getinfo(name)
    if told.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED) or told.flag_bits & _ENCRYPTED:
        raise TuneError(
            f"{file} is packed in a way that compressed MusicXML isn't (members are stored or deflated, without a "
            "password): export it again"
        )
    too_large = told.file_size > LARGEST_FILE_BYTES
    if not too_large:
        with archive.open(told) as stream:
            data = stream.read(LARGEST_FILE_BYTES + 1)
        too_large = len(data) > LARGEST_FILE_BYTES
    if too_large:
        raise TuneError(
            f"{file}: what it holds is larger than {LARGEST_FILE_BYTES // 2**20} MB once unpacked, far more than a "
            "tune needs: export just the tune"
        )
    return data


def parse_xml(data: bytes, file: str) -> Element:
    """Parse XML that nobody vouches for; a plain DOCTYPE is fine, entities of its own are not.

    Raises
    ------
    TuneError
        When it isn't well formed, declares entities, or has more than `MOST_TAGS` tags.
    """
    if data.count(b"<") > MOST_TAGS or data.count(b"=") > MOST_TAGS:
        raise TuneError(
            f"{file} has more than {MOST_TAGS} tags, far more than a tune needs: export just the tune"
        )
    try:
        root: Element = fromstring(data, forbid_dtd=False, forbid_entities=True, forbid_external=True)
    except DefusedXmlException:
        raise TuneError(
            f"{file} declares XML entities, which could make it grow or reach other files, so it isn't read: "
            "export the tune again from the program that made it"
        ) from None
    except ParseError as error:
        line, _ = error.position
        raise DamagedXmlError(
            f"line {line} of {file}: this isn't well-formed XML ({str(error).partition(':')[0]}), so the file is "
            "damaged or cut off: export it again"
        ) from None
    except (LookupError, ValueError) as error:
        raise TuneError(f"{file} can't be read as XML ({error}): export it again") from None
    return root
