"""Rules of the house that no type checker holds: direction of imports, what the wheel packs, words kept apart."""

from __future__ import annotations

import ast
import os
import shutil
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from elbowroom.model.build.spec import Layering, Placement
from elbowroom.parts import FAMILIES, family_class

ROOT = Path(__file__).parents[1]
MODULES = [p for room in ("parts", "model") for p in sorted((ROOT / room).rglob("*.py"))]


def imports(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            found.add(node.module or "")
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_parts_know_nothing_of_the_model(path: Path) -> None:
    names = imports(path)
    assert not any(n == "model" or n == "parts" or n.startswith(("model.", "parts.")) for n in names)
    if path.is_relative_to(ROOT / "parts"):
        assert not any(n.startswith("elbowroom.model") for n in names)


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_every_module_opens_by_saying_what_it_owns(path: Path) -> None:
    if path.name == "__init__.py" and not path.read_text(encoding="utf-8").strip():
        return
    doc = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
    assert doc, f"{path} has no opening paragraph"


def room_of(module: str) -> str:
    """The folder a module stands in, or its own name where it stands alone."""
    top, *rest = module.split(".")
    return top if not rest else f"{top}.{rest[0]}"


def test_every_room_imports_only_rooms_below_it() -> None:
    """The guide lists them from the ground up; imports inside functions count."""
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    order = [line.split()[0] for line in guide.split("```rooms\n")[1].split("```")[0].splitlines()]
    modules = {".".join(p.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): p for p in MODULES}
    inside = {m: p for m, p in modules.items() if not m.startswith("model.entry")}
    assert {room_of(m) for m in inside} - {"model"} == set(order)
    wrong = []
    for module, path in inside.items():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.ImportFrom) or not (node.module or "").startswith("elbowroom."):
                continue
            base = (node.module or "").removeprefix("elbowroom.")
            for alias in node.names:
                name = f"{base}.{alias.name}" if f"{base}.{alias.name}" in modules else base
                here, there = room_of(module), room_of(name)
                if here != there and order.index(there) >= order.index(here):
                    wrong.append(f"{module} imports {name}")
    assert not wrong


# Where the word of a family is what is asked, and not what such a part can do.
FAMILY_WORDS = {
    "model/schema.py": "a build has its case under a key of its own",
    "model/told/catalogued.py": "the sizes of tube are its stocks",
    "model/checks/loop_parts.py": "of the user's own shapes and files nobody knows what they are",
    "model/heights/asked.py": "riser and spacer are the words that `height: fit` stands under",
}


def _asks_a_family(node: ast.AST) -> bool:
    if not isinstance(node, ast.Compare):
        return False
    sides = [node.left, *node.comparators]
    asked = any((getattr(s, "attr", None) or getattr(s, "id", None)) == "family" for s in sides)
    words = [s for s in sides if isinstance(s, (ast.Constant, ast.Tuple, ast.Set, ast.List))]
    return asked and any(isinstance(n, ast.Constant) and isinstance(n.value, str) for w in words for n in ast.walk(w))


def test_what_a_part_can_do_is_asked_of_the_part_and_not_of_its_family() -> None:
    """A new family would be missing from every such place."""
    asking = {
        path.relative_to(ROOT).as_posix()
        for path in MODULES
        if any(map(_asks_a_family, ast.walk(ast.parse(path.read_text(encoding="utf-8")))))
    }
    assert asking == set(FAMILY_WORDS)


# What takes a name apart again to learn which copy, port or joint it is of: `identity` is asked instead.
TAKEN_APART = (r' \d+"', r' \d+$"', r" \d+(", '" at " in', '(" at ")', 'endswith(" stack")')
MAY = {
    "model/layout/identity.py": "owns what a builder numbers by hand",
    "model/heights/telling.py": "faults told in the same words but for the number of a copy are told once",
}


def test_who_a_piece_is_is_never_read_out_of_its_name() -> None:
    found = {
        path.relative_to(ROOT).as_posix()
        for path in MODULES
        if any(mark in path.read_text(encoding="utf-8") for mark in TAKEN_APART)
    }
    assert found <= set(MAY)


def test_the_wheel_holds_every_package_and_every_data_file() -> None:
    """An unlisted sub-package works in an editable install and is missing from the wheel."""
    setup = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]
    folders = {p.parent for p in MODULES if p.name == "__init__.py" or p.parent.parent == ROOT}
    folders.remove(ROOT / "model" / "entry")  # which is installed as the package itself
    named = {"elbowroom." + ".".join(p.relative_to(ROOT).parts) for p in folders}
    assert set(setup["packages"]) == {"elbowroom", *named}
    data = [p for room in ("parts", "model") for p in (ROOT / room).rglob("*") if p.suffix not in {".py", ".pyc"}]
    assert {p.suffix for p in data if p.is_file()} <= {".yaml", ".typed", ".ttf", ".txt", ".js", ".css", ".html"} | {""}


