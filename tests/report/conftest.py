"""One report with everything in it, written once for all tests that only read it."""

import pytest

from mixcompare.report.writer import save
from tests.report.builders import gliding_pair, made_up_results

LENGTH_S = 24.0


@pytest.fixture(scope="session")
def results():
    return made_up_results(length_s=LENGTH_S)


@pytest.fixture(scope="session")
def saved(results, tmp_path_factory):
    """Folder of a report of 24 s with sound, figures and page."""
    folder = tmp_path_factory.mktemp("report") / "out"
    return save(results, folder, gliding_pair(results, LENGTH_S))
