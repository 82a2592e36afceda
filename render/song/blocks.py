"""Where the sections' blocks of rows stand in the file, and the slips that would break YAML's idea of them.

YAML ends a block where the text stands further left than the block's first line. People who line rows up by eye
break that easily, and YAML's own messages don't help them. So the lines are looked through before YAML sees
them: each such slip is noted, and YAML is given the lines as they were meant, to go on and find the rest.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from render.song.mistakes import MistakeBook
from render.song.model import ROW_NAMES, Source

__all__ = ["MeantLines", "lines_as_meant"]

_HEADER = re.compile(r"( *)([^\s#][^#]*?) *:( *)([|>][-+0-9]{0,2})? *(?:(?<= )#.*)?")
_ROW = re.compile(rf" *({'|'.join(ROW_NAMES)})(?![^\s|])(?!\s*:(?:\s|$)).*")
_SPACES_TO_YAML = str.maketrans({"\t": " ", "\x85": " ", "\u2028": " ", "\u2029": " "})


@dataclass(slots=True)
class MeantLines:
    """The lines as YAML is to see them.

    Parameters
    ----------
    lines
        One for each line of the file; columns agree with the file except inside blocks.
    blocks
        For the header's line (from 0): the lines of its block, first and one past the last.
    """

    lines: list[str]
    blocks: dict[int, tuple[int, int]] = field(default_factory=dict)


def lines_as_meant(lines: list[str], book: MistakeBook) -> MeantLines | None:
    """Find the blocks, note the slips around them and return the lines mended; None when tabs forbid it."""
    if _note_tabs(lines, book):
        return None
    meant = MeantLines([line.translate(_SPACES_TO_YAML) if line.strip() else "" for line in lines])
    index = 0
    in_sections = False
    while index < len(lines):
        line = lines[index]
        in_sections = in_sections or line.startswith("sections:")
        end = _read_block(meant, index, book)
        if end is None and in_sections and _ROW.fullmatch(line):
            book.add(
                "this row stands outside its section: YAML ends a block where the text stands further left",
                _first_word(index, line),
                mend="start it in the same column as the section's first row",
            )
            meant.lines[index] = ""
        index = end or index + 1
    return meant


def _first_word(index: int, line: str) -> Source:
    stripped = line.lstrip()
    return Source(index + 1, len(line) - len(stripped) + 1, len(stripped.split()[0]) if stripped else 1)


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip())


def _is_comment(line: str) -> bool:
    return line.lstrip().startswith("#")


def _note_tabs(lines: list[str], book: MistakeBook) -> bool:
    """Note tabs and odd spaces before the text of a line; one mistake for all of a kind."""
    for space, name in (("\t", "a tab"), ("\u00a0", "a no-break space"), ("", "a space that isn't a plain one")):
        found = [
            index
            for index, line in enumerate(lines)
            if line.strip() and line[: _indent(line)].strip(" ") and (space in line[: _indent(line)])
        ]
        if found:
            lead = lines[found[0]][: _indent(lines[found[0]])]
            more = f", and {len(found) - 1} more below" if len(found) > 1 else ""
            column = len(lead) - len(lead.lstrip(" ")) + 1
            book.add(
                f"{name} stands before the text of this line{more}: YAML counts plain spaces only",
                Source(found[0] + 1, column),
                mend="put plain spaces there: two before a section's name, four before its rows",
            )
            return True
    return False


def _read_block(meant: MeantLines, header_index: int, book: MistakeBook) -> int | None:
    """Read the block that this line opens, if it does, and return the line after it."""
    lines = meant.lines
    header = _HEADER.fullmatch(lines[header_index])
    if header is None:
        return None
    key_indent, sign = len(header[1]), header[4]
    start = header_index + 1
    if sign is None:
        following = _next_text(lines, start)
        if following is None or _indent(lines[following]) <= key_indent or not _ROW.fullmatch(lines[following]):
            return None
        book.add(
            "the sign | is missing after the section's name",
            _first_word(header_index, lines[header_index]),
            mend=f"write {header[2]}: |",
        )
        lines[header_index] = f"{header[1]}{header[2]}: |"
    elif not header[3]:
        book.add(
            "a space is missing before |",
            Source(header_index + 1, header.start(4) + 1),
            mend=f"write {header[2]}: {sign}",
        )
        lines[header_index] = f"{header[1]}{header[2]}: {sign}"
    end = _block_end(lines, start, key_indent)
    if end == start:
        end = _take_rows_left_of_block(lines, start, key_indent, book)
    elif not (sign and re.search(r"\d", sign)):
        _straighten(lines, start, end, book)
    meant.blocks[header_index] = (start, end)
    return end


def _next_text(lines: list[str], index: int, comments: bool = False) -> int | None:
    """Return the next line that isn't blank (nor a comment, unless asked for)."""
    for number in range(index, len(lines)):
        if lines[number] and (comments or not _is_comment(lines[number])):
            return number
    return None


def _block_end(lines: list[str], start: int, key_indent: int) -> int:
    """Return one past the last row or comment that belongs to the block, even if a comment stands left of it."""
    end = start
    index = _next_text(lines, start)
    while index is not None and _indent(lines[index]) > key_indent:
        end = index + 1
        index = _next_text(lines, end)
    inner = _indent(lines[end - 1]) if end > start else key_indent + 1
    while end < len(lines) and lines[end] and _is_comment(lines[end]) and _indent(lines[end]) >= inner:
        end += 1
    return end


def _take_rows_left_of_block(lines: list[str], start: int, key_indent: int, book: MistakeBook) -> int:
    """Take rows that follow a header without standing further in; return one past the last."""
    end = start
    for index in range(start, len(lines)):
        if _ROW.fullmatch(lines[index]):
            if end == start:
                book.add(
                    "the rows must stand further in than the section's name",
                    _first_word(index, lines[index]),
                    mend=f"put {key_indent + 2} spaces before each row of the section",
                )
            end = index + 1
        elif lines[index] and not _is_comment(lines[index]):
            break
    for index in range(start, end):
        if lines[index]:
            lines[index] = " " * (key_indent + 2) + lines[index].lstrip()
    return end


def _straighten(lines: list[str], start: int, end: int, book: MistakeBook) -> None:
    """Note a first line that stands further in than the rest, and comments that stand further out."""
    first = _next_text(lines, start, comments=True)
    rows = [index for index in range(start, end) if lines[index] and not _is_comment(lines[index])]
    if first is None or not rows:
        return
    inner = min(_indent(lines[index]) for index in rows)
    if _indent(lines[first]) > inner:
        book.add(
            "the first line of this block stands further in than the rest, so YAML ends the block too early",
            _first_word(first, lines[first]),
            mend=f"start all lines of the section in the same column (here {inner + 1})",
        )
    for index in range(start, end):
        if lines[index] and _is_comment(lines[index]) and _indent(lines[index]) < inner:
            book.add(
                "this comment stands further left than the rows around it, so YAML ends the block there",
                _first_word(index, lines[index]),
                mend=f"start it in the same column as the rows ({inner + 1})",
            )
        if lines[index]:
            lines[index] = " " * inner + lines[index].lstrip()
