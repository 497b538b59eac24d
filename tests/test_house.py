"""Rules of the house that no type checker holds: direction of imports, what the wheel packs, words kept apart."""

from __future__ import annotations

import ast
import tomllib
from pathlib import Path

import pytest

from elbowroom.model.spec import Layering, Placement
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


def test_the_wheel_holds_every_package_and_every_data_file() -> None:
    """An unlisted sub-package works in an editable install and is missing from the wheel."""
    setup = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]
    folders = {p.parent for p in MODULES if p.name == "__init__.py" or p.parent.parent == ROOT}
    named = {"elbowroom." + ".".join(p.relative_to(ROOT).parts) for p in folders}
    assert set(setup["packages"]) == named
    data = [p for room in ("parts", "model") for p in (ROOT / room).rglob("*") if p.suffix not in {".py", ".pyc"}]
    assert {p.suffix for p in data if p.is_file()} <= {".yaml", ".typed"} | {""}


@pytest.mark.parametrize("family", FAMILIES)
def test_no_field_of_a_part_is_also_a_word_of_placement(family: str) -> None:
    """Both stand side by side in a build file."""
    fields = set(family_class(family).model_fields)
    assert not fields & set(Placement.model_fields)
    assert not fields & set(Layering.model_fields)
    assert family not in fields | set(Placement.model_fields) | set(Layering.model_fields)
