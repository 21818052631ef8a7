"""The page in a real browser: what is heard when one plays, switches, loops, and judges blind."""

import base64
import functools
import io
import os
import re
import shutil
import threading
import time
import unicodedata
from dataclasses import replace
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pypdf
import pytest
from scipy import fft, signal
from scipy.stats import binom

from mixcompare.listening.page_sound import page_sound
from mixcompare.report import writer
from mixcompare.report.page import render
from mixcompare.units import in_print
from tests.report.builders import glide_hz, gliding_pair, made_up_results
from tests.report.conftest import LENGTH_S, LOOP

CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip

# Records what reaches the loudspeakers, on the audio thread, so that nothing is lost on a busy
# machine. A worklet comes from an address, so this machine serves the page, its policy lifted;
# other tests open the file itself, under its policy.
RECORDER = """
class Recorder extends AudioWorkletProcessor {
  constructor() { super(); this.kept = []; }
  process(inputs) {
    this.kept.push(inputs[0].length ? inputs[0][0].slice() : new Float32Array(128));
    if (this.kept.length === 32) { this.port.postMessage(this.kept); this.kept = []; }
    return true;
  }
}
registerProcessor("recorder", Recorder);
"""
TAPE = """
window.tape = [];
const connect = AudioNode.prototype.connect;
AudioNode.prototype.connect = function (target, ...rest) {
  if (target instanceof AudioDestinationNode) {
    window.rate = this.context.sampleRate;
    this.context.audioWorklet.addModule("recorder.js").then(() => {
      const tap = new AudioWorkletNode(this.context, "recorder", { channelCount: 1 });
      tap.port.onmessage = (event) => window.tape.push(...event.data);
      connect.call(this, tap);
      connect.call(tap, target);
    });
  }
  return connect.call(this, target, ...rest);
};
"""

pytestmark = pytest.mark.browser


def demand_browser(chromium=CHROMIUM):
    """Skip, or fail where everything is meant to be tested, if there is no browser."""
    needs = "" if find_spec("playwright") else "the playwright package"
    needs = needs or ("" if chromium.exists() else f"a browser at {chromium}")
    if needs:
        (pytest.fail if os.environ.get("CI") else pytest.skip)(f"needs {needs}")


@pytest.fixture(scope="module")
def browser():
    demand_browser()
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield running
        running.close()


@pytest.fixture
def page(browser, saved):
    """The page, which must neither complain nor ask for anything."""
    address = (saved / "report.html").as_uri()
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    opened = context.new_page()
    trouble = []
    opened.on("console", lambda message: trouble.append(message.text))
    opened.on("pageerror", lambda error: trouble.append(str(error)))
    opened.on("request", lambda request: trouble.append(request.url))
    opened.goto(address)
    yield opened
    assert [text for text in trouble if not text.startswith(("data:", "blob:"))] == [address]
    context.close()


@pytest.fixture(scope="module")
def home(saved, tmp_path_factory):
    """Address on this machine of a folder with the page and the recorder in it."""
    folder = tmp_path_factory.mktemp("served")
    shutil.copy(saved / "report.html", folder)
    (folder / "recorder.js").write_text(RECORDER)
    handler = functools.partial(Silent, directory=str(folder))
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()


class Silent(SimpleHTTPRequestHandler):
    def log_message(self, *args):
        pass


@pytest.fixture
def recorded(browser, home):
    """The page with a recorder on its sound."""
    context = browser.new_context(viewport={"width": 1280, "height": 800}, bypass_csp=True)
    opened = context.new_page()
    opened.add_init_script(TAPE)
    opened.goto(f"{home}/report.html")
    yield opened
    context.close()


# A text is handed over far faster than a list of numbers.
TAKE = """
() => {
  const bytes = new Uint8Array(window.tape.splice(0).flatMap((one) => Array.from(
    new Uint8Array(one.buffer))));
  let text = "";
  for (let at = 0; at < bytes.length; at += 8192)
    text += String.fromCharCode(...bytes.subarray(at, at + 8192));
  return btoa(text);
}
"""


def taken(page):
    """Samples since the last call, none where none came."""
    return np.frombuffer(base64.b64decode(page.evaluate(TAKE)), np.float32).astype(float)


