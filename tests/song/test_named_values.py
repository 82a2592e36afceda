"""A key or a meter by its name, where a command or the desk asks for one: what is wrong, and what was meant."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tercet.errors import RequestError
from tercet.song.settings import key_named, meter_named

MEANT = [
    (key_named, "h moll", "B minor"),
    (key_named, "a Minor", "A minor"),
    (key_named, "D flat major", "Db major"),
    (key_named, "c", ""),
    (key_named, "Z", ""),
    (meter_named, "3-4", "3/4"),
    (meter_named, "waltz", "3/4"),
    (meter_named, "6", ""),
    (meter_named, "0/4", ""),
]


@pytest.mark.parametrize(("read", "text", "meant"), MEANT)
def test_what_was_meant_can_be_read_or_is_left_open(
    read: Callable[[str], object], text: str, meant: str
) -> None:
    with pytest.raises(RequestError, match="must") as caught:
        read(text)
    assert (caught.value.given, caught.value.meant) == (text, meant)
    assert not meant or str(read(meant)) == meant


def test_the_mend_is_said_of_a_meter_as_of_a_key() -> None:
    with pytest.raises(RequestError, match=r"^a meter must be two numbers .* write 6/4 or 6/8$"):
        meter_named("6")
    with pytest.raises(RequestError, match=r"^a key must be a note .* write C major or C minor$"):
        key_named("c")


@pytest.mark.parametrize("read", [key_named, meter_named])
def test_nothing_at_all_is_told_so(read: Callable[[str], object]) -> None:
    with pytest.raises(RequestError, match="must be given"):
        read("")
