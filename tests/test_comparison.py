"""The main job on the sample recordings, whose truth files say what was changed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import mixcompare
from mixcompare.alignment import align
from mixcompare.analyzers import ANALYZERS
from mixcompare.analyzers.base import Analyzer
from mixcompare.comparison import analyse
from mixcompare.features import Features
from mixcompare.match import Match
from mixcompare.recording import Recording
from mixcompare.timemap import TimeMap
from tests import samples, synthetic


@pytest.mark.parametrize("name", samples.CANDIDATES)
def test_the_change_that_was_made_comes_first(name: str) -> None:
    results = samples.compared("reference", name)
    changes = samples.truth(name)["differences"]
    kinds = {change["kind"]: change for change in changes}
    first = results.findings[0]
    assert first.kind in kinds, [finding.text for finding in results.findings]
    change = kinds[first.kind]
    expected = change.get("difference")
    if expected is None:
        return
    assert np.sign(first.difference) == np.sign(expected)
    if first.unit == "dB" and first.aspect == "balance":
        assert first.difference == pytest.approx(expected, abs=1.5)
    if first.kind == "notes_more_detached":
        assert first.difference == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize("name", samples.CANDIDATES)
def test_the_relation_is_right(name: str) -> None:
    assert samples.compared("reference", name).alignment.relation == samples.truth(name)["relation"]


def test_against_itself_nothing_sticks_out() -> None:
    results = samples.compared("reference", "reference")
    assert results.findings == ()
    assert results.verdict == "Nothing sticks out."
    assert results.level is not None
    assert results.level.gain_db == pytest.approx(0.0, abs=1e-6)


def test_against_itself_seven_decibels_down_nothing_sticks_out() -> None:
    whole = Recording.open(samples.path("reference"))
    quieter = Recording.from_array(
        whole.read(0, whole.duration_s) * 10 ** (-7 / 20), whole.sample_rate_hz
    )
    a, b = samples.features("reference"), Features.of(quieter)
    results = analyse(a, b, align(a, b))
    assert results.findings == ()
    assert results.level is not None
    assert results.level.gain_db == pytest.approx(-7.0, abs=0.01)


@pytest.mark.parametrize("name", ["candidate_figure_louder", "candidate_detached"])
def test_exchanging_the_recordings_mirrors_the_findings(name: str) -> None:
    there = samples.compared("reference", name).findings[0]
    back = samples.compared(name, "reference").findings[0]
    assert back.aspect == there.aspect
    assert np.sign(back.difference) == -np.sign(there.difference)
    low, high = back.interval
    assert low - 0.5 <= -there.difference <= high + 0.5


def test_one_take_never_blames_the_players() -> None:
    for name in ("candidate_figure_louder", "candidate_wetter"):
        for finding in samples.compared("reference", name).findings:
            assert finding.cause.players == 0


def test_arrays_and_spans() -> None:
    music = synthetic.play(3, bars=5)
    comparison = mixcompare.compare(
        (music, synthetic.RATE_HZ),
        (music, synthetic.RATE_HZ),
        reference_span_s=(1.0, 9.0),
        candidate_span_s=(1.0, 9.0),
    )
    assert comparison.findings == ()
    assert comparison.results.reference.span_s == (1.0, 9.0)
    assert "Nothing" in repr(comparison)


def test_other_music_is_said_and_nothing_compared() -> None:
    comparison = mixcompare.compare(
        (synthetic.play(3), synthetic.RATE_HZ), (synthetic.play(41), synthetic.RATE_HZ)
    )
    assert comparison.alignment.relation == "unrelated"
    assert comparison.findings == ()
    assert comparison.measurements == {}


def identity(features: Features) -> Match:
    return Match(TimeMap.linear(0.0, 1.0, 0.0, features.duration_s), same_take=True)


@pytest.mark.parametrize("analyzer", ANALYZERS, ids=lambda analyzer: analyzer.aspect)
def test_no_analyzer_reacts_to_identity_or_gain(analyzer: Analyzer) -> None:
    a = samples.features("reference")
    assert analyzer.findings(analyzer.compare(a, a, identity(a))) == []
    music = synthetic.play(7)
    first = Features.of(Recording.from_array(music, synthetic.RATE_HZ))
    second = Features.of(Recording.from_array(0.3 * music, synthetic.RATE_HZ))
    match = replace(identity(first), gain_db=20 * np.log10(0.3))
    assert analyzer.findings(analyzer.compare(first, second, match)) == []


def test_usable_band_of_a_low_pass_is_left_out_not_reported() -> None:
    from scipy import signal

    music = synthetic.play(7, brightness_db=3) + 0.003 * np.random.default_rng(0).standard_normal(
        (len(synthetic.play(7)), 2)
    )
    sos = signal.cheby2(12, 80, 4_000, fs=synthetic.RATE_HZ, output="sos")
    dull = signal.sosfilt(sos, music, axis=0)
    comparison = mixcompare.compare((music, synthetic.RATE_HZ), (dull, synthetic.RATE_HZ))
    assert comparison.results.candidate.usable_band_hz[1] < 4_600
    assert any("kHz" in warning for warning in comparison.warnings)
    for finding in comparison.findings:
        assert finding.band_hz is None or finding.band_hz[0] < 4_000
