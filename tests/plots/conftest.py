"""Results to draw: made-up ones with every value, and two real comparisons."""

import pytest

from mixcompare import plots
from tests import samples
from tests.report.builders import made_up_results


@pytest.fixture(scope="session")
def results():
    return made_up_results()


@pytest.fixture(scope="session", params=["made up", "one take", "two performances"])
def shown(request):
    """Results, and all their figures."""
    if request.param == "made up":
        results = made_up_results()
    else:
        names = {"one take": "candidate_figure_louder", "two performances": "candidate_detached"}
        results = samples.compared("reference", names[request.param])
    return results, plots.draw_all(results)
