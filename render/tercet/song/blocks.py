"""Where the sections' blocks of rows stand in the file, and the slips that would break YAML's idea of them.

YAML ends a block where the text stands further left than the block's first line. People who line rows up by eye
break that easily, and YAML's own messages don't help them. So the lines are looked through before YAML sees
them: each such slip is noted, and YAML is given the lines as they were meant, to go on and find the rest.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field

from tercet.errors import Edit
from tercet.song.mistakes import MistakeBook
from tercet.song.model import ROW_NAMES, Source

__all__ = ["MeantLines", "lines_as_meant"]

_HEADER_END = re.compile(r":( *)([|>][-+0-9]{0,2})?$")
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
                "this row stands outside its section",
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
    for space, name in (
        ("\t", "a tab"),
        ("\u00a0", "a no-break space"),
        ("", "a space that isn't a plain one"),
    ):
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
                f"{name} stands before the text of this line{more}",
                Source(found[0] + 1, column),
                mend="put plain spaces there: two before a section's name, four before its rows",
                edits=_with_plain_spaces(lines, found),
            )
            return True
    return False


def _with_plain_spaces(lines: list[str], found: list[int]) -> tuple[Edit, ...]:
    """Return the edits that put plain spaces before the text of lines; none where a tab could mean anything."""
    edits: list[Edit] = []
    for index in found:
        text = lines[index].strip()
        width = _indent(lines[index])
        if "\t" in lines[index][:width]:
            if not _ROW.fullmatch(text) and not text.endswith("|"):
                return ()
            width = 2 if text.endswith(": |") else 4
        edits.append(_indented(index, lines[index], width))
    return tuple(edits)


def _indented(index: int, line: str, width: int) -> Edit:
    """Return the edit that makes a line start in another column."""
    return Edit(index + 1, 1, index + 1, _indent(line) + 1, " " * width)


@dataclass(frozen=True, slots=True)
class _Header:
    """A line that may open a block: ``name: |``, or ``name:`` with an empty sign."""

    name: str
    indent: int
    gap: bool
    sign: str
    sign_column: int


def _header(line: str) -> _Header | None:
    text = line.split(" #", 1)[0].rstrip()
    end = _HEADER_END.search(text)
    name = text[: end.start()].strip() if end else ""
    if end is None or name.startswith("#"):
        return None
    sign = end[2] or ""
    return _Header(name, _indent(line), bool(end[1]), sign, len(text) - len(sign) + 1)


def _read_block(meant: MeantLines, header_index: int, book: MistakeBook) -> int | None:
    """Read the block that this line opens, if it does, and return the line after it."""
    lines = meant.lines
    header = _header(lines[header_index])
    if header is None:
        return None
    start = header_index + 1
    if not header.sign:
        following = _next_text(lines, start)
        if (
            following is None
            or _indent(lines[following]) <= header.indent
            or not _ROW.fullmatch(lines[following])
        ):
            return None
        if header.name == "sections":
            return _take_rows_without_section(lines, start, header.indent)
        place = _first_word(header_index, lines[header_index])
        after = Source(header_index + 1, header.sign_column)
        sign = Edit(after.line, after.column, after.line, after.column, " |")
        book.add("the sign | is missing after the section's name", place, edits=(sign,))
    elif not header.gap:
        place = Source(header_index + 1, header.sign_column, len(header.sign))
        book.add("a space is missing before |", place, write=f" {header.sign}")
    if not header.sign or not header.gap:
        lines[header_index] = f"{' ' * header.indent}{header.name}: {header.sign or '|'}"
    end = _block_end(lines, start, header.indent)
    if end == start:
        end = _take_rows_left_of_block(lines, start, header.indent, book)
    elif not re.search(r"\d", header.sign):
        _straighten(lines, range(start, end), header.indent, book)
    meant.blocks[header_index] = (start, end)
    return end


def _next_text(lines: list[str], index: int) -> int | None:
    """Return the next line that is neither blank nor a comment."""
    for number in range(index, len(lines)):
        if lines[number] and not _is_comment(lines[number]):
            return number
    return None


def _block_end(lines: list[str], start: int, key_indent: int) -> int:
    """Return one past the last row or comment of a block, those that stand too far left included."""
    end = start
    index = _next_text(lines, start)
    while index is not None and (
        _indent(lines[index]) > key_indent or (end > start and _ROW.fullmatch(lines[index]))
    ):
        end = index + 1
        index = _next_text(lines, end)
    while end > start and end < len(lines) and _is_comment(lines[end]) and _indent(lines[end]) > key_indent:
        end += 1
    return end


def _take_rows_left_of_block(lines: list[str], start: int, key_indent: int, book: MistakeBook) -> int:
    """Take rows that follow a header without standing further in; return one past the last."""
    end, first = start, 0
    for index in range(start, len(lines)):
        if _ROW.fullmatch(lines[index]):
            first = first or index
            end = index + 1
        elif lines[index] and not _is_comment(lines[index]):
            break
    if end == start:
        return end
    book.add(
        "the rows must stand further in than the section's name",
        _first_word(first, lines[first]),
        mend=f"put {key_indent + 2} spaces before each row of the section",
        edits=tuple(
            _indented(index, lines[index], key_indent + 2) for index in range(start, end) if lines[index]
        ),
    )
    for index in range(start, end):
        if lines[index]:
            lines[index] = " " * (key_indent + 2) + lines[index].lstrip()
    return end


def _take_rows_without_section(lines: list[str], start: int, key_indent: int) -> int:
    """Keep from YAML the rows that follow `sections:` directly; that sections lack names is said later."""
    end = _block_end(lines, start, key_indent)
    lines[start:end] = [""] * (end - start)
    return end


def _straighten(lines: list[str], block: range, key_indent: int, book: MistakeBook) -> None:
    """Note lines of a block that don't stand in its column, and move all of them there.

    YAML takes the column of the block's first line; one that stands further left ends the block.
    """
    filled = [index for index in block if lines[index]]
    rows = {index for index in filled if not _is_comment(lines[index])}
    first, last_row = filled[0], max(rows)
    counts = Counter(_indent(lines[index]) for index in rows)
    usual = max((count, -indent) for indent, count in counts.items() if indent > key_indent)
    column = min(-usual[1], _indent(lines[first]))
    if _indent(lines[first]) > column:
        book.add(
            "the first line of this section stands further in than the rest",
            _first_word(first, lines[first]),
            mend=f"start all lines of the section in the same column (here {column + 1})",
            edits=(_indented(first, lines[first], column),),
        )
    for index in filled:
        if _indent(lines[index]) < column and index <= last_row:
            what = "comment" if _is_comment(lines[index]) else "row"
            book.add(
                f"this {what} stands further left than the rest of its section",
                _first_word(index, lines[index]),
                mend=f"start it in the same column as the rows ({column + 1})",
                edits=(_indented(index, lines[index], column),),
            )
        lines[index] = " " * column + lines[index].lstrip()
