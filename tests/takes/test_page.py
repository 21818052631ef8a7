"""The page of all takes: what it says, that nothing in it runs but its own, and what is heard."""

from __future__ import annotations

import csv
import io
import re
import time
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import soundfile

from mixcompare.takes import page
from mixcompare.takes.table import aspects_of, takes_table, versions_table
from mixcompare.takes.values import Heard, Take
from mixcompare.takes.versions import followed
from tests.report.test_browser import CHROMIUM, FLAGS, demand_browser
from tests.takes.test_versions import figure, told

EVIL = '<script>alert("x")</script>'


def heard(name: str, reference_gain_db: float, late_s: float, pace: float = 1.0) -> Heard:
    """Sound of ten seconds; the candidate begins later by so much, and takes that share of it."""
    return Heard(
        reference=f"sound/{name}-reference.mp3",
        candidate=f"sound/{name}-candidate.mp3",
        reference_span_s=(0.0, 10.0),
        candidate_span_s=(late_s, 10.0 * pace + late_s),
        reference_gain_db=reference_gain_db,
        candidate_gain_db=0.0,
        time_map=tuple((place, place * pace + late_s) for place in (0.0, 5.0, 10.0)),
    )


def takes() -> list[Take]:
    one = Take(
        "one", "/m/one.wav", "pairs/one", "same_take", "One thing sticks out.", "", (told(),)
    )
    two = replace(
        one, name="two", report="pairs/two", findings=(told(difference=9.0), figure(-2.0))
    )
    return [
        replace(one, sound=heard("one", -2.0, 0.0)),
        replace(two, sound=heard("two", -6.0, 3.0, 0.5)),
        Take("other", "/m/other.wav", "pairs/other", "unrelated", "Not the same passage."),
        Take("bad", f"/m/{EVIL}.wav", problem=f"{EVIL}: not readable as audio."),
    ]


def test_every_candidate_has_a_line_with_its_report_and_its_findings() -> None:
    html = page.render("/m/reference.wav", takes(), None)
    assert "Nearest to the reference is one." in html
    for name in ("one", "two", "other"):
        assert f'href="pairs/{name}/report.html"' in html
    assert 'href="pairs/two/report.html#finding-1" title="+9.0 dB bass line; −2.0 dB' in html
    assert "and 1 more" in html
    assert "9.2" in html  # root of 81 + 4


def test_names_are_escaped_and_no_address_leads_outside() -> None:
    html = page.render("/m/reference.wav", takes(), None)
    assert EVIL not in html
    assert "&lt;script&gt;" in html
    for address in re.findall(r'(?:src|href)="([^"]*)"', html):
        assert address.startswith(("pairs/", "#", "data:,"))
    assert "http" not in re.sub(r"<meta[^>]*>", "", html)


def test_the_dot_is_as_large_as_the_difference_and_has_its_colour() -> None:
    """Its area follows the size: four times the difference, twice the radius."""

    def radius(size: float) -> float:
        found = re.search(r' r="([0-9.]+)"', page.dot(told(difference=size)))
        assert found
        return float(found[1])

    assert radius(8.0) == pytest.approx(2 * radius(2.0), abs=0.1)
    assert radius(40.0) == radius(page._FULL_JND)
    assert "dot more" in page.dot(told(difference=1.0))
    assert "dot less" in page.dot(told(difference=-1.0))


def test_versions_are_listed_to_be_ticked_off() -> None:
    given = takes()[:2]
    items = followed([take.findings for take in given])
    html = page.render("/m/reference.wav", given, items)
    assert "In two, 2 things still stick out; 0 of 2 found so far are mended." in html
    assert "became worse" in html
    assert html.count('type="checkbox"') == 2
    mended = followed([[told()], []])
    html = page.render("/m/reference.wav", [given[0], replace(given[1], findings=())], mended)
    assert "In two, no things still stick out; 1 of 1 found so far are mended." in html
    assert "checked disabled" in html
    rows = list(csv.DictReader(io.StringIO(versions_table(given, items))))
    assert [(row["state"], row["one"], row["two"]) for row in rows] == [
        ("worse", "'+5.0 dB", "'+9.0 dB"),
        ("new", "", "'-2.0 dB"),
    ]


