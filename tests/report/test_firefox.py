"""The page in a second browser engine: it loads, plays, switches, fits, and asks for nothing."""

import pytest

from tests.report.conftest import LENGTH_S
from tests.report.firefox import demand_firefox, firefox
from tests.report.test_browser_notes import TOLD

pytestmark = pytest.mark.browser

PLACE_S = f"{LENGTH_S} * parseFloat(document.getElementById('needle').style.left) / 100"
BOTH = f"[performance.now() / 1000, {PLACE_S}]"
PLAYS = "document.getElementById('play').textContent === 'Pause'"
HEARD = "document.querySelector('.voice[aria-pressed=true]').dataset.voice"


@pytest.fixture(scope="module")
def window(saved, tmp_path_factory):
    """A tab whose page says nothing to the console, and asks for nothing but what it holds."""
    demand_firefox()
    with firefox(tmp_path_factory.mktemp("firefox")) as opened:
        yield opened
        asked = [text for text in opened.said if not text.startswith(("data:", "blob:"))]
        assert set(asked) <= {(saved / "report.html").as_uri()}


@pytest.fixture
def tab(window, saved):
    """The page as it opens."""
    window.open((saved / "report.html").as_uri(), 1280, 800)
    return window


def test_it_plays_switches_and_loops(tab):
    tab.run("document.getElementById('play').click()")
    tab.until(PLAYS)
    tab.until(f"{PLACE_S} > 0.5")
    tab.press("s")
    tab.until(f"{HEARD} === 'candidate'")
    # Both clocks are read within the page, which a busy machine does not part; what it does is to
    # hold the sound up.
    paces = []
    for _ in range(3):
        began_s, place = tab.run(BOTH)
        tab.until(f"{PLACE_S} > {place + 1.0}")
        now_s, here = tab.run(BOTH)
        paces.append((now_s - began_s) / (here - place))
    # The candidate takes some 1.04 of the reference's time.
    assert min(paces) == pytest.approx(1.04, abs=0.3)
    tab.run("document.querySelector('.hear').click()")
    tab.until("!document.getElementById('loop').hidden")
    tab.press(" ")
    tab.until(f"!({PLAYS})")
    assert tab.run("document.getElementById('status').textContent") == ""


def test_a_note_is_heard_in_both(tab):
    tab.run("document.getElementById('note-slow').click()")
    tab.run(f"({TOLD})()")
    tab.run("document.getElementById('note-hear').click()")
    tab.until("['reference', 'candidate', ''].every((one) => window.told.includes(one))")


@pytest.mark.parametrize("width", [390, 1280])
def test_it_fits_the_screen(tab, saved, width):
    tab.open((saved / "report.html").as_uri(), width, 800)
    tab.run("document.querySelectorAll('details').forEach((fold) => { fold.open = true; })")
    assert tab.run("document.documentElement.scrollWidth") <= width
    # What is wider than the page scrolls in a box of its own; nothing lies over the headline.
    box = tab.run("document.querySelector('h1').getBoundingClientRect().toJSON()")
    assert box["left"] >= 0
    assert box["right"] <= width