def heard_for(page, length_s, within_s=60.0):
    """So many seconds of sound, silence not counted: a busy machine plays later than asked."""
    tape, end = taken(page), time.monotonic() + within_s
    while np.count_nonzero(tape) < length_s * (page.evaluate("window.rate") or np.inf):
        assert time.monotonic() < end, f"no {length_s} s of sound within {within_s} s"
        page.wait_for_timeout(100)
        tape = np.concatenate([tape, taken(page)])
    return tape, page.evaluate("window.rate")


def heard_out(page, quiet_s=0.3):
    """The rest of the sound, and the silence after it: the recorder goes on."""
    tape, rate = taken(page), page.evaluate("window.rate")
    while len(tape) < quiet_s * rate or np.abs(tape[-int(quiet_s * rate) :]).max() > 1e-6:
        page.wait_for_timeout(100)
        tape = np.concatenate([tape, taken(page)])
    return tape, rate


def places(samples, rate):
    """Place in the music of every moment, from the pitch of the gliding tone; NaN in silence."""
    low, high = glide_hz(np.array([-2.0, LENGTH_S + 2]))
    sos = signal.butter(4, (low, high), "bandpass", fs=rate, output="sos")
    tone = analytic(signal.sosfiltfilt(sos, samples))
    pitch = np.gradient(np.unwrap(np.angle(tone))) * rate / (2 * np.pi)
    smooth = np.convolve(pitch, np.ones(1200) / 1200, mode="same")
    per_second = glide_hz(1.0) - glide_hz(0.0)
    place = (smooth - glide_hz(0.0)) / per_second
    level = np.convolve(np.abs(tone), np.ones(1200) / 1200, mode="same")
    return np.where(level > 0.3 * level.max(), place, np.nan)


def analytic(wave):
    """Analytic signal; padded, since a prime length would take minutes."""
    return signal.hilbert(wave, fft.next_fast_len(len(wave)))[: len(wave)]


def partner_share(samples, rate, factor):
    """Level of a recording's own second tone against the gliding one, moment by moment."""
    low, high = glide_hz(np.array([0.0, LENGTH_S])) * factor
    sos = signal.butter(4, (low, high), "bandpass", fs=rate, output="sos")
    envelope = np.abs(analytic(signal.sosfiltfilt(sos, samples)))
    return np.convolve(envelope, np.ones(1200) / 1200, mode="same")


def position(page):
    """Where the position line stands, in seconds of the reference."""
    return (
        LENGTH_S * float(page.evaluate("document.getElementById('needle').style.left")[:-1]) / 100
    )


def seek(page, place_s):
    box = page.locator(".overlay").bounding_box()
    x = box["x"] + box["width"] * place_s / LENGTH_S
    page.mouse.click(x, box["y"] + box["height"] / 2)


