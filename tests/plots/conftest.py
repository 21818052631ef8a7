"""Made-up results to draw."""

import pytest

from tests.report.builders import made_up_results


@pytest.fixture(scope="session")
def results():
    return made_up_results()
