"""Two levels of the panel, measured from what reaches the loudspeakers: pyloudnorm's meter is the
judge (ITU-R BS.1770), on a pair whose change moves the loudness by more than 2 LU."""

import functools
import re
import shutil
import threading
from dataclasses import replace
from http.server import ThreadingHTTPServer

import numpy as np
import pyloudnorm
import pytest

from mixcompare.audio.recording import Recording
from mixcompare.listening.excerpts import AlignedSound, true_peak_dbtp
from mixcompare.listening.page_sound import page_sound
from mixcompare.report.page import render
from tests.report.builders import candidate_length_s, made_up_results
from tests.report.test_browser import RECORDER, TAPE, Silent, browser, heard_for, heard_out

__all__ = ["browser"]

RATE = 44_100
LENGTH_S = 6.0
LOOP = (2.1, 3.7)
TOLERANCE_LU = 0.2

pytestmark = pytest.mark.browser


def chord(places_s, steps_db):
    """Steady chord whose level follows steps of two seconds of music."""
    times_s = np.arange(len(places_s)) / RATE
    wave = sum(np.sin(2 * np.pi * pitch_hz * times_s) for pitch_hz in (196.0, 392.0, 987.8))
    levels = np.array(steps_db)[np.clip(places_s // 2, 0, len(steps_db) - 1).astype(int)]
    wave *= 0.08 * 10 ** (levels / 20)
    return np.stack([wave, wave], axis=1).astype(np.float32)


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    """A page whose candidate has more in its middle, and a softer end in the reference."""
    results = made_up_results(length_s=LENGTH_S)
    results = replace(results, findings=(replace(results.findings[0], spans_s=(LOOP,)),))
    time_map = results.alignment.time_map
    ours = np.arange(int(LENGTH_S * RATE)) / RATE
    theirs = time_map.to_reference(np.arange(int(candidate_length_s(LENGTH_S) * RATE)) / RATE)
    pair = AlignedSound(
        Recording.from_array(chord(ours, (0.0, 0.0, -20.0)), RATE, "reference"),
        Recording.from_array(chord(theirs, (0.0, 6.0, -2.0)), RATE, "candidate"),
        time_map,
        0.0,
    )
    folder = tmp_path_factory.mktemp("loudness")
    sound = page_sound(pair, results.findings)
    (folder / "report.html").write_text(render(results, {}, sound), "utf-8")
    (folder / "recorder.js").write_text(RECORDER)
    handler = functools.partial(Silent, directory=str(folder))
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()
    shutil.rmtree(folder)


@pytest.fixture
def panel(browser, home):  # noqa: F811
    """The page with a recorder on its sound, at full volume, ready to play."""
    context = browser.new_context(viewport={"width": 1280, "height": 800}, bypass_csp=True)
    page = context.new_page()
    page.add_init_script(TAPE)
    page.goto(f"{home}/report.html")
    page.evaluate("document.getElementById('volume').value = 0")
    page.locator("body").press("Space")
    page.locator("#play", has_text="Pause").wait_for()
    heard_for(page, 0.1)  # the recorder is in
    page.keyboard.press("Space")
    page.keyboard.press("l")
    page.locator("#timeline").focus()
    page.keyboard.press("Home")
    heard_out(page)
    yield page
    context.close()


def lufs(samples, rate):
    """Loudness, and the true peak under the page's ceiling for all of it (EBU R 128: -1 dBTP)."""
    heard = np.flatnonzero(np.abs(samples) > 1e-6)
    both = np.stack([samples[heard[0] : heard[-1] + 1]] * 2, axis=1)  # how the blocks fall is fixed
    assert true_peak_dbtp(both.astype(np.float32), rate) <= -1.0
    return pyloudnorm.Meter(rate).integrated_loudness(both)


def whole(page, voice):
    """Loudness of a voice, played from the start to the end."""
    page.locator(f'.voice[data-voice="{voice}"]').click()
    page.locator("#timeline").focus()
    page.keyboard.press("Home")
    page.keyboard.press("Space")
    page.locator("#play", has_text="Pause").wait_for()
    page.locator("#play", has_text="Play").wait_for()
    return lufs(*heard_out(page))


def chosen(page):
    return page.locator('.level[aria-pressed="true"]').get_attribute("data-level")


def test_same_loudness_is_true_of_the_whole_and_same_gain_shows_the_change(panel):
    assert chosen(panel) == "gain"
    as_it_is = [whole(panel, voice) for voice in ("reference", "candidate")]
    # The reference's soft end falls to the gate; the candidate's mean power is that of 0, 6, -2 dB.
    assert as_it_is[1] - as_it_is[0] == pytest.approx(2.8, abs=0.5)
    panel.get_by_role("button", name="Same loudness").click()
    alike = [whole(panel, voice) for voice in ("reference", "candidate")]
    assert chosen(panel) == "loudness"  # kept when the voice was switched
    assert abs(alike[1] - alike[0]) < TOLERANCE_LU
    assert alike[0] == pytest.approx(as_it_is[0], abs=TOLERANCE_LU)  # none is turned up


def test_in_a_loop_same_loudness_is_that_of_the_loop_and_is_switched_while_playing(panel):
    panel.locator("#finding-1 .hear").first.click()
    panel.locator("#play", has_text="Pause").wait_for()
    heard = {}
    for voice, level in (
        ("1", "gain"), ("2", "gain"), ("2", "loudness"), ("1", "loudness"),
    ):  # fmt: skip
        panel.keyboard.press(voice)
        if chosen(panel) != level:
            panel.keyboard.press("g")
        assert chosen(panel) == level
        heard_for(panel, 0.6)
        heard[voice, level] = lufs(*heard_for(panel, 2.2))
    assert heard["2", "gain"] - heard["1", "gain"] == pytest.approx(6.0, abs=0.4)
    assert abs(heard["2", "loudness"] - heard["1", "loudness"]) < TOLERANCE_LU
    assert heard["1", "loudness"] == pytest.approx(heard["1", "gain"], abs=TOLERANCE_LU)
    told = panel.locator("#loudness").inner_text()
    assert "Over the loop" in told
    assert "the candidate is" in told
    assert "LU louder than the reference" in told
    down = [float(text) for text in re.findall(r"([\d.]+) dB down", told)]
    assert down == pytest.approx([0.0, heard["2", "gain"] - heard["1", "gain"]], abs=TOLERANCE_LU)


def test_a_blind_trial_begins_at_the_same_loudness_and_counts_at_one_level_only(panel):
    score = panel.locator("#trial-score")
    panel.locator("#trial-start").click()
    assert chosen(panel) == "loudness"
    assert "Same loudness" in score.inner_text()
    panel.keyboard.press("n")  # an answer counts once X and both recordings were heard
    panel.locator("#play", has_text="Pause").wait_for()
    for voice in "123":
        panel.keyboard.press(voice)
    panel.get_by_role("button", name="X is the candidate").click()
    assert "of 1 right" in score.inner_text()
    panel.keyboard.press("g")
    assert chosen(panel) == "gain"
    assert "loudness alone may tell them apart" in score.inner_text()
    assert "No answers yet" in score.inner_text()
    panel.keyboard.press("g")
    panel.keyboard.press("Space")
    panel.locator("#trial-start").click()
    assert chosen(panel) == "gain"  # as it was before
