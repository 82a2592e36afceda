"""A recording that a window hands over: what is asked, and the sound, in one body; what the room of hearing says of it.

The sound lies in memory for as long as it is listened to. Nothing of it is written, kept or sent.
"""

from __future__ import annotations

from typing import Any

from tercet.arranging import Arrangement
from tercet.desk.asked import Asked, asked_in, given
from tercet.errors import RequestError
from tercet.hearing import HearingOptions, hear, recording_of_bytes
from tercet.kit.reports import report_facts
from tercet.song import LAYERS, Layer

__all__ = ["LARGEST_BYTES", "heard_facts", "parted"]

LARGEST_BYTES = 192 * 1024 * 1024
"""Of a body: a quarter of an hour in stereo, 48 kHz and 16 bits, is 173 MB."""

_LENGTH_BYTES = 4


def parted(body: bytes) -> tuple[Asked, bytes]:
    """Return what is asked and the sound's bytes: a length, little end first, a JSON object of that length, the rest.

    Raises
    ------
    RequestError
        The body isn't so.
    """
    ends = _LENGTH_BYTES + int.from_bytes(body[:_LENGTH_BYTES], "little")
    if ends > len(body):
        raise RequestError("this must be a length, a JSON object and a recording")
    return asked_in(body[_LENGTH_BYTES:ends]), body[ends:]


def heard_facts(arrangement: Arrangement, asked: Asked, recording: bytes) -> dict[str, Any]:
    """Return what is heard in a recording of an arrangement.

    Raises
    ------
    RequestError
        It can't be heard, with the reason, or isn't asked for as it must be.
    """
    options = HearingOptions(_layers(asked))
    name = given(asked, "recording", str).encode("utf-8", "replace").decode("utf-8")
    return report_facts(hear(recording_of_bytes(recording, name), arrangement, options))


def _layers(asked: Asked) -> frozenset[Layer]:
    """Return the layers that somebody plays; none named is all."""
    plays = asked.get("plays", [])
    if not isinstance(plays, list) or not all(layer in LAYERS for layer in plays):
        raise RequestError(f"plays must be some of {', '.join(LAYERS)}")
    return frozenset(plays or LAYERS)
