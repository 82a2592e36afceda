"""One row of everything that DEVELOPERS.md tells how to add, put into a copy of the sources as a contributor would.

Each addition is a list of edits: a file of the package, what stands there, and what stands there afterwards.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

__all__ = ["ADDED", "CLASS_FILE", "SONG", "Addition", "copy_with"]

SOURCES = Path(__file__).resolve().parent.parent / "render"


@dataclass(frozen=True, slots=True)
class Edit:
    """In a file of the package, `put` goes before the one place where `before` stands."""

    file: str
    before: str
    put: str


@dataclass(frozen=True, slots=True)
class Addition:
    """What DEVELOPERS.md calls it, and what it asks for."""

    name: str
    edits: tuple[Edit, ...]


ADDED: tuple[Addition, ...] = (
    Addition(
        "a chord quality",
        (
            Edit(
                "theory/chords.py",
                '    Quality("5", (0, 7)',
                '    Quality("maj7#11", (0, 4, 7, 11, 18), (4, 11, 18), ("M7#11", "Δ#11")),\n',
            ),
        ),
    ),
    Addition(
        "a tuning",
        (Edit("theory/tunings.py", '    _tuning("baritone"', '    _tuning("slack", "A4 D4 F#4 A4"),\n'),),
    ),
    Addition(
        "a size of instrument",
        (
            Edit(
                "theory/tunings.py",
                '    Instrument("soprano"',
                '    Instrument("pocket", 290.0, tuning="slack"),\n',
            ),
        ),
    ),
    Addition("a dynamic mark", (Edit("theory/signs.py", '    "ppp": -16.0', '    "pppp": -20.0,\n'),)),
    Addition(
        "a strum sign",
        (
            Edit(
                "theory/signs.py",
                '    StrumSign(".", "nothing"',
                '    StrumSign("X", "a chop, accented", accent=True, chop=True),\n',
            ),
        ),
    ),
    Addition(
        "a weight of the arranger",
        (
            Edit("neck/demands.py", '    "little finger": 0.20', '    "ring finger": 0.01,\n'),
            Edit(
                "neck/priced_hands.py",
                '            + COSTS["little finger"]',
                '            + COSTS["ring finger"] * (table.fingers == 3).any(axis=1)\n',
            ),
        ),
    ),
    Addition(
        "a curve of level",
        (
            Edit(
                "performing/shaping.py",
                "def bounded_db(",
                "def off_first_string_db(string: int) -> float:\n    return -0.2 if string == 1 else 0.0\n\n\n",
            ),
            Edit(
                "performing/shaping.py",
                '        if gesture.layer != "strums":',
                "        shape_db += off_first_string_db(gesture.notes[-1].string)\n",
            ),
        ),
    ),
    Addition(
        "a track",
        (
            Edit(
                "tracks/recipes.py",
                '    Recipe("flat"',
                '    Recipe("only-rolls", "listen to the rolls alone", heard=parse_choice("roll")),\n',
            ),
        ),
    ),
    Addition(
        "a practice form",
        (
            Edit(
                "song/practice_forms.py",
                '        PracticeForm("flat"',
                '        PracticeForm("twice", "played through two times"),\n',
            ),
            Edit(
                "tracks/practice_forms.py",
                '@_form("echo")',
                '@_form("twice")\n'
                "def _twice(track):\n"
                "    for _ in range(2):\n"
                "        yield from _through(track)\n\n\n",
            ),
        ),
    ),
    Addition(
        "something that kit.json tells",
        (
            Edit(
                "tracks/facts.py",
                "\n\n@dataclass(frozen=True, slots=True)\nclass TrackFacts",
                '    loudness: str = "soft"\n',
            ),
        ),
    ),
    Addition(
        "a script for words",
        (
            Edit(
                "publish/typefaces.py",
                '    FontFamily("Heebo"',
                '    FontFamily("DejaVu Sans", "matplotlib", "mpl-data/fonts/ttf/DejaVuSans.ttf"),\n',
            ),
        ),
    ),
    Addition(
        "an audio format",
        (
            Edit(
                "audio_formats.py",
                '    TrackFormat(".flac"',
                '    TrackFormat(".aiff", "AIFF", "AIFF", "", False, _LOSSLESS_DBTP),\n',
            ),
        ),
    ),
    Addition(
        "a size of paper",
        (Edit("publish/picture_files.py", '    "Letter": (612.0, 792.0)', '    "A6": (297.64, 419.53),\n'),),
    ),
    Addition(
        "a word for choosing notes",
        (
            Edit(
                "song/note_choice.py",
                '    "last": {"last pass"',
                '    "height": {"high": lambda note: note.fret >= 3, "low": lambda note: note.fret < 3},\n',
            ),
        ),
    ),
    Addition(
        "something that a track of one's own can say",
        (
            Edit("song/model.py", '    bars: str = ""\n    by: Turn', '    homework: str = ""\n'),
            Edit(
                "song/track_settings.py",
                '    TrackSetting(\n        "purpose"',
                '    TrackSetting("homework", "What to do at home.", lambda node: {"homework": text_of(node)},\n'
                '              lambda track: yaml_text(track.homework), {"type": "string"}),\n',
            ),
        ),
    ),
    Addition(
        "a setting of the class file",
        (
            Edit("song/class_file.py", "    file: str = field(", '    room: str = ""\n'),
            Edit(
                "song/class_file.py",
                '    ClassSetting(\n        "tunings"',
                '    ClassSetting("room", "Where it meets.", lambda node: {"room": text_of(node)},'
                ' {"type": "string"}),\n',
            ),
        ),
    ),
    Addition(
        "a setting of the song file",
        (
            Edit("song/model.py", '    source_note: str = ""\n    licence', '    mood: str = ""\n'),
            Edit(
                "song/settings.py",
                '    Setting(\n        "from"',
                '    Setting("mood", "How it should feel.", _free_text("mood"),\n'
                '            lambda song: yaml_text(song.mood), {"type": "string"}),\n',
            ),
        ),
    ),
    Addition(
        "a kind of tune file",
        (
            Edit(
                "exchange/tunes.py",
                "\n\nKINDS: tuple[",
                "\ndef _read_letters(data, file, choice):\n"
                '    return read_abc(b"X:1\\nT:Letters\\nL:1/4\\nK:C\\n" + data[9:], file)\n\n\n',
            ),
            Edit(
                "exchange/tunes.py",
                '    TuneKind(\n        "ABC',
                '    TuneKind("letters (.let)", lambda data: data.startswith(b"LETTERS:\\n"), _read_letters),\n',
            ),
        ),
    ),
    Addition(
        "a style",
        (
            Edit("song/model.py", '"plain"]\n', '"held", '),
            Edit(
                "song/styles.py",
                '    "plain": StyleRow(',
                '    "held": StyleRow("rolls under long notes alone", "long", filled=False),\n',
            ),
        ),
    ),
    Addition(
        "a slip",
        (
            Edit(
                "song/slips.py",
                '        ("a chop is a small x"',
                '        ("up is written u", _swap("n", "u")),\n',
            ),
        ),
    ),
    Addition(
        "something to practise",
        (
            Edit(
                "hearing/advice.py",
                "def _front(heard: Heard)",
                "def _hummed(heard):\n"
                '    yield _claim("humming", "Hum the tune first.", 0.9, heard, "demo")\n\n\n',
            ),
            Edit("hearing/advice.py", "_tuning, _notes_again, _slower", "_hummed, "),
        ),
    ),
    Addition(
        "a command",
        (
            Edit(
                "cli/main.py",
                "    check,\n    desk,\n",
                "    bars,\n",
            ),
            Edit("cli/main.py", "    film,\n    kit,\n", "    bars,\n"),
        ),
    ),
)

COMMAND = '''\
"""``tercet bars``: how many bars a song has."""

NAME = "bars"
HELP = "count the bars"
DESCRIPTION = "Count the bars."


def add_arguments(parser):
    parser.add_argument("song")


def run(arguments):
    from tercet.song import played_bars, read_song

    print(len(played_bars(read_song(arguments.song))))
    return 0
'''

SONG = """\
title: Ferry Steps
composer: Tercet test songs
licence: CC0-1.0
mood: calm
key: D major
meter: 4/4
tempo: 96
instrument: pocket
players: improving
dynamics: {melody: f, between: mp, strums: pppp}
strum: d . X u
style: held
tracks:
  high-notes:
    heard: high or tune
    homework: hum it first
  again:
    way: twice
    yours: melody
sections:
  verse: |
    chords  D            | Dmaj7#11    | G               | DΔ#11
    melody  D4 F# A:2    | A4 G# F# E  | G4 B A G        | F#4:4
    words   Առա- վոտ լույս | ծո- վի վրա նավ | շա- րժ- վում է | այժմ
    marks   mf@1         | pppp@1      | f@1             | p@1
"""

CLASS_FILE = """\
name: Tuesday
room: the hall
"""


def copy_with(additions: Iterable[Addition], folder: Path) -> Path:
    """Return a copy of the sources in a folder, with what is added."""
    package = folder / "render" / "tercet"
    shutil.copytree(SOURCES / "tercet", package, ignore=shutil.ignore_patterns("__pycache__"))
    for addition in additions:
        for edit in addition.edits:
            path = package / edit.file
            text = path.read_text(encoding="utf-8")
            assert text.count(edit.before) == 1, (addition.name, edit.file, text.count(edit.before))
            path.write_text(text.replace(edit.before, edit.put + edit.before), encoding="utf-8")
        if addition.name == "a command":
            (package / "cli" / "bars.py").write_text(COMMAND, encoding="utf-8")
    return folder / "render"
