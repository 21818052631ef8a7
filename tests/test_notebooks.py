"""The three notebooks run from top to bottom; their outputs are not stored."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import nbformat
import pytest
from nbclient import NotebookClient
from nbformat.v4 import new_code_cell, new_notebook

import mixcompare
from mixcompare import plots
from mixcompare.comparison import Comparison
from mixcompare.report import writer
from tests import samples
from tests.told import nothing_unseen

ROOT = Path(__file__).parent.parent
FOLDER = ROOT / "notebooks"
NAMES = ("engineer", "orchestrator", "teacher")

# All three in one kernel, which forgets their names between them.
FORGET = "%reset -f"
FIRST = f"""
import sys
sys.path.insert(0, {str(ROOT)!r})
from tests import test_notebooks
test_notebooks.share_what_is_known()
"""


def share_what_is_known() -> None:
    """In the kernel: whole sample recordings are compared once a run.

    A report has no figures, and its page no sound.
    """
    whole = mixcompare.compare

    def compare(reference: Path, candidate: Path, **options: Any) -> Comparison:
        if "stems" in options:
            return samples.at_hand(samples.trimmed()[0], reference.stem, candidate.stem)
        if "score" in options:
            return samples.scored(candidate.stem, options["score"].name)
        if options:
            with nothing_unseen():
                return whole(reference, candidate, **options)
        return samples.comparison(reference.stem, candidate.stem)

    mixcompare.compare = compare
    plots.draw_all = lambda results: {}
    writer.page_sound = lambda *_: ()


KEY_NUMBERS = {
    # What the samples' truth files say: the figure 6 dB louder, the theme held for half its length.
    "engineer": "assert preview.largest_after < preview.largest_before / 2",
    "orchestrator": """
assert abs(balance.difference.elements[0].difference_db - 6) < 0.5
assert abs(difference.register_level_db[0]) < 0.2  # the basses stayed
(marked,) = [one for one in scored.findings if one.bars]
assert "Clarinets" in marked.subject
""",
    "teacher": """
assert articulation.candidate_ratio < 0.65 < 0.9 < articulation.reference_ratio
assert sound.shape[1] == round(2 * length_s * rate_hz)
""",
}
"""Asserted after each notebook's own cells, by its own names."""


def read(name: str) -> nbformat.NotebookNode:
    return nbformat.read(FOLDER / f"{name}.ipynb", as_version=4)


def test_the_notebooks_run() -> None:
    sources = [FIRST]
    for name in NAMES:
        sources += [FORGET]
        sources += [cell.source for cell in read(name).cells if cell.cell_type == "code"]
        sources += [KEY_NUMBERS[name]]
    notebook = new_notebook(cells=list(map(new_code_cell, sources)))
    NotebookClient(notebook, timeout=300, resources={"metadata": {"path": str(FOLDER)}}).execute()


@pytest.mark.parametrize("name", NAMES)
def test_no_outputs_are_stored(name: str) -> None:
    assert all(not cell.get("outputs") for cell in read(name).cells)
