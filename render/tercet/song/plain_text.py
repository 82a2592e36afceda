"""From the bytes of a file to its text: what isn't text, or is saved in another way, is refused here."""

from __future__ import annotations

from pathlib import Path

from tercet.errors import RequestError
from tercet.missing_files import SONG_ENDINGS, folder_instead, missing_file
from tercet.printable import UNPRINTABLE
from tercet.song.foreign_files import foreign_file
from tercet.song.mistakes import SONG_FILE, FileKind, MistakeBook
from tercet.song.model import Source

__all__ = [
    "LARGEST_FILE_BYTES",
    "LONGEST_LINE",
    "check_characters",
    "note_too_large",
    "read_text",
    "split_lines",
]

LARGEST_FILE_BYTES = 64 * 1024
"""A song of a hundred bars needs about 10 kB; six times that are still read or refused within a second."""

LONGEST_LINE = 2000
"""In characters."""

_OTHER_ENCODINGS = (
    (b"\xff\xfe\x00\x00", "UTF-32"),
    (b"\x00\x00\xfe\xff", "UTF-32"),
    (b"\xff\xfe", "UTF-16"),
    (b"\xfe\xff", "UTF-16"),
)
_SAVE_AS = "save it as UTF-8: in the editor's Save As, choose the encoding UTF-8"
_NOT_TEXT = "this isn't a text file"


def read_text(path: Path, kind: FileKind = SONG_FILE) -> str:
    """Return the text of an arrangement file, or of another kind of file that is written alike.

    Raises
    ------
    SongError
        When it is too large, isn't text, or isn't UTF-8.
    RequestError
        When there is no such file, or it can't be read.
    """
    try:
        with path.open("rb") as stream:
            data = stream.read(LARGEST_FILE_BYTES + 1)
    except FileNotFoundError:
        raise missing_file(path, SONG_ENDINGS) from None
    except IsADirectoryError:
        raise folder_instead(path, SONG_ENDINGS) from None
    except (OSError, ValueError) as error:
        raise RequestError(f"{path} can't be read: {getattr(error, 'strerror', None) or error}") from error
    book = MistakeBook(str(path), [], kind)
    foreign = foreign_file(data)
    if foreign is not None:
        book.add(foreign.message, mend=foreign.mend)
        raise book.error()
    if len(data) > LARGEST_FILE_BYTES:
        note_too_large(book)
        raise book.error()
    return _decoded(data, book)


def note_too_large(book: MistakeBook) -> None:
    """Note that the file holds more than any song needs."""
    book.add(
        f"{book.kind.one} must be at most {LARGEST_FILE_BYTES // 1024} kB (this one is larger)",
        mend=book.kind.apart,
    )


def _decoded(data: bytes, book: MistakeBook) -> str:
    for mark, name in _OTHER_ENCODINGS:
        if data.startswith(mark):
            book.add(f"the file is saved as {name}", mend=_SAVE_AS)
            raise book.error()
    if b"\0" in data:
        halves = {data[0::2].count(0), data[1::2].count(0)}
        if min(halves) == 0 and max(halves) > len(data) // 4:
            book.add("the file is saved as UTF-16", mend=_SAVE_AS)
        else:
            book.add(_NOT_TEXT, mend=f"{book.kind.one} is plain text; {book.kind.new}")
        raise book.error()
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        _add_undecodable(data, error, book)
        raise book.error() from None


def _add_undecodable(data: bytes, error: UnicodeDecodeError, book: MistakeBook) -> None:
    control = sum(byte < 9 or 13 < byte < 32 for byte in data)
    if control > len(data) // 50:
        book.add(_NOT_TEXT, mend=f"{book.kind.one} is plain text; {book.kind.new}")
        return
    before = data[: error.start].decode("utf-8-sig", errors="replace")
    line = len(split_lines(before))
    column = len(split_lines(before)[-1]) + 1
    book.lines = split_lines(data.decode("utf-8-sig", errors="replace"))
    byte = data[error.start]
    meant = bytes([byte]).decode("cp1252", errors="replace")
    hint = f", {meant} in an older encoding" if meant.isprintable() and meant != "�" else ""
    book.add(f"this character isn't UTF-8 (byte 0x{byte:02X}{hint})", Source(line, column), mend=_SAVE_AS)


def split_lines(text: str) -> list[str]:
    """Return the lines of a text, whichever way it ends them; columns stay as they are."""
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def check_characters(lines: list[str], book: MistakeBook) -> None:
    """Note lines that are too long and characters that no text holds."""
    odd = sum(sign < "\xa0" for line in lines for sign in UNPRINTABLE.findall(line))
    if any("\0" in line for line in lines) or odd > max(sum(map(len, lines)) // 50, 10):
        book.add(_NOT_TEXT, mend=f"{book.kind.one} is plain text; {book.kind.new}")
        return
    for number, line in enumerate(lines, 1):
        if len(line) > LONGEST_LINE:
            book.add(
                f"a line must have at most {LONGEST_LINE} characters (got {len(line)})",
                Source(number, 1),
                mend="shorten it; rows go on in a new line of music, after a blank line",
            )
        for match in UNPRINTABLE.finditer(line):
            book.add(
                f"a character that can't be printed (U+{ord(match[0]):04X}) stands here",
                Source(number, match.start() + 1),
                mend="delete it; it can't be seen in most editors",
            )
