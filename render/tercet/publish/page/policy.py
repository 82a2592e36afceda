"""What a page's browser is allowed to do: nothing that the page doesn't need, and nothing that reaches elsewhere."""

from __future__ import annotations

import base64
import hashlib

__all__ = ["ICON", "policy", "policy_of_one_file"]

ICON = (
    "data:image/svg+xml,"
    "%3Csvg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 32 32'%3E"
    "%3Cpath d='M10 6h12' stroke='%2345418c' stroke-width='1.5'/%3E"
    "%3Cpath d='M6 13h20' stroke='%230b6264' stroke-width='3'/%3E"
    "%3Cpath d='M1 23h30' stroke='%239c2a16' stroke-width='8'/%3E%3C/svg%3E"
)
"""Three lines, the nearest below: a page without an icon makes a browser ask its host for one."""

_REST = "base-uri 'none'; form-action 'none'"


def policy() -> str:
    """Return the policy of a page in a folder: its own files, no script or style in the text."""
    return (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; media-src 'self'; "
        + _REST
    )


def policy_of_one_file(script: str, style: str) -> str:
    """Return the policy of a page in one file: the one script and the one style that Tercet put there."""
    return (
        f"default-src 'none'; script-src {_hash(script)}; style-src {_hash(style)}; img-src data:; " + _REST
    )


def _hash(text: str) -> str:
    digest = base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")
    return f"'sha256-{digest}'"
