from __future__ import annotations

import pytest

from tercet.errors import ParameterError
from tercet.sound.tags import LONGEST_TEXT, Tags, id3_tag, sound_file_strings

FULL = Tags(
    title="Häfen «Lichter» 港 🎵",
    artist="Nobody",
    album="Spring",
    track_number=3,
    comment="Für alle",
    copyright="The class",
    licence="CC0-1.0",
)


def id3_frames(tag: bytes) -> dict[str, list[str]]:
    """Read a tag as the ID3v2.3 document words it: the texts of each frame."""
    assert tag[:6] == b"ID3\x03\x00\x00"
    length = 0
    for byte in tag[6:10]:
        assert byte < 0x80
        length = length << 7 | byte
    assert length == len(tag) - 10
    found, place = {}, 10
    while place < len(tag):
        name = tag[place : place + 4].decode("ascii")
        size = int.from_bytes(tag[place + 4 : place + 8], "big")
        assert tag[place + 8 : place + 10] == bytes(2)
        contents = tag[place + 10 : place + 10 + size]
        assert len(contents) == size
        kind, rest = contents[0], contents[1:]
        if name == "COMM":
            assert rest[:3] == b"eng"
            rest = rest[3:]
        if kind == 0:
            found[name] = rest.decode("latin-1").split("\0")
        else:
            assert kind == 1
            assert rest[:2] == b"\xff\xfe"
            found[name] = [text.lstrip("\ufeff") for text in rest.decode("utf-16-le").split("\0")]
        place += 10 + size
    return found


def test_id3_tag_holds_every_text() -> None:
    assert id3_frames(id3_tag(FULL)) == {
        "TIT2": [FULL.title],
        "TPE1": ["Nobody"],
        "TALB": ["Spring"],
        "TRCK": ["3"],
        "TCOP": ["The class"],
        "COMM": ["", "Für alle"],
        "TXXX": ["LICENSE", "CC0-1.0"],
    }


def test_id3_tag_of_a_long_text_counts_its_length_in_sevens() -> None:
    tags = Tags(title="é" * 900, comment="a" * 900)
    frames = id3_frames(id3_tag(tags))
    assert frames == {"TIT2": [tags.title], "COMM": ["", tags.comment]}


def test_nothing_to_say_is_no_tag() -> None:
    assert id3_tag(Tags()) == b""
    assert sound_file_strings(Tags(), has_licence=True) == {}


def test_strings_for_libsndfile() -> None:
    strings = sound_file_strings(FULL, has_licence=True)
    assert strings == {
        "title": FULL.title,
        "artist": "Nobody",
        "album": "Spring",
        "tracknumber": "3",
        "comment": "Für alle",
        "copyright": "The class",
        "license": "CC0-1.0",
    }


@pytest.mark.parametrize(
    ("rights", "licence", "expected"),
    [
        ("The class", "CC0-1.0", "The class; CC0-1.0"),
        ("", "CC0-1.0", "CC0-1.0"),
        ("The class", "", "The class"),
        ("CC0-1.0, the class", "CC0-1.0", "CC0-1.0, the class"),
    ],
)
def test_the_licence_follows_the_copyright_where_it_has_no_field(
    rights: str, licence: str, expected: str
) -> None:
    strings = sound_file_strings(Tags(copyright=rights, licence=licence), has_licence=False)
    assert strings == {"copyright": expected}


@pytest.mark.parametrize(
    ("written", "kept"),
    [
        ("two\nlines\r\n", "two lines"),
        ("nul\0\x07bell", "nul bell"),
        ("\ud800half", "half"),
        ("  wide \u00a0 space ", "wide space"),
        ("x" * 2000, "x" * LONGEST_TEXT),
    ],
)
def test_texts_become_one_printable_line(written: str, kept: str) -> None:
    assert Tags(title=written).title == kept


def test_a_negative_track_number_is_refused() -> None:
    with pytest.raises(ParameterError, match=r"0 or more \(got -1\)"):
        Tags(track_number=-1)


def test_tags_are_values() -> None:
    assert Tags(title="a ") == Tags(title="a")
    assert hash(FULL) == hash(Tags(**{name: getattr(FULL, name) for name in Tags.__slots__}))
