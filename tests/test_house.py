"""The rules of the house hold: imports go one way, `__all__` is kept, importing is light, no registry is named."""

from __future__ import annotations

import ast
import os
import re
import shutil
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SOURCES = ROOT / "render"
MODULES = sorted(SOURCES.rglob("*.py"))
HEAVY = {
    "dask",
    "distributed",
    "fluidsynth",
    "jinja2",
    "fontpkg_noto_sans",
    "fsspec",
    "lark",
    "mido",
    "numpy",
    "pretty_midi",
    "pyloudnorm",
    "resvg_py",
    "rich",
    "ruamel",
    "scipy",
    "segno",
    "soundfile",
    "starlette",
    "uvicorn",
}
# Split, so that this file does not name them either.
REGISTRY_HOSTS = [
    ".".join(parts)
    for parts in (
        ("pypi", "org"),
        ("pythonhosted", "org"),
        ("npmjs", "org"),
        ("npmjs", "com"),
        ("debian", "org"),
        ("anaconda", "org"),
        ("crates", "io"),
    )
]
MADE = {
    ".git",
    ".venv",
    ".hypothesis",
    ".mypy_cache",
    ".pytest_cache",
    ".ruff_cache",
    "__pycache__",
    "build",
    "demo",
    "node_modules",
}


def lint_imports(root: Path) -> subprocess.CompletedProcess[str]:
    """Check the imports of the sources that lie in a folder's `render`."""
    code = "import sys; from importlinter.cli import lint_imports; sys.exit(lint_imports(no_cache=True))"
    # Its own table is drawn to the terminal's width; wide enough, a line stays whole.
    settings = {**os.environ, "COLUMNS": "200", "NO_COLOR": "1", "PYTHONPATH": str(root / "render")}
    return subprocess.run(
        [sys.executable, "-c", code], cwd=root, env=settings, capture_output=True, text=True, check=False
    )


def copy_of_sources(folder: Path) -> Path:
    shutil.copytree(SOURCES, folder / "render", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", folder)
    return folder


def module_name(path: Path) -> str:
    return ".".join(path.relative_to(SOURCES).with_suffix("").parts).removesuffix(".__init__")


def modules_after(code: str) -> set[str]:
    """Run code in a fresh Python; return the top-level names of what it imported."""
    code += "\nimport sys; print('\\n'.join(sys.modules), file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    return {name.partition(".")[0] for name in done.stderr.split()}


# Imports


def test_imports_go_one_way() -> None:
    done = lint_imports(ROOT)
    assert done.returncode == 0, done.stdout
    assert ", 0 broken" in done.stdout


@pytest.mark.parametrize(
    ("module", "wrong", "named"),
    [
        ("errors.py", "import tercet.theory", "tercet.errors"),
        ("neck/shapes.py", "import tercet.song.model", "tercet.neck"),
        ("song/model.py", "import tercet.arranging.model", "tercet.song"),
        ("theory/pitch.py", "def late() -> None:\n    import tercet.cli", "tercet.theory"),
        ("arranging/model.py", "import tercet.performing.model", "tercet.arranging"),
        ("jobs/job.py", "import tercet.theory", "tercet.jobs"),
    ],
)
def test_a_wrong_import_is_caught(tmp_path: Path, module: str, wrong: str, named: str) -> None:
    path = copy_of_sources(tmp_path) / "render" / "tercet" / module
    path.write_text(path.read_text(encoding="utf-8") + f"\n{wrong}\n", encoding="utf-8")
    done = lint_imports(tmp_path)
    assert done.returncode == 1
    assert re.search(r"\d kept, [1-9] broken", done.stdout)
    assert re.search(rf"{named} is not allowed to import tercet\.", done.stdout)


def test_a_folder_without_a_place_in_the_order_is_caught(tmp_path: Path) -> None:
    folder = copy_of_sources(tmp_path) / "render" / "tercet" / "cellar"
    folder.mkdir()
    (folder / "__init__.py").touch()
    done = lint_imports(tmp_path)
    assert done.returncode == 1
    assert "cellar" in done.stdout


@pytest.mark.parametrize(
    "code",
    [
        "import tercet",
        "import tercet.cli.main",
        "import tercet.theory",
        "import tercet.song.model",
        "import tercet.jobs, tercet.jobs.cluster, tercet.jobs.pool",
    ],
)
def test_importing_is_light(code: str) -> None:
    assert modules_after(code) & HEAVY == set()


def test_help_is_light() -> None:
    code = "import contextlib, tercet.cli\nwith contextlib.suppress(SystemExit): tercet.cli.main(['--help'])"
    assert modules_after(code) & HEAVY == set()


def test_the_look_for_heavy_libraries_sees_them() -> None:
    assert modules_after("import numpy") & HEAVY == {"numpy"}


# Modules


def test_every_folder_of_code_is_a_package() -> None:
    folders = {path.parent for path in MODULES}
    assert sorted(str(folder) for folder in folders if not (folder / "__init__.py").exists()) == []


@pytest.mark.parametrize("path", [p for p in MODULES if p.name != "__main__.py"], ids=module_name)
def test_every_module_lists_what_it_offers(path: Path) -> None:
    body = ast.parse(path.read_text(encoding="utf-8")).body
    if path.name == "__init__.py" and [type(node) for node in body] == [ast.Expr]:
        return  # it says what lives in the folder, and offers nothing itself
    listed = [
        ast.literal_eval(node.value)
        for node in body
        if isinstance(node, ast.Assign) and [ast.unparse(target) for target in node.targets] == ["__all__"]
    ]
    assert len(listed) == 1, "one __all__, written out"
    module = import_module(module_name(path))
    assert [name for name in listed[0] if not hasattr(module, name)] == []
    assert len(set(listed[0])) == len(listed[0])


def test_no_module_is_a_drawer_for_everything() -> None:
    names = {path.stem for path in MODULES} | {path.parent.name for path in MODULES}
    assert names & {"util", "utils", "helper", "helpers", "common", "misc"} == set()


# Files


def files_that_name_a_registry(root: Path) -> list[str]:
    hosts = re.compile("|".join(map(re.escape, REGISTRY_HOSTS)).encode())
    found = []
    for folder, folders, names in os.walk(root):
        folders[:] = [name for name in folders if name not in MADE]
        found += [str(Path(folder, name)) for name in names if hosts.search(Path(folder, name).read_bytes())]
    return sorted(found)


def test_no_file_names_a_registry() -> None:
    assert files_that_name_a_registry(ROOT) == []


def test_a_file_that_names_a_registry_is_found(tmp_path: Path) -> None:
    (tmp_path / "pins.txt").write_text(f"--index-url https://{REGISTRY_HOSTS[0]}/simple", encoding="utf-8")
    assert files_that_name_a_registry(tmp_path) == [str(tmp_path / "pins.txt")]
