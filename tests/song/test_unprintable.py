"""What YAML's escapes hide from the eye is refused where it stands, in a song and in a class file."""

from __future__ import annotations

import pytest

from tercet.errors import Mistake, SongError
from tercet.song import parse_song
from tercet.song.class_file import parse_class
from tests.unprintable import HARMFUL, harmful_in, yaml_escape

SONG_PLACES = {
    "title": 'title: "One{}"',
    "composer": 'composer: "{}us"',
    "source": 'from: "a {} book"',
    "licence": 'licence: "CC0{}"',
    "key": 'key: "A minor{}"',
    "meter": 'meter: "4{}/4"',
    "tempo": 'tempo: "{}90"',
    "tuning": 'tuning: [G4, "C4{}", E4, A4]',
    "a layer": 'dynamics: {{"melody{}": f}}',
    "a mark": 'dynamics: {{melody: "f{}"}}',
    "strum": 'strum: "d {} u"',
    "sound": 'sound: "font{}.sf2"',
    "form": 'form: "verse {}"',
    "form as a list": 'form: ["verse{}"]',
    "a setting's name": '"{}feel": steady',
    "a track's name": 'tracks:\n  "low{}": {{yours: open}}',
    "a track's purpose": 'tracks:\n  low:\n    purpose: "{}"\n    yours: open',
    "a track's notes": 'tracks:\n  low:\n    yours: "open{}"',
    "a track's setting": 'tracks:\n  low:\n    "yours{}": open',
    "over two lines": 'licence: "public\n  domain{}"',
}
CLASS_PLACES = {
    "name": 'name: "Tuesday{}"',
    "tunings": 'tunings: ["high-g{}"]',
    "players": 'players: "beginner{}"',
    "speeds": 'speeds: ["70%{}"]',
    "formats": 'formats: ["wav{}"]',
    "a track's name": 'tracks:\n  "low{}": {{yours: open}}',
    "a track's guide": 'tracks:\n  low:\n    guide: "tune{}"\n    yours: melody',
    "a setting's name": '"{}name": us',
}
BODY = "\nsections:\n  verse: |\n    chords C\n    melody C4:4\n"


def mistakes_of_song(line: str) -> SongError:
    head = "" if line.startswith("title") else "title: One\n"
    with pytest.raises(SongError, match="mistake") as caught:
        parse_song(head + line + BODY)
    return caught.value


def mistakes_of_class(line: str) -> SongError:
    with pytest.raises(SongError, match="mistake") as caught:
        parse_class(line + "\n")
    return caught.value


def hidden(error: SongError) -> list[Mistake]:
    assert harmful_in(str(error)) == []
    return [each for each in error.mistakes if "can't be printed" in each.message]


@pytest.mark.parametrize("sign", HARMFUL)
@pytest.mark.parametrize("place", SONG_PLACES)
def test_an_escape_in_a_song(place: str, sign: str) -> None:
    written = SONG_PLACES[place].format(yaml_escape(HARMFUL[sign]))
    (mistake,) = hidden(mistakes_of_song(written))
    assert f"(U+{ord(HARMFUL[sign]):04X})" in mistake.message
    assert mistake.text
    assert mistake.text[mistake.column - 1] == '"'
    assert mistake.mend


@pytest.mark.parametrize("sign", HARMFUL)
@pytest.mark.parametrize("place", CLASS_PLACES)
def test_an_escape_in_a_class_file(place: str, sign: str) -> None:
    written = CLASS_PLACES[place].format(yaml_escape(HARMFUL[sign]))
    (mistake,) = hidden(mistakes_of_class(written))
    assert f"(U+{ord(HARMFUL[sign]):04X})" in mistake.message
    assert mistake.text[mistake.column - 1] == '"'


@pytest.mark.parametrize("short", ["0", "a", "b", "e", "v", "f", "x1b", "x9B", "U0001FFFF"])
def test_the_short_escapes_are_known_too(short: str) -> None:
    (mistake,) = hidden(mistakes_of_song(f'title: "One\\{short}"'))
    assert mistake.line == 1


def test_a_path_between_double_quotes_is_told_what_its_backslashes_mean() -> None:
    (mistake,) = hidden(mistakes_of_song(r'sound: "C:\fonts\bass.sf2"'))
    assert (mistake.line, mistake.column) == (2, 8)
    assert [edit.text for edit in mistake.edits] == [r"'C:\fonts\bass.sf2'"]
    assert parse_song("title: One\nsound: 'C:\\fonts\\bass.sf2'" + BODY).sound == r"C:\fonts\bass.sf2"


@pytest.mark.parametrize("sign", [name for name in HARMFUL if name not in ("nothing", "return")])
@pytest.mark.parametrize("place", ["title: One{}", "    words la{}", "# of us all{}", "tuning: high-g{}"])
def test_as_it_stands(place: str, sign: str) -> None:
    text = f"title: One{BODY}{place.format(HARMFUL[sign])}\n"
    with pytest.raises(SongError, match="stands here") as caught:
        parse_song(text)
    assert harmful_in(str(caught.value)) == []
    assert caught.value.mistakes[0].column == len(place.format("")) + 1


def test_halves_of_a_sign_ask_for_the_sign_itself() -> None:
    (mistake,) = hidden(mistakes_of_song('composer: "\\ud83c\\udfb5 and friends"'))
    assert mistake.mend == "write the sign itself"


def test_lines_and_spaces_by_escapes_are_spaces() -> None:
    song = parse_song(
        'title: "One\\n\\ttwo\\N\\L\\P three"\n"ke\\ny": C major'.replace("ke\\ny", "key") + BODY
    )
    assert song.title == "One two three"
    error = mistakes_of_song('"ke\\ny": C major')
    assert "there is no setting `ke y`" in str(error)


def test_whole_signs_by_escapes_are_welcome() -> None:
    assert parse_song('title: "\\u05E9\\u05D9\\u05E8 \\U0001D11E \\xe9"' + BODY).title == "שיר 𝄞 é"
