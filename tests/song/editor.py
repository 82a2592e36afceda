"""What an editor does with the mistakes that `tercet check --json` tells: nothing of Tercet's own is used."""

from __future__ import annotations

import re
from typing import Any

Facts = dict[str, Any]


def edited(text: str, edits: list[Facts]) -> str:
    """Return a text after edits: an editor's work, which knows nothing but lines and columns counted from 1."""
    starts = [0, *(match.end() for match in re.finditer(r"\r\n|\r|\n", text))]

    def offset(line: int, column: int) -> int:
        return starts[line - 1] + column - 1

    for edit in sorted(edits, key=lambda edit: (edit["line"], edit["column"]), reverse=True):
        start, end = offset(edit["line"], edit["column"]), offset(edit["end_line"], edit["end_column"])
        text = text[:start] + edit["text"] + text[end:]
    return text
