"""One note in both recordings: what is heard, where, how fast, at what pitch."""

from dataclasses import replace

import numpy as np
import pytest

from mixcompare.report.notes import notes_of
from tests.report.builders import made_up_results
from tests.report.test_browser import browser, heard_out, home, page, places, recorded

__all__ = ["browser", "home", "page", "recorded"]

pytestmark = pytest.mark.browser


# What is said while a note plays lasts as long as the note: a busy driver would miss it.
TOLD = """
() => {
  const now = document.getElementById("note-now");
  window.told = [];
  new MutationObserver(() => window.told.push(now.textContent)).observe(now, {
    childList: true, characterData: true, subtree: true });
}
"""


def runs(place, rate):
    """Stretches of sound, as (first, last) sample, without those shorter than 50 ms."""
    heard = np.concatenate([[0], np.isfinite(place).astype(int), [0]])
    firsts, lasts = np.flatnonzero(np.diff(heard) > 0), np.flatnonzero(np.diff(heard) < 0)
    return [
        (first, last) for first, last in zip(firsts, lasts, strict=True) if last - first > rate / 20
    ]


def hear(page, note):
    """Play one note to its end; the places that were heard in each recording."""
    page.locator("#note-list").select_option(str(note))
    page.evaluate(TOLD)
    page.locator("#note-hear").click()
    page.wait_for_function("['reference', 'candidate'].every((one) => window.told.includes(one))")
    page.locator("#note-hear", has_text="Hear the reference").wait_for()
    samples, rate = heard_out(page)
    place = places(samples, rate)
    found = runs(place, rate)
    assert len(found) == 2
    return [place[first:last] for first, last in found], rate


def middle(places, rate):
    """Place and pace in the middle of a stretch, from the pitch of the gliding tone."""
    inner = places[len(places) // 4 : -len(places) // 4]
    pace, start = np.polyfit(np.arange(len(inner)) / rate, inner, 1)
    return start + pace * len(inner) / rate / 2, pace


@pytest.mark.parametrize("slow", [False, True])
def test_a_note_is_heard_in_both_recordings_at_its_place(recorded, results, slow):
    page = recorded
    page.locator("#aspect-articulation").scroll_into_view_if_needed()
    page.locator("#note-slow").set_checked(slow)
    difference = results.measurements["articulation"].difference
    start, end = difference.note_s[8:10]
    both, rate = hear(page, 8)
    for stretch in both:
        place, pace = middle(stretch, rate)
        # The pitch tells the place, whatever the speed: it stayed as it was.
        assert place == pytest.approx((start - 0.08 + end) / 2, abs=0.08)
        assert pace == pytest.approx(0.5 if slow else 1.0, rel=0.2)
    lengths_s = [len(stretch) / rate for stretch in both]
    # The candidate takes 1.04 of the time, and swings about that.
    wanted = (end - start + 0.08) * np.array([1.0, 1.04]) * (2 if slow else 1)
    assert lengths_s == pytest.approx(wanted, rel=0.15, abs=0.08)


def test_the_figure_plays_the_note_it_draws_and_the_panel_stops_it(page):
    page.locator("#aspect-articulation").scroll_into_view_if_needed()
    drawn = page.evaluate("JSON.parse(document.getElementById('comparison').textContent).drawn")
    assert drawn
    assert min(drawn) >= 0
    page.locator("#note-slow").check()
    page.locator("#articulation-note-1").click()
    page.locator("#note-now", has_text="reference").wait_for()
    assert page.locator("#note-list").input_value() == str(drawn[1])
    page.locator("#play").click()
    page.locator("#play", has_text="Pause").wait_for()
    assert page.locator("#note-now").text_content() == ""
    page.locator("#note-hear").click()
    page.locator("#note-now", has_text="reference").wait_for()
    assert page.locator("#play").text_content() == "Play"


def test_notes_are_those_whose_sound_the_page_holds():
    results = made_up_results()
    assert notes_of(results, ()) is None
    measured = results.measurements["articulation"]
    wide = np.cumsum([0.5, 1.0, 3.0, 1.0, 4.0, 0.7] * 4)  # rests between some of them
    difference = replace(measured.difference, note_s=tuple(wide.tolist()))
    results = replace(
        results,
        measurements={
            **results.measurements,
            "articulation": replace(measured, difference=difference),
        },
    )

    class Voice:
        span_s = (difference.note_s[3] - 0.01, difference.note_s[5] + 0.5)

    held = notes_of(results, ({"reference": Voice},))
    starts = [note.span_s[0] for note in held.heard]
    assert starts == pytest.approx(difference.note_s[3:6])
    ends = [note.span_s[1] for note in held.heard]
    # Until the next one, for two seconds at most, and no longer than there is sound.
    assert ends == pytest.approx([wide[3] + 2.0, wide[5], wide[5] + 0.5])
    ratios = (difference.note_reference_ratio[3], difference.note_candidate_ratio[3])
    shares = " against ".join(f"{100 * ratio:.0f} %" for ratio in ratios)
    assert held.heard[0].words.endswith(f"G4: {shares}")
    bare = replace(difference, note_s=(), note_pitch=(), examples=())
    measured = replace(results.measurements["articulation"], difference=bare)
    without = replace(results, measurements={**results.measurements, "articulation": measured})
    assert notes_of(without, ({"reference": Voice},)) is None
