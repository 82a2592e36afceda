"""For the reference: examples in docstrings become blocks of code, wherever they stand in a text."""

from __future__ import annotations

import re
from typing import Any

import griffe

__all__ = ["DocstringExamples"]

_EXAMPLE = re.compile(r"(?:(?<=\n\n)|\A)(?P<indent> *)>>> .*?(?=\n\n|\Z)", re.DOTALL)


class DocstringExamples(griffe.Extension):
    """Fences each paragraph that starts with ``>>>``."""

    def on_package(self, *, pkg: griffe.Module, **_more: Any) -> None:
        """Fence the examples of the package's own docstring: it counts as no object."""
        self.on_object(obj=pkg)

    def on_object(self, *, obj: griffe.Object, **_more: Any) -> None:
        """Fence the examples of one object's docstring."""
        if obj.docstring is not None:
            obj.docstring.value = _EXAMPLE.sub(
                lambda match: f"{match['indent']}```pycon\n{match[0]}\n{match['indent']}```",
                obj.docstring.value,
            )
