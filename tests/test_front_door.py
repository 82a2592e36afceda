"""The front door: what it offers is there, typed, told of, and loaded only when it is asked for."""

from __future__ import annotations

import ast
import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import tercet
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
