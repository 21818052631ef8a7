"""The list of deliberate faults fits the code (they are put in by a program, not by the tests)."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from tests.benchmarks import mutations
from tests.benchmarks.mutations import Fault, Workshop


def test_every_fault_has_its_place_and_its_tests() -> None:
    assert mutations.misplaced(mutations.faults()) == []


def test_every_module_that_computes_has_a_fault() -> None:
    package = mutations.PROJECT / "mixcompare"
    faulty = {fault.module for fault in mutations.faults()}
    whole = {path.relative_to(mutations.PROJECT).as_posix() for path in package.rglob("*.py")}
    assert len(mutations.faults()) >= 150
    small = {"__init__", "__main__", "errors", "base", "style", "strip", "values", "inline", "grid"}
    assert {path for path in whole - faulty if Path(path).stem not in small} <= {
        # Described by the contract and the figures' tests; a mirror declaration is no number.
        "mixcompare/cli/terminal.py",
        "mixcompare/findings/detectable.py",
        "mixcompare/knowledge/notes.py",
        "mixcompare/fields.py",
        "mixcompare/elements/factorisation.py",
        "mixcompare/elements/groups.py",
    }


def test_a_fault_that_is_nowhere_is_told() -> None:
    lost = Fault("mixcompare/pair/gain.py", "no such words", "others", ("tests/pair/test_gain.py",))
    untested = Fault("mixcompare/pair/gain.py", "_FINE = ", "_FINER = ", ("tests/test_nothing.py",))
    renamed = replace(lost, find="_FINE = ", tests=("tests/pair/test_gain.py::test_no_more[one]",))
    assert len(mutations.misplaced([lost])) == 1
    assert any("test_no_more" in line for line in mutations.misplaced([renamed]))
    assert any("no tests/test_nothing.py" in line for line in mutations.misplaced([untested]))


def test_a_fault_is_put_in_and_taken_out_again(tmp_path: Path) -> None:
    shop = Workshop(tmp_path)
    module = tmp_path / "mixcompare" / "errors.py"
    before = module.read_text(encoding="utf-8")
    (tmp_path / "tests" / "conftest.py").unlink()
    (tmp_path / "test_one.py").write_text(
        "from mixcompare import errors\n\ndef test_it():\n    assert errors.ParameterError\n"
    )
    fault = Fault("mixcompare/errors.py", "class ParameterError", "class Other", ("test_one.py",))
    assert shop.is_caught(fault)
    assert module.read_text(encoding="utf-8") == before
    harmless = Fault(
        "mixcompare/errors.py",
        "class ParameterError",
        "# no fault\nclass ParameterError",
        fault.tests,
    )
    assert not shop.is_caught(harmless)  # without a fault the test passes
