"""One report with everything in it, written once for all tests that only read it."""

from dataclasses import replace

import pytest

from mixcompare.report.writer import save
from tests.report.builders import gliding_pair, made_up_results

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
    """Folder of a report of 24 s with sound, figures and page."""
    folder = tmp_path_factory.mktemp("report") / "out"
    return save(results, folder, gliding_pair(results, LENGTH_S))
