"""Characters that no text needs, of each sort that does harm, as tests put them into songs, names and options."""

from __future__ import annotations

import re

__all__ = ["HARMFUL", "harmful_in", "yaml_escape"]

HARMFUL: dict[str, str] = {
    "nothing": "\0",
    "bell": "\a",
    "back": "\b",
    "return": "\r",
    "escape": "\x1b",
    "delete": "\x7f",
    "control sequence": "\x9b",
    "half a character": "\ud800",
    "the other half": "\udfff",
    "a byte that is no text": "\udce9",
    "no character": "\ufffe",
    "no character either": "\ufdd0",
    "no character of a later plane": "\U0001ffff",
    "turned round": "\u202e",
    "set apart": "\u2066",
}

# Written out by its parts, so that it knows nothing of ours: C0 but tab and line end, C1, surrogates, non-characters,
# embeddings, overrides and isolates.
_HARMFUL = re.compile(
    "[\0-\x08\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff\U0001fffe\U0001ffff]"
)


def harmful_in(text: str) -> list[str]:
    """Return the code of each character of a text that does harm."""
    return [f"U+{ord(sign):04X}" for sign in _HARMFUL.findall(text)]


def yaml_escape(sign: str) -> str:
    r"""Return a character as YAML writes it between double quotes: ``\u001B``."""
    code = ord(sign)
    return f"\\u{code:04X}" if code < 0x10000 else f"\\U{code:08X}"