def test_a_page_of_very_many_holds_the_nearest() -> None:
    many = [Take(f"t{number}", "", "pairs/t", "same_take") for number in range(page.MOST_ROWS + 7)]
    html = page.render("/m/reference.wav", many, None)
    assert "7 more, farther away" in html
    assert html.count("<tr>") == page.MOST_ROWS + 1


def test_columns_are_ordered_by_the_largest_and_cells_are_harmless_to_a_spreadsheet() -> None:
    given = [*takes(), Take("=1+1", "", "p", "same_take", "", "", (told(aspect="tone", jnd=30.0),))]
    assert aspects_of(given) == ("tone", "balance")
    rows = list(csv.reader(io.StringIO(takes_table(given))))
    assert rows[0][5:7] == ["tone", "balance"]
    assert not any(cell[:1] in {"=", "+", "-", "@"} for row in rows[1:] for cell in row)
    assert rows[2][2:4] == ["9.22", "2"]


def test_a_take_is_the_same_after_a_file() -> None:
    for take in takes():
        assert Take.from_plain(take.plain()) == take


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The page in a browser, as a file, under its own policy."""
    demand_browser()
    from playwright.sync_api import sync_playwright

    folder = tmp_path_factory.mktemp("page")
    (folder / "sound").mkdir()
    noise = 0.05 * np.random.default_rng(1).standard_normal((10 * 24_000, 2))
    for name in ("one", "two"):
        for role in ("reference", "candidate"):
            soundfile.write(folder / f"sound/{name}-{role}.mp3", noise, 24_000, format="MP3")
    path = folder / "takes.html"
    items = followed([take.findings for take in takes()[:2]])
    path.write_text(page.render("/m/reference.wav", takes(), items), encoding="utf-8")
    # The script keeps its sounds to itself: this keeps them for the test.
    keep = """window.sounds = [];
        const Real = window.Audio;
        window.Audio = function () { const it = new Real(); window.sounds.push(it); return it; };"""
    with sync_playwright() as driver:
        running = driver.chromium.launch(
            executable_path=str(CHROMIUM),
            args=[*FLAGS, "--autoplay-policy=no-user-gesture-required"],
        )
        tab = running.new_page()
        wrong: list[str] = []
        tab.on("pageerror", lambda error: wrong.append(str(error)))
        tab.on("console", lambda said: wrong.append(said.text))
        tab.add_init_script(keep)
        tab.goto(path.as_uri())
        yield tab
        running.close()
        assert wrong == []


def becomes_true(tab: Any, words: str) -> None:
    """Wait for it; the page's policy lets the driver evaluate, not poll by itself."""
    for _ in range(200):
        if tab.evaluate(words):
            return
        time.sleep(0.05)
    raise AssertionError(words)


@pytest.mark.browser
def test_two_takes_are_heard_at_the_same_place_and_equally_loud(opened: Any) -> None:
    """The second is played in half the time; its pair's reference was turned down 4 dB more."""
    opened.select_option("#pick-0", label="one")
    opened.select_option("#pick-1", label="two")
    becomes_true(opened, "sounds.every((sound) => sound.readyState >= 3)")
    opened.fill("#volume", "0")
    opened.locator("#place").fill("4")
    becomes_true(opened, "Math.abs(sounds[0].currentTime - 4) < 0.05")
    becomes_true(opened, "Math.abs(sounds[1].currentTime - 2) < 0.05")
    volumes = opened.evaluate("sounds.map((sound) => 20 * Math.log10(sound.volume))")
    assert volumes == pytest.approx([-4.0, 0.0], abs=0.01)
    opened.click("#play")
    becomes_true(opened, "!sounds[0].paused && sounds[0].currentTime > 4.3")
    opened.click("#voice-1")
    becomes_true(opened, "sounds[0].paused && !sounds[1].paused")
    times = opened.evaluate("sounds.map((sound) => sound.currentTime)")
    assert times[1] == pytest.approx(times[0] / 2, abs=0.5)
    opened.click("#play")
    assert opened.evaluate("sounds.every((sound) => sound.paused)")


@pytest.mark.browser
def test_what_is_ticked_off_stays_so(opened: Any) -> None:
    opened.check("#item-1")
    opened.reload()
    assert opened.is_checked("#item-1")
    assert not opened.is_checked("#item-0")
