"""Imports run one way: read from every file's syntax tree and held against the table."""

from __future__ import annotations

import ast
import functools
import subprocess
import sys
from pathlib import Path

import pytest

import mixcompare

PACKAGE = Path(mixcompare.__file__).parent

LEAVES = {"errors", "fields", "numerics", "outputs", "paths", "statistics", "units"}
"""Read by everyone; they import nothing of ours."""

ALLOWED: dict[str, set[str]] = {
    "audio": set(),
    "standards": set(),
    "features": {"audio", "standards"},
    "alignment": {"audio", "features"},
    "knowledge": {"audio", "features", "alignment"},
    "findings": set(),
    "results": {"findings", "alignment"},
    "pair": {"standards", "features", "alignment", "knowledge", "results"},
    "elements": {"pair", "features", "standards", "alignment", "findings"},
    "parts": {"standards", "features", "knowledge", "pair", "elements"},
    "stems": {"audio", "standards", "features", "alignment", "pair", "elements", "findings"},
    "aspects": {
        "standards", "features", "alignment", "knowledge", "pair", "elements", "parts", "findings",
    },
    "listening": {"audio", "standards", "alignment", "findings"},
    "plots": {"results", "findings", "alignment"},
    "report": {"results", "findings", "alignment", "standards", "plots", "listening"},
    "analysis": {"features", "alignment", "knowledge", "pair", "aspects", "findings", "results"},
    "trimmed": {"audio", "features", "pair", "stems", "analysis", "results", "listening"},
    "comparison": {
        "audio", "features", "alignment", "knowledge", "analysis", "stems", "trimmed", "findings",
        "results", "listening", "plots", "report",
    },
    "takes": {"audio", "features", "alignment", "findings", "listening", "report", "comparison"},
    "cli": {
        "audio", "features", "alignment", "aspects", "comparison", "findings", "plots", "report",
        "takes",
    },
}  # fmt: skip
"""Which rooms may be read from which: in the order in which the data flows."""

TYPES_OF = {
    "results": {"stems"},
    "plots": {"aspects", "elements", "parts", "stems"},
    "report": {"aspects", "elements", "parts", "stems"},
    "cli": {"stems"},
}
"""Whose results they name for the type checker, beside what they import when they run."""

ONLY_IN = {
    "matplotlib": {"plots"},
    "argparse": {"cli"},
    "soundfile": {"audio", "listening"},
    "soxr": {"features", "audio"},
    "pyloudnorm": {"standards"},
    "threadpoolctl": {"numerics"},
    "joblib": {"takes"},
    "distributed": {"takes"},
}


def modules() -> list[tuple[str, Path]]:
    out = []
    for path in sorted(PACKAGE.rglob("*.py")):
        relative = path.relative_to(PACKAGE)
        out.append((relative.parts[0].removesuffix(".py"), path))
    return out


@functools.cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@functools.cache
def imported(path: Path, types: bool = False) -> set[str]:
    """Names a file imports when it runs; what only a type checker reads counts with ``types``."""
    names: set[str] = set()

    def visit(node: ast.AST) -> None:
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test) and not types:
            return
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            assert node.module is not None
            if node.module == "mixcompare":
                names.update(f"mixcompare.{alias.name}" for alias in node.names)
            else:
                names.add(node.module)
        for child in ast.iter_child_nodes(node):
            visit(child)

    visit(tree(path))
    return names


@pytest.mark.parametrize(("place", "path"), modules(), ids=lambda value: str(value)[-40:])
def test_imports_point_one_way(place: str, path: Path) -> None:
    if place in {"__init__", "__main__"}:
        return
    allowed = LEAVES | ALLOWED.get(place, set()) | {place}
    for types in (False, True):
        if types:
            allowed = allowed | TYPES_OF.get(place, set())
        ours = {
            name.split(".")[1]
            for name in imported(path, types)
            if name.startswith("mixcompare.") and name != "mixcompare.__version__"
        }
        assert ours <= allowed, f"{path.name} may not import {sorted(ours - allowed)}"


def test_no_value_of_an_analyzer_is_read_by_a_name_that_may_be_missing() -> None:
    """With a default, a renamed field would leave out a picture or a row in silence."""
    for place, path in modules():
        if place not in {"plots", "report", "cli", "listening"}:
            continue
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                silent = node.func.id == "getattr" and len(node.args) > 2
                assert not silent, f"{path.name}: {ast.unparse(node)}"


@pytest.mark.parametrize(("place", "path"), modules(), ids=lambda value: str(value)[-40:])
def test_heavy_imports_stay_in_their_place(place: str, path: Path) -> None:
    for name in imported(path):
        home = ONLY_IN.get(name.split(".")[0])
        assert home is None or place in home, f"{path.name} imports {name}"


def test_aspects_never_import_each_other() -> None:
    def aspect(path: Path) -> str:
        return path.relative_to(PACKAGE / "aspects").parts[0].removesuffix(".py")

    for path in (PACKAGE / "aspects").rglob("*.py"):
        if aspect(path) == "__init__":
            continue
        others = {
            name.split(".")[2]
            for name in imported(path)
            if name.startswith("mixcompare.aspects.") and name != "mixcompare.aspects.base"
        }
        assert others <= {aspect(path)}, f"{path.name} imports another aspect"


def test_exported_names_exist() -> None:
    for name in mixcompare.__all__:
        assert getattr(mixcompare, name) is not None


def test_bare_import_is_light() -> None:
    code = (
        "import sys, mixcompare; from mixcompare.cli.main import _parser; _parser();"
        "print([m for m in ('numpy', 'scipy', 'matplotlib', 'pyloudnorm') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"
