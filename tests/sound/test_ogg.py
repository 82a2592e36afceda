from __future__ import annotations

import io

import numpy as np
import pytest
import soundfile

from tercet.errors import ParameterError
from tercet.sound.ogg import page_checksum, pages, with_settled_serial
from tests.tracks.plucks import RATE_HZ, plucks


def checksum_bit_by_bit(page: bytes) -> int:
    """The checksum as RFC 3533 words it: polynomial 0x04C11DB7, highest bit first, nothing inverted."""
    register = 0
    for byte in page[:22] + bytes(4) + page[26:]:
        register ^= byte << 24
        for _ in range(8):
            register = register << 1 ^ (0x104C11DB7 if register & 0x8000_0000 else 0)
    return register


def ogg(coding: str, seed: int = 1) -> bytes:
    buffer = io.BytesIO()
    soundfile.write(buffer, plucks(1, seed), RATE_HZ, format="OGG", subtype=coding)
    return buffer.getvalue()


def stored_checksum(page: bytes) -> int:
    return int.from_bytes(page[22:26], "little")


@pytest.mark.parametrize("length", [27, 28, 300, 5000])
def test_checksum_equals_the_bitwise_one(length: int) -> None:
    page = np.random.default_rng(length).bytes(length)
    assert page_checksum(page) == checksum_bit_by_bit(page)


@pytest.mark.parametrize("coding", ["VORBIS", "OPUS"])
def test_checksum_equals_what_the_encoder_wrote(coding: str) -> None:
    data = ogg(coding)
    found = pages(data)
    assert len(found) >= 3
    assert [page.is_last for page in found] == [False] * (len(found) - 1) + [True]
    for page in found:
        whole = data[page.start_byte : page.stop_byte]
        assert page_checksum(whole) == stored_checksum(whole)


@pytest.mark.parametrize("coding", ["VORBIS", "OPUS"])
def test_settled_streams_of_the_same_sound_are_the_same_and_still_decode(coding: str) -> None:
    one, two = ogg(coding), ogg(coding)
    assert one != two
    settled = with_settled_serial(one)
    assert settled == with_settled_serial(two)
    assert settled == with_settled_serial(settled)
    before, after = (soundfile.read(io.BytesIO(data), dtype="float32")[0] for data in (one, settled))
    np.testing.assert_array_equal(before, after)
    for page in pages(settled):
        whole = settled[page.start_byte : page.stop_byte]
        assert stored_checksum(whole) == checksum_bit_by_bit(whole)


def test_settling_changes_nothing_but_serials_and_checksums() -> None:
    data = ogg("VORBIS")
    settled = with_settled_serial(data)
    changed = {place for place, (old, new) in enumerate(zip(data, settled, strict=True)) if old != new}
    allowed = {
        page.start_byte + offset for page in pages(data) for offset in (14, 15, 16, 17, 22, 23, 24, 25)
    }
    assert changed
    assert changed <= allowed


def test_other_sound_gets_another_serial() -> None:
    serials = {pages(with_settled_serial(ogg("VORBIS", seed)))[0].serial for seed in range(4)}
    assert len(serials) == 4
    assert not serials & {0, 0xFFFF_FFFF}


def test_a_page_changed_without_its_checksum_is_noticed() -> None:
    data = bytearray(with_settled_serial(ogg("VORBIS")))
    page = pages(bytes(data))[-1]
    data[page.body_byte] ^= 1
    whole = bytes(data[page.start_byte : page.stop_byte])
    assert page_checksum(whole) != stored_checksum(whole)


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (lambda data: data[:-1], "cut short"),
        (lambda data: data + b"x", "something else at byte"),
        (lambda data: b"RIFF" + data[4:], "something else at byte 0"),
        (lambda data: data[:20], "something else at byte 0"),
        (lambda data: data[:0], "one whole stream"),
        (lambda data: data[: pages(data)[-1].start_byte], "one whole stream"),
        (lambda data: data + ogg("VORBIS", 2), "one whole stream"),
    ],
    ids=["cut", "more", "other", "short", "empty", "endless", "two"],
)
def test_what_is_not_one_whole_stream_is_refused(spoil: object, message: str) -> None:
    assert callable(spoil)
    with pytest.raises(ParameterError, match=message):
        with_settled_serial(spoil(ogg("VORBIS")))