@pytest.mark.slow
def test_a_wheel_holds_the_sources_alone_and_runs(tmp_path: Path) -> None:
    """Built where an earlier build left a module that is gone since; then run from the wheel, in both ways."""
    tree = tmp_path / "tree"
    tracked = [p for p in ROOT.iterdir() if p.name in {"model", "parts", "README.md", "LICENSE"}]
    for path in (*tracked, *ROOT.glob("*.toml"), ROOT / "setup.py"):
        if path.is_dir():
            shutil.copytree(path, tree / path.name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            tree.mkdir(exist_ok=True)
            shutil.copy(path, tree)
    (tree / "build/lib/elbowroom/model").mkdir(parents=True)
    (tree / "build/lib/elbowroom/model/gone.py").write_text("x = 1\n")
    pip = [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(tmp_path), str(tree)]
    subprocess.run(pip, check=True, capture_output=True)
    [wheel] = tmp_path.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        held = {n for n in archive.namelist() if not n.partition("/")[0].endswith(".dist-info")}
        archive.extractall(tmp_path / "site")
    sources = {
        "elbowroom/" + p.relative_to(tree).as_posix().removeprefix("model/entry/")
        for room in ("model", "parts")
        for p in (tree / room).rglob("*")
        if p.is_file()
    }
    assert held == sources
    # No site module, so no editable install that could answer in the wheel's place.
    libraries = [p for p in sys.path if p.endswith("site-packages")]
    own = {**os.environ, "PYTHONPATH": os.pathsep.join([str(tmp_path / "site"), *libraries])}
    for how in (["-m", "elbowroom"], ["-m", "elbowroom.model.command.cli"]):
        done = subprocess.run(
            [sys.executable, "-S", *how, "catalogue"], env=own, cwd=tmp_path, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stderr
        assert "radiator" in done.stdout


@pytest.mark.parametrize("family", FAMILIES)
def test_no_field_of_a_part_is_also_a_word_of_placement(family: str) -> None:
    """Both stand side by side in a build file."""
    fields = set(family_class(family).model_fields)
    assert not fields & set(Placement.model_fields)
    assert not fields & set(Layering.model_fields)
    assert family not in fields | set(Placement.model_fields) | set(Layering.model_fields)


SMALL = 1e-2  # mm or of 1: smaller numbers are tolerances, larger ones sizes that a part or a rule names anyway
UNNAMED_YET = ("model/tubes/",)  # rooms that still hold bare ones


def constants(tree: ast.AST) -> Iterator[tuple[ast.Assign | ast.AnnAssign, list[ast.Constant]]]:
    """Assignments to upper-case names, each with the small numbers it writes."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign | ast.AnnAssign) and node.value is not None:
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            if all(isinstance(t, ast.Name) and t.id.isupper() for t in targets):
                yield node, small(node.value)


def small(tree: ast.AST) -> list[ast.Constant]:
    return [n for n in ast.walk(tree) if isinstance(n, ast.Constant) and type(n.value) is float and 0 < n.value < SMALL]


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_every_epsilon_has_a_name_and_a_reason(path: Path) -> None:
    """A small number stands in the assignment of an upper-case name, with a comment or a docstring beside it.

    In an expression, a comparison or a default it says neither what it is nor whether another may be changed with it.
    """
    if str(path.relative_to(ROOT)).startswith(UNNAMED_YET):
        return
    text = path.read_text(encoding="utf-8")
    tree, lines = ast.parse(text), text.splitlines()
    named = list(constants(tree))
    allowed = {id(n) for _, found in named for n in found}
    bare = [f"line {n.lineno}: {n.value}" for n in small(tree) if id(n) not in allowed]
    assert not bare, f"without a name: {bare}"
    docs = (n for n in ast.walk(tree) if isinstance(n, ast.Expr) and isinstance(n.value, ast.Constant))
    told = {n.lineno - 1 for n in docs}
    without = [
        f"line {node.lineno}: {lines[node.lineno - 1]}"
        for node, found in named
        if found
        and not any("#" in line for line in lines[node.lineno - 1 : node.end_lineno])
        and not lines[node.lineno - 2].lstrip().startswith("#")
        and (node.end_lineno or 0) not in told
    ]
    assert not without, f"without a reason: {without}"


def test_the_search_for_bare_epsilons_finds_them() -> None:
    text = "EPS = 1e-6  # a reason\n_MOST: float = 2e-3\nslack = 1e-9\nif x > 1 - 1e-6 or f(y=-0.002): x = 0.02\n"
    tree = ast.parse(text)
    assert [n.value for n in small(tree)] == [1e-6, 2e-3, 1e-9, 1e-6, 0.002]
    assert [[n.value for n in found] for _, found in constants(tree)] == [[1e-6], [2e-3]]
