"""The front door: what it offers is there, typed, told of, and loaded only when it is asked for."""

from __future__ import annotations

import ast
import inspect
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

import tercet
from tercet.kit.options import tunings_of
from tests.yardstick import yardstick_s

SOURCE = Path(tercet.__file__)
PLAIN_VALUES = {"__version__"}


def run(code: str) -> str:
    done = subprocess.run(
        [
            sys.executable,
            "-I",
            "-c",
            f"import sys; sys.path.insert(0, {str(SOURCE.parent.parent)!r}); {code}",
        ],
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.strip()


def seen_by_type_checkers() -> dict[str, tuple[str, str]]:
    """Return room and name there of each name that is imported for type checkers alone."""
    tree = ast.parse(SOURCE.read_text(encoding="utf-8"))
    (block,) = (node for node in tree.body if isinstance(node, ast.If))
    return {
        alias.asname or alias.name: (str(node.module), alias.name)
        for node in block.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }


def test_type_checkers_see_what_is_loaded() -> None:
    seen = seen_by_type_checkers()
    assert sorted([*seen, *PLAIN_VALUES]) == sorted(tercet.__all__) == sorted(dir(tercet))
    for name, (room, there) in seen.items():
        assert getattr(tercet, name) is getattr(__import__(room, fromlist=[there]), there), name


@pytest.mark.parametrize("name", sorted(set(tercet.__all__) - PLAIN_VALUES))
def test_a_name_is_told_of_with_its_types(name: str) -> None:
    offered = getattr(tercet, name)
    assert inspect.getdoc(offered)
    if inspect.isfunction(offered):
        signature = inspect.signature(offered)
        assert signature.return_annotation is not inspect.Signature.empty
        assert all(each.annotation is not inspect.Parameter.empty for each in signature.parameters.values())


def test_what_is_not_offered_is_not_there() -> None:
    with pytest.raises(AttributeError, match="no attribute 'strum'"):
        tercet.strum  # noqa: B018


def test_importing_it_loads_nothing() -> None:
    loaded = run(
        "before = set(sys.modules); import tercet; print(*sorted(set(sys.modules) - before))"
    ).split()
    assert [name for name in loaded if name.startswith("tercet")] == ["tercet"]
    assert not {"numpy", "ruamel", "lark", "soundfile"} & set(loaded)


def test_importing_it_takes_no_time() -> None:
    """Under 30 ms of a processor: six tenths of a yardstick, which takes 50 ms where nothing else goes on."""
    code = "import time; start = time.process_time(); import tercet; print(time.process_time() - start)"
    taken_s = min(float(run(code)) for _ in range(5))
    assert taken_s < 0.6 * max(yardstick_s(), yardstick_s())


def test_verbs_stay_verbs_when_their_rooms_are_loaded() -> None:
    """A room's name would take the place of a function of the same name, so none has one."""
    rooms = {path.parent.name for path in SOURCE.parent.glob("*/__init__.py")}
    modules = {path.stem for path in SOURCE.parent.glob("*.py")}
    assert not set(tercet.__all__) & (rooms | modules)
    code = "import tercet, tercet.arranging, tercet.performing, tercet.tracks, tercet.kit.pages; print(*map(callable, "
    assert run(
        code + "(tercet.arrange, tercet.perform, tercet.track, tercet.sheet, tercet.page)))"
    ) == " ".join(["True"] * 5)


SONG = tercet.parse_song(
    "title: One Bar\nkey: C major\nmeter: 2/4\nsections:\n  verse: |\n    chords C\n    melody C5 E4\n"
)


@pytest.mark.parametrize(
    ("ask", "error", "says"),
    [
        (lambda: tercet.advise(SONG, players="expert"), tercet.OptionError, "players must be beginner"),  # type: ignore[arg-type]
        (lambda: tercet.arrange(SONG, players="expert"), tercet.OptionError, "players must be beginner"),  # type: ignore[arg-type]
        (
            lambda: tercet.arrange(SONG, tuning="dropped"),
            tercet.OptionError,
            "must be high-g, low-g or baritone",
        ),
        (lambda: tercet.transpose(SONG, 1.5), tercet.RequestError, r"whole number of semitones \(got 1.5\)"),  # type: ignore[arg-type]
        (lambda: tercet.transpose(SONG, 40), tercet.RequestError, "-24 to 24"),
        (lambda: tercet.perform(tercet.arrange(SONG), speed=70), tercet.OptionError, "25% to 200%"),
        (lambda: tercet.perform(tercet.arrange(SONG), bars="bridge"), tercet.RequestError, "bridge"),
    ],
)
def test_a_slip_is_said_and_not_a_traceback(
    ask: Callable[[], object], error: type[tercet.TercetError], says: str
) -> None:
    with pytest.raises(error, match=says):
        ask()


def test_a_paper_is_read_as_the_command_reads_it(tmp_path: Path) -> None:
    arrangement = tercet.arrange(SONG)
    assert tercet.sheet(arrangement, paper="letter").write(tmp_path / "a.pdf").is_file()
    with pytest.raises(tercet.RequestError, match="must be A4, Letter, A5 or Half-Letter"):
        tercet.sheet(arrangement, paper="A3").write(tmp_path / "b.pdf")
    assert not (tmp_path / "b.pdf").exists()


def test_one_alone_needs_no_list(tmp_path: Path) -> None:
    options = tercet.KitOptions(tunings="low-g,high-g", players="beginner", tracks="tune-up", jobs=1)
    assert [each.name for each in tunings_of(options.tunings)] == ["high-g", "low-g"]
    assert tercet.advise(SONG, tunings="low-g") == tercet.advise(SONG, tunings=["low-g"])
    path = tmp_path / "one.yaml"
    path.write_text(tercet.write_song(SONG), encoding="utf-8")
    kit = tercet.make_kit(str(path), tmp_path / "kit", tercet.KitOptions(tracks=["tune-up"], jobs=1))
    assert sorted(Path(file).name for file in kit.made) == ["01-tune-up.wav", "one.mid"]
