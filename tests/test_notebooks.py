"""The three notebooks run from top to bottom; their outputs are not stored."""

from __future__ import annotations

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

FOLDER = Path(__file__).parent.parent / "notebooks"


@pytest.mark.parametrize("name", ["engineer", "orchestrator", "teacher"])
def test_notebook_runs(name: str) -> None:
    notebook = nbformat.read(FOLDER / f"{name}.ipynb", as_version=4)
    NotebookClient(notebook, timeout=300, resources={"metadata": {"path": str(FOLDER)}}).execute()
    assert all(
        not cell.get("outputs")
        for cell in nbformat.read(FOLDER / f"{name}.ipynb", as_version=4).cells
    )
