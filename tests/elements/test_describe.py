"""What an element is called, on made-up spectrograms."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.elements.describe import active_spans, attack_rhythm, describe, motif_notes
from mixcompare.pair.spectra import RATE_HZ, PairSpectra
from mixcompare.standards.iec61260 import pitch_hz
from tests.elements.voices import CENTRE_HZ, DURATION_S, TIMES_S, VOICES, figure, voice


def test_a_stray_moment_is_no_stretch() -> None:
    level = np.zeros(400)
    level[100:250] = 1.0
    level[340:356] = 0.05
    assert len(active_spans(level, np.arange(400) / RATE_HZ)) == 1


@pytest.mark.parametrize("pattern", [[72, 76, 79], [72, 79, 76, 84], [72, 74, 79, 72, 81, 76, 84]])
def test_length_of_a_motif(pattern: list[int]) -> None:
    cells = figure(pattern)
    found = describe(cells.reference, cells)
    assert found.kind in ("repeating_figure", "leading_line")
    spans = ((0.0, DURATION_S),)
    assert motif_notes(cells.reference, cells, 4.0, spans) == len(pattern)


def test_notes_without_a_pattern_have_no_motif() -> None:
    pitches = np.random.default_rng(1).integers(60, 85, 200).tolist()
    cells = figure(pitches)
    assert motif_notes(cells.reference, cells, 4.0, ((0.0, DURATION_S),)) is None


@pytest.mark.parametrize("notes_per_s", [2.5, 4.0, 5.0])
def test_rate_of_a_figure(notes_per_s: float) -> None:
    # 2 %: the just-noticeable difference of tempo (Drake and Botte 1993: 1.5 to 3 %).
    cells = figure([72, 76, 79, 74], notes_per_s)
    rate, evenness = attack_rhythm(cells.reference, TIMES_S, ((0.0, DURATION_S),))
    assert rate == pytest.approx(notes_per_s, rel=0.02)
    assert evenness > 0.5


def test_what_is_known_to_repeat_is_a_figure_whose_rate_may_be_unknown() -> None:
    pitches = np.random.default_rng(2).integers(76, 92, 200).tolist()
    even = figure(pitches, 5.0)
    assert describe(even.reference, even, repeats=True).kind == "repeating_figure"
    slow = voice("melody")
    cells = PairSpectra(TIMES_S, CENTRE_HZ, slow, slow)
    assert describe(slow, cells).kind == "leading_line"
    told = describe(slow, cells, repeats=True)
    assert told.kind == "repeating_figure"
    assert told.subject == "repeating high figure"
    assert told.notes_per_s is None
    assert told.motif_notes is None


def test_a_figure_is_named_with_its_rate_band_and_spans() -> None:
    own = figure([76, 79, 84, 81], 5.0).reference
    own[TIMES_S < 4] = 1e-9
    pad = sum(0.3 * voice(name) for name in ("tenor", "bass", "melody"))
    cells = PairSpectra(TIMES_S, CENTRE_HZ, own + pad, own + pad)
    found = describe(own, cells)
    assert found.kind == "repeating_figure"
    assert found.notes_per_s == pytest.approx(5.0, rel=0.02)
    assert found.motif_notes == 4
    assert found.subject == f"repeating high figure, {found.notes_per_s:.1f} notes a second"
    ((start_s, end_s),) = found.spans_s
    assert start_s == pytest.approx(4, abs=0.3)
    assert end_s == pytest.approx(DURATION_S, abs=0.3)
    # Fundamentals from 659 Hz; partials 12 semitones and more above lie 6 dB and more below.
    low, high = pitch_hz([76 - 0.5, 0])[0], pitch_hz([84 + 24 + 0.5, 0])[0]
    assert found.band_hz[0] == pytest.approx(low, rel=0.01)
    assert pitch_hz([84, 0])[0] < found.band_hz[1] <= high


def test_kinds_by_what_they_are() -> None:
    rng = np.random.default_rng(5)
    all_voices = sum(voice(name) for name in VOICES)
    beats = (TIMES_S % 1.7 < 0.3)[:, None]
    drum = beats * np.where(CENTRE_HZ < 200, 1.0, 0.0) * rng.chisquare(2, all_voices.shape)
    hiss = beats * np.where(CENTRE_HZ > 2000, 1.0, 0.0) * rng.chisquare(40, all_voices.shape) / 20
    for own, kind, subject in (
        (voice("melody"), "leading_line", "leading line"),
        (voice("bass"), "bass", "bass line"),
        (drum, "percussion", "low drums"),
        (hiss, "percussion", "high percussion"),
    ):
        whole = all_voices + (own if kind == "percussion" else 0)
        found = describe(own, PairSpectra(TIMES_S, CENTRE_HZ, whole, whole))
        assert (found.kind, found.subject) == (kind, subject)
        assert found.notes_per_s is None
    # Whoever carries the lowest pitches is the bass, however high they lie.
    without = all_voices - voice("bass")
    found = describe(voice("tenor"), PairSpectra(TIMES_S, CENTRE_HZ, without, without))
    assert found.kind == "bass"
    assert np.sqrt(found.band_hz[0] * found.band_hz[1]) > 160
    middle = 0.5 * (voice("middle") + voice("tenor"))
    found = describe(middle, PairSpectra(TIMES_S, CENTRE_HZ, all_voices, all_voices))
    assert found.kind == "register"
    assert found.subject.startswith("middle register, ")
