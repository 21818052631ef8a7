"""One report with everything in it, written once for all tests that only read it."""

import tempfile
from dataclasses import replace
from pathlib import Path

import pytest

from mixcompare.report.writer import save
from tests import once_a_run
from tests.report.builders import gliding_pair, made_up_results, with_preview

LENGTH_S = 24.0
LOOP = (12.0, 13.6)


@pytest.fixture(scope="session")
def results():
    """Results whose first finding is short, to be looped in the browser."""
    made_up = made_up_results(length_s=LENGTH_S)
    start, end = made_up.alignment.time_map.to_candidate(LOOP).tolist()
    short = replace(made_up.findings[0], spans_s=(LOOP,), candidate_spans_s=((start, end),))
    return replace(made_up, findings=(short, *made_up.findings[1:]))


@pytest.fixture(scope="session")
def saved(results, tmp_path_factory):
    """Folder of a report of 24 s with sound, figures, page and the preview as a third voice."""

    def written():
        with tempfile.TemporaryDirectory() as scratch:
            pair = with_preview(gliding_pair(results, LENGTH_S), Path(scratch) / "preview.flac")
            whole = save(results, Path(scratch) / "out", pair)
            files = [path for path in whole.rglob("*") if path.is_file()]
            return {path.relative_to(whole): path.read_bytes() for path in files}

    folder = tmp_path_factory.mktemp("report") / "out"
    for name, content in once_a_run.made("report", written).items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    return folder