def test_switching_goes_on_at_the_same_place_in_the_music(recorded):
    page = recorded
    page.locator("#timeline").scroll_into_view_if_needed()
    seek(page, 6.0)
    assert position(page) == pytest.approx(6.0, abs=0.05)
    page.keyboard.press("Space")
    page.locator("#play", has_text="Pause").wait_for()
    first, rate = heard_for(page, 1.5)
    page.keyboard.press("s")
    second, _ = heard_for(page, 2.0)
    page.keyboard.press("Space")
    samples = np.concatenate([first, second, heard_out(page)[0]])
    place = places(samples, rate)
    ours, theirs = (partner_share(samples, rate, factor) for factor in (0.5, 3.0))
    heard = np.flatnonzero(np.isfinite(place))
    times = np.arange(len(samples)) / rate
    switch = heard[0] + int(np.argmax((theirs > ours)[heard[0] : heard[-1]]))

    def place_near(moment, begin_s, end_s):
        window = slice(moment + int(begin_s * rate), moment + int(end_s * rate))
        return np.polyfit(times[window] - times[moment], place[window], 1)

    slope, start = place_near(heard[0], 0.1, 0.6)
    assert slope == pytest.approx(1.0, abs=0.02)
    assert start == pytest.approx(6.0, abs=0.1)
    before = place_near(switch, -0.6, -0.1)[1]
    slope, after = place_near(switch, 0.1, 0.6)
    assert before == pytest.approx(after, abs=0.030)
    # From there on the candidate's own clock rules: at 1.04 s and a swing for 1 s of reference.
    wanted = 1.04 + 0.35 * 2 * np.pi / 24 * np.cos(2 * np.pi * after / 24)
    assert 1 / slope == pytest.approx(wanted, abs=0.02)
    assert place[heard[-1] - 2000] == pytest.approx(position(page), abs=0.15)
    assert page.locator('[data-voice="candidate"]').get_attribute("aria-pressed") == "true"
    steps = np.abs(np.diff(samples[switch - rate // 10 : switch + rate // 10]))
    assert steps.max() < 2 * np.percentile(steps, 98)  # no click


def test_the_candidate_with_the_trims_is_a_third_voice_at_the_same_place(recorded):
    """It runs on the candidate's clock, and is as loud as the candidate."""
    page = recorded
    page.locator("#timeline").scroll_into_view_if_needed()
    seek(page, 6.0)
    page.keyboard.press("2")
    page.keyboard.press("Space")
    page.locator("#play", has_text="Pause").wait_for()
    first, rate = heard_for(page, 1.5)
    page.get_by_role("button", name="Candidate with the trims").click()
    second, _ = heard_for(page, 2.0)
    page.keyboard.press("Space")
    samples = np.concatenate([first, second, heard_out(page)[0]])
    place = places(samples, rate)
    theirs, trimmed = (partner_share(samples, rate, factor) for factor in (3.0, 6.0))
    heard = np.flatnonzero(np.isfinite(place))
    switch = heard[0] + int(np.argmax((trimmed > theirs)[heard[0] : heard[-1]]))
    times = np.arange(len(samples)) / rate

    def line(begin_s, end_s):
        window = slice(switch + int(begin_s * rate), switch + int(end_s * rate))
        level = np.sqrt(np.mean(np.square(samples[window])))
        return np.polyfit(times[window] - times[switch], place[window], 1), level

    ((slope, before), loud), ((slope_after, after), loud_after) = line(-0.6, -0.1), line(0.1, 0.6)
    assert before == pytest.approx(after, abs=0.030)
    assert slope == pytest.approx(slope_after, abs=0.02)
    assert 20 * np.log10(loud_after / loud) == pytest.approx(0.0, abs=0.1)
    assert page.locator('[data-voice="preview"]').get_attribute("aria-pressed") == "true"
    page.keyboard.press("s")  # the next one is the first again
    assert page.locator('[data-voice="reference"]').get_attribute("aria-pressed") == "true"
    page.keyboard.press("4")
    assert page.locator('[data-voice="preview"]').get_attribute("aria-pressed") == "true"


def test_a_page_without_a_preview_has_two_voices(browser, tmp_path):
    results = made_up_results(length_s=6.0)
    file = tmp_path / "page.html"
    file.write_text(render(results, {}, page_sound(gliding_pair(results, 6.0))), "utf-8")
    page = browser.new_page()
    page.goto(file.as_uri())
    assert page.locator(".voice:visible").count() == 2
    page.keyboard.press("4")
    page.keyboard.press("s")
    assert page.locator('[data-voice="candidate"]').get_attribute("aria-pressed") == "true"
    page.keyboard.press("s")
    assert page.locator('[data-voice="reference"]').get_attribute("aria-pressed") == "true"
    page.close()


def test_a_finding_loops_its_place_and_its_band_can_be_heard_alone(recorded):
    page = recorded
    page.locator("#finding-1 .hear").first.click()
    page.locator("#play", has_text="Pause").wait_for()
    whole, rate = heard_for(page, 4.5)
    place = places(whole, rate)
    inside = place[np.isfinite(place)]
    low, high = np.percentile(inside, [3, 97])
    assert low == pytest.approx(LOOP[0], abs=0.12)
    assert high == pytest.approx(LOOP[1], abs=0.12)
    assert (np.diff(inside[::4000]) < -1).sum() >= 2  # it came round
    assert page.locator("#finding-1").evaluate("card => card.classList.contains('current')")
    page.keyboard.press("b")
    band, _ = heard_for(page, 2.0)  # what the driver took late is still without the filter
    # The finding's band begins at 2 kHz, more than an octave above the glide (400 to 1000 Hz):
    # a fourth-order Butterworth takes 24 dB an octave.
    power = np.square(band[-int(0.9 * rate) :])
    pieces = power[: len(power) // 30 * 30].reshape(30, -1).mean(axis=1)
    loss_db = 10 * np.log10(np.mean(np.square(whole)) / np.median(pieces))
    assert loss_db > 24
    page.keyboard.press("Escape")
    assert page.locator("#loop").is_hidden()


def test_a_long_passage_plays_the_places_of_its_findings(browser, tmp_path):
    results = made_up_results(length_s=LENGTH_S)
    pair = gliding_pair(results, LENGTH_S)
    late = replace(results.findings[0], spans_s=((14.0, 16.0),))
    (passage,) = page_sound(pair, [late], budget_bytes=150_000)
    start, end = passage["reference"].span_s
    assert (start, end) == pytest.approx((13.0, 17.0))
    file = tmp_path / "page.html"
    file.write_text(render(replace(results, findings=(late,)), {}, [passage]), "utf-8")
    page = browser.new_page()
    page.goto(file.as_uri())
    seek(page, 2.0)
    page.locator("#play").click()
    page.locator("#play", has_text="Pause").wait_for()
    page.wait_for_timeout(300)
    assert start <= position(page) < end
    seek(page, 16.4)
    page.locator("#play", has_text="Play").wait_for()  # it ends with its place
    assert position(page) == pytest.approx(end, abs=0.2)
    page.close()


def test_the_blind_trial_counts_right(page):
    page.locator("#trial-start").click()
    answers = page.locator(".answer")
    page.keyboard.press("n")  # a loop: it does not end, however slow the machine
    page.locator("#play", has_text="Pause").wait_for()
    for voice in "123":
        assert answers.nth(0).is_disabled()  # not before X and both were heard
        page.keyboard.press(voice)
    right = 0
    for count in range(1, 9):
        if page.locator("#play").inner_text() == "Play":  # a busy machine may run dry
            page.locator("#play").click()
        page.get_by_role("button", name="X is the candidate").click()
        score = page.locator("#trial-score").inner_text()
        was = re.search(r"(Right|Wrong): X was the (\w+)\. (\d) of (\d) right", score)
        right += was[2] == "candidate"
        assert (was[1] == "Right") == (was[2] == "candidate")
        assert (int(was[3]), int(was[4])) == (right, count)
        chance = float(re.search(r"that many ([\d.]+) %", score)[1])
        wanted = 100 * binom.sf(right - 1, count, 0.5)
        assert chance == pytest.approx(wanted, rel=0.15, abs=0.5)
    page.locator("#play").click()
    page.locator("#trial-start").click()
    assert page.locator('[data-voice="x"]').is_hidden()


def test_hands_on_the_keyboard_reach_everything(page):
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "play"
    page.locator("#timeline").focus()
    page.keyboard.press("PageUp")
    assert position(page) == pytest.approx(10.0, abs=0.05)
    assert page.locator("#timeline").get_attribute("aria-valuetext") == "0:10"
    page.keyboard.press("2")
    assert page.locator('[data-voice="candidate"]').get_attribute("aria-pressed") == "true"
    page.get_by_text("Keys", exact=True).click()
    page.locator("#keys").uncheck()
    page.locator("#timeline").focus()
    page.keyboard.press("1")
    assert page.locator('[data-voice="candidate"]').get_attribute("aria-pressed") == "true"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("width", "height"), [(1280, 800), (390, 844)])
def test_the_page_fits_the_screen(browser, saved, tmp_path, width, height, scheme):
    size = {"width": width, "height": height}
    context = browser.new_context(viewport=size, color_scheme=scheme)
    page = context.new_page()
    page.goto((saved / "report.html").as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    picture = page.screenshot(path=tmp_path / "page.png")
    assert len(picture) > 20_000
    for button in page.locator("#dock button:visible").all():
        assert button.bounding_box()["height"] >= 44  # WCAG 2.1, 2.5.5: 44 CSS pixels
    # The player leaves the page its room, also while a finding loops; how much is our choice.
    page.locator(".hear").first.click()
    page.locator("#unloop").wait_for()
    assert page.locator("#dock").bounding_box()["height"] <= 0.15 * height
    context.close()


@pytest.mark.parametrize(("machine", "outcome"), [("1", pytest.fail), ("", pytest.skip)])
def test_a_missing_browser_fails_where_everything_is_tested(machine, outcome, monkeypatch):
    monkeypatch.setenv("CI", machine)
    with pytest.raises(outcome.Exception, match="needs (a browser|the playwright)"):
        demand_browser(Path("no") / "browser")


def test_a_link_to_a_fold_opens_it(page):
    fold = page.locator("#aspect-tuning")
    assert fold.get_attribute("open") is None
    link = page.locator('.jump a[href="#aspect-tuning"]')
    for _ in range(2):  # also where the address is that already
        link.click()
        page.wait_for_function("document.getElementById('aspect-tuning').open")
        page.evaluate("document.getElementById('aspect-tuning').open = false")


def loop_of(page):
    """Both ends of the loop that is shown, in s."""
    loop = page.locator("#loop")
    if loop.is_hidden():
        return None
    left, width = loop.evaluate("(it) => [parseFloat(it.style.left), parseFloat(it.style.width)]")
    return pytest.approx(
        (LENGTH_S * left / 100, LENGTH_S * (left + width) / 100), abs=0.03 * LENGTH_S
    )


def test_a_loop_of_one_s_own_is_dragged_or_set_by_keys(page):
    page.locator("#timeline").evaluate(
        "(it) => it.scrollIntoView({block: 'center', behavior: 'instant'})"
    )
    track = page.locator("#timeline .overlay").bounding_box()
    timeline = page.locator("#timeline").bounding_box()
    height = timeline["y"] + 0.5 * timeline["height"]

    def at(seconds):
        return track["x"] + track["width"] * seconds / LENGTH_S

    page.mouse.move(at(12.0), height)
    page.mouse.down()
    page.mouse.move(at(6.0), height, steps=4)
    page.mouse.up()
    assert loop_of(page) == (6.0, 12.0)
    page.locator("#timeline").focus()
    page.keyboard.press("Escape")
    assert loop_of(page) is None
    page.mouse.click(at(4.0), height)  # a click is no loop
    assert loop_of(page) is None
    assert position(page) == pytest.approx(4.0, abs=0.2)
    page.keyboard.press("i")
    page.keyboard.press("PageUp")
    assert position(page) == pytest.approx(14.0, abs=0.2)
    page.keyboard.press("o")
    assert loop_of(page) == (4.0, 14.0)


def test_a_trial_hears_the_whole_sound(page):
    page.locator(".hear[data-band]").first.click()
    page.locator("#play", has_text="Pause").wait_for()
    band = page.locator("#band")
    assert band.get_attribute("aria-pressed") == "true"
    page.locator("#trial-start").click()
    assert band.get_attribute("aria-pressed") == "false"
    assert band.is_disabled()
    page.keyboard.press("b")
    assert band.get_attribute("aria-pressed") == "false"
    page.locator("#trial-start").click()
    assert not band.is_disabled()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_five_findings_print_on_four_pages_and_folds_stay_closed(browser, tmp_path, paper):
    results = made_up_results(length_s=48.0)
    known = results.findings
    five = tuple(replace(known[at % len(known)], rank=at + 1) for at in range(5))
    folder = writer.save(replace(results, findings=five), tmp_path / "report")
    page = browser.new_page()
    page.goto((folder / "report.html").as_uri())
    margins = dict.fromkeys(("top", "bottom", "left", "right"), "15mm")
    sheets = pypdf.PdfReader(io.BytesIO(page.pdf(format=paper, margin=margins))).pages
    assert len(sheets) <= 4
    # Letters without their ligatures, lines without their ends.
    text = unicodedata.normalize("NFKC", " ".join(sheet.extract_text() for sheet in sheets))
    told = "".join(text.split())
    for finding in five:
        assert "".join(in_print(finding.text).split()) in told
    assert "Everythingmeasured" in told
    assert "Settingsandversions" not in told
    page.close()
