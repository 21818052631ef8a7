"""The main job on the sample recordings, whose truth files say what was changed."""

from __future__ import annotations

import json
from dataclasses import fields, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import soundfile
import wavinfo

import mixcompare
from mixcompare.alignment import align
from mixcompare.alignment.result import UNRELATED, Alignment, Place
from mixcompare.alignment.timemap import TimeMap
from mixcompare.analysis import _placed, _verdict
from mixcompare.aspects import ANALYZERS, JUST_NOTICEABLE, tone
from mixcompare.aspects.base import Analyzer
from mixcompare.audio.recording import Recording
from mixcompare.comparison import Comparison, load
from mixcompare.errors import OutputError
from mixcompare.features import Features
from mixcompare.pair.match import Match
from mixcompare.pair.pair import Pair
from mixcompare.parts.values import Lead, PartLevel
from mixcompare.report import handout
from mixcompare.results import Results
from tests import samples, synthetic
from tests.by_hand import finding
from tests.told import nothing_unseen, told_of


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
    part = Recording.open(samples.path("reference"), (0.0, 12.0))
    music = part.read(0, part.duration_s)
    a, b = (
        Features.of(Recording.from_array(one, part.sample_rate_hz))
        for one in (music, music * 10 ** (-7 / 20))
    )
    results = told_of(a, b)
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
        for told in samples.compared("reference", name).findings:
            assert told.cause.players == 0


@nothing_unseen()
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


@pytest.fixture(scope="module")
def alike() -> tuple[Pair, Pair]:
    """A recording with itself, and one with the same turned down."""
    a = samples.features("reference")
    music = synthetic.play(7)
    first = Features.of(Recording.from_array(music, synthetic.RATE_HZ))
    second = Features.of(Recording.from_array(0.3 * music, synthetic.RATE_HZ))
    match = replace(identity(first), gain_db=20 * np.log10(0.3))
    return Pair(a, a, identity(a)), Pair(first, second, match)


@pytest.mark.parametrize("analyzer", ANALYZERS, ids=lambda analyzer: analyzer.aspect)
def test_no_analyzer_reacts_to_identity_or_gain(
    analyzer: Analyzer, alike: tuple[Pair, Pair]
) -> None:
    for pair in alike:
        assert analyzer.findings(analyzer.compare(pair), pair) == []


@nothing_unseen()
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
    for told in comparison.findings:
        assert told.band_hz is None or told.band_hz[0] < 4_000


def test_measurements_stand_on_their_own_sides() -> None:
    """The reference is tuned to 440 Hz, the candidate 12 cents higher: 443 Hz."""
    measured = samples.compared("reference", "candidate_other_performance").measurements["tuning"]
    assert measured.aspect == "tuning"
    assert measured.reference.a4_hz == pytest.approx(440.0, abs=0.64)  # half of 5 cents
    assert measured.candidate.a4_hz == pytest.approx(443.06, abs=0.64)


# --- verdicts and causes ------------------------------------------------------------------------


def test_verdict_sentences() -> None:
    figure = finding(5.84, subject="repeating high figure")
    tempo = finding(-5.63, aspect="tempo", subject="the tempo", unit="%")
    image = finding(0.3, aspect="placement", subject="the stereo image", unit="")
    line = finding(
        -0.384, aspect="articulation", subject="the leading line", unit="",
        noticeable=JUST_NOTICEABLE["articulation"],
    )  # fmt: skip
    assert _verdict(()) == "Nothing sticks out."
    assert _verdict((figure,)) == "One thing sticks out: the repeating high figure (+5.8 dB)."
    assert _verdict((tempo,)) == "One thing sticks out: the tempo (-5.6 %)."
    # A bare ratio says nothing to a person.
    assert _verdict((image,)) == "One thing sticks out: the stereo image."
    assert _verdict((line,)) == (
        "One thing sticks out: the leading line (-38 percentage points of the notes' length)."
    )
    assert _verdict((tempo, figure, image)) == (
        "Three things stick out, first of all: the tempo (-5.6 %)."
    )


@pytest.fixture(scope="module")
def played_twice() -> tuple[Features, Features, Alignment]:
    """The same passage, played twice, and how it lies."""
    played = (synthetic.play(3, performance=at, scatter_s=0.006) for at in (1, 2))
    first, second = (
        Features.of(Recording.from_array(one, synthetic.RATE_HZ, span_s=(1.0, 15.5)))
        for one in played
    )
    return first, second, align(first, second)


def verdict_of(pair: tuple[Features, Features, Alignment], **changed: Any) -> str:
    """What is said of a pair whose alignment says something else; one aspect is enough for it."""
    first, second, alignment = pair
    return told_of(first, second, replace(alignment, **changed), only=("tempo",)).verdict


@pytest.fixture(scope="module")
def sure(played_twice: tuple[Features, Features, Alignment]) -> str:
    """What is said where the relation is beyond doubt."""
    assert played_twice[2].confidence >= 0.9
    return verdict_of(played_twice)


@pytest.mark.parametrize(
    ("confidence", "begins"),
    [
        (
            0.7,
            "Probably, not surely, the same passage (right in about 70 of 100 such cases); if",
        ),
        (0.89, "Probably, not surely, the same passage (right in about 89 of"),
        (0.9, ""),
    ],
)
def test_the_verdict_holds_the_doubt_of_the_relation(
    played_twice: tuple[Features, Features, Alignment], sure: str, confidence: float, begins: str
) -> None:
    doubted = verdict_of(played_twice, confidence=confidence)
    assert doubted.startswith(begins)
    assert doubted.endswith(sure[1:])
    assert (doubted == sure) == (not begins)
    if begins:
        assert f"such cases); if it is, {sure[0].lower()}{sure[1:]}" in doubted


@pytest.mark.parametrize(
    ("confidence", "words"),
    [
        (0.68, "These are probably not two recordings of the same passage (right in about 68 of"),
        (0.95, "These are not two recordings of the same passage; nothing was compared."),
    ],
)
def test_that_they_are_not_related_is_told_with_its_doubt(
    played_twice: tuple[Features, Features, Alignment], confidence: float, words: str
) -> None:
    told = verdict_of(played_twice, relation=UNRELATED, confidence=confidence)
    assert told.startswith(words)


def test_which_of_several_places_was_compared_is_in_the_verdict(
    played_twice: tuple[Features, Features, Alignment],
) -> None:
    """On the file's clock, which the spans here read a second late."""
    places = tuple(
        Place("candidate", (0.0, 10.0), (at, at + 10.0), 0.9, 0.95, at > 50) for at in (4.0, 64.0)
    )
    verdict = verdict_of(played_twice, places=places)
    assert verdict.endswith(" The candidate has the passage twice; 1:05-1:15 was compared.")


def test_tone_is_told_without_what_the_elements_explain() -> None:
    results = samples.compared("reference", "candidate_figure_louder")
    balance = results.measurements["balance"]
    explained = np.array(balance.difference.explained_tone_db)
    # The figure is heard from 280 Hz to 3 kHz: there the louder one lifts the tone, not below.
    centre = np.array(balance.difference.band_centre_hz)
    assert explained.max() > 0.5
    assert np.abs(explained[:8]).max() < 0.1  # 20 to 100 Hz
    assert len(centre) > 0
    pair = Pair(
        samples.features("reference"),
        samples.features("candidate_figure_louder"),
        replace(identity(samples.features("reference")), gain_db=results.level.gain_db),
    )
    reason = "What single elements contribute is taken off before tone is judged."
    assert reason not in tone.analyzer.compare(pair).reasons
    pair.differences["balance"] = balance.difference
    assert reason in tone.analyzer.compare(pair).reasons
    assert reason in results.measurements["tone"].difference.reasons
    pair.differences["balance"] = replace(balance.difference, explained_tone_db=(0.0,) * 31)
    assert reason not in tone.analyzer.compare(pair).reasons


# --- both clocks --------------------------------------------------------------------------------


def test_candidate_spans_lie_on_the_candidates_clock() -> None:
    """A candidate at 1.06 times the length whose 0.5 s fall on the reference's 0."""
    time_map = TimeMap.linear(0.5, 1.06, 0.0, 30.0)
    told = _placed(finding(spans_s=((2.0, 4.0), (10.0, 20.0))), time_map)
    assert told.spans_s == ((2.0, 4.0), (10.0, 20.0))
    assert told.candidate_spans_s == (
        pytest.approx((2.62, 4.74)),
        pytest.approx((11.1, 21.7)),
    )


@pytest.fixture(scope="module")
def louder_figure() -> tuple[np.ndarray, np.ndarray]:
    """The figure is 8 dB louder in the candidate, and all is half a second later."""
    reference = synthetic.play(3, bars=8)
    louder = synthetic.play(3, bars=8, gains_db={"figure": 8.0})
    return reference, np.concatenate([np.zeros((synthetic.RATE_HZ // 2, 2)), louder])


def test_spans_of_files_are_compared_and_told_on_the_files_clocks(
    louder_figure: tuple[np.ndarray, np.ndarray], tmp_path: Path
) -> None:
    for name, music in zip(("a.wav", "b.wav"), louder_figure, strict=True):
        soundfile.write(tmp_path / name, music, synthetic.RATE_HZ, subtype="FLOAT")
    told: list[str] = []
    comparison = mixcompare.compare(
        tmp_path / "a.wav",
        str(tmp_path / "b.wav"),
        reference_span_s=(2.0, 15.0),
        candidate_span_s=(1.0, 16.0),
        progress=told.append,
    )
    assert comparison.alignment.relation == "same_take"
    # 2 s of the reference are 2.5 s of the candidate, 1.5 s after its span's start.
    assert comparison.alignment.offset_s == pytest.approx(1.5, abs=1e-4)
    (head,) = comparison.alignment.events
    assert head.kind == "head"
    assert head.candidate_s == pytest.approx((0.0, 1.5), abs=1e-3)
    assert head.text == "The first 1.5 s of the candidate have no counterpart."
    assert head.text in comparison.warnings
    (figure,) = comparison.findings
    assert figure.kind == "repeating_figure_louder"
    assert figure.difference == pytest.approx(8.0, abs=0.5)
    assert figure.spans_s == (pytest.approx((0.0, 13.0), abs=0.5),)
    assert np.subtract(figure.candidate_spans_s, figure.spans_s) == pytest.approx(1.5, abs=1e-3)
    on_files = comparison.results.on_file_clocks()
    assert on_files.findings[0].spans_s == (pytest.approx((2.0, 15.0), abs=0.5),)
    assert np.subtract(
        on_files.findings[0].candidate_spans_s, on_files.findings[0].spans_s
    ) == pytest.approx(0.5, abs=1e-3)
    assert on_files.alignment.offset_s == pytest.approx(0.5, abs=1e-4)
    reference, candidate = comparison.results.reference, comparison.results.candidate
    assert (reference.path, candidate.path) == (str(tmp_path / "a.wav"), str(tmp_path / "b.wav"))
    assert (reference.span_s, candidate.span_s) == ((2.0, 15.0), (1.0, 16.0))
    assert (reference.duration_s, candidate.duration_s) == pytest.approx((13.0, 15.0))
    settings = dict(comparison.results.settings)
    assert "numpy" in settings.pop("libraries")
    assert settings == {
        "reference_span": "2 to 15 s",
        "candidate_span": "1 to 16 s",
        "time_map": "found",
        "score": "none",
        "stems": "none",
        "reference_stems": "none",
    }
    assert told[:3] == [
        "reading both recordings",
        "laying the candidate over the reference",
        "matching the level",
    ]
    assert told[3:-1] == [f"comparing {analyzer.aspect}" for analyzer in ANALYZERS]
    assert told[-1] == "asking what could not have been found"
    assert list(comparison.measurements) == [analyzer.aspect for analyzer in ANALYZERS]


@nothing_unseen()
def test_slower_candidate_is_told_on_both_clocks_with_the_users_own_map() -> None:
    reference = synthetic.play(3, performance=1, scatter_s=0.004)
    candidate = synthetic.play(3, performance=2, scatter_s=0.004, beat_s=0.6 * 1.06)
    own = TimeMap.linear(0.3 - 0.3 * 1.06, 1.06, 0.3, 14.7)
    comparison = mixcompare.compare(
        (reference, synthetic.RATE_HZ), (candidate, synthetic.RATE_HZ), time_map=own
    )
    assert comparison.alignment.time_map is own
    assert comparison.alignment.tempo_ratio == pytest.approx(1.06)
    assert comparison.alignment.offset_s == pytest.approx(-0.018)
    (tempo,) = comparison.findings
    assert tempo.kind == "slower"
    assert tempo.difference == pytest.approx(100 * (1 / 1.06 - 1), abs=0.01)
    assert tempo.spans_s == (pytest.approx((0.3, 14.7)),)
    assert tempo.candidate_spans_s == (pytest.approx((0.3, 15.564)),)
    assert comparison.results.settings["time_map"] == "given by the user"
    assert comparison.results.settings["reference_span"] == "whole recording"
    assert "The time map was given by the user." in comparison.warnings


# --- what a person sees -------------------------------------------------------------------------


def shown(*findings: Any, verdict: str = "One thing.") -> str:
    results: Any = SimpleNamespace(findings=findings, verdict=verdict)
    recording: Any = None
    return Comparison(results, recording, recording)._repr_html_()


@pytest.mark.usefixtures("no_figures")
def test_findings_name_the_bars_of_a_score(tmp_path: Path) -> None:
    # sample_audio/README.md: the figure that was made louder runs in bars 2-5 and 7-8; those who
    # play it hold the last chord, in bar 9, as well.
    comparison = samples.scored("candidate_figure_louder", "score.musicxml")
    assert comparison.warnings == samples.compared("reference", "candidate_figure_louder").warnings
    figure = comparison.findings[0]
    assert figure.bars == ((2, 5), (7, 9))
    assert "(bars 2-5 and 7-9)" in comparison._repr_html_()
    assert comparison.to_dict()["findings"][0]["bars"] == [[2, 5], [7, 9]]
    comparison.results = with_markup(comparison.results, "Violins")
    page = (comparison.save(tmp_path / "out", audio=False) / "report.html").read_text("utf-8")
    assert "bars 2\N{EN DASH}5 and 7\N{EN DASH}9" in page
    assert "&lt;b&gt;Violins&lt;/b&gt;" in page
    assert "<b>Violins" not in page
    without = samples.compared("reference", "candidate_figure_louder")
    assert without.findings[0].bars is None


def with_markup(results: Results, name: str) -> Results:
    """Results whose score names a part in bold letters."""

    def marked(value: Any) -> Any:
        if isinstance(value, str):
            return value.replace(name, f"<b>{name}</b>")
        if isinstance(value, tuple):
            return tuple(map(marked, value))
        if isinstance(value, (PartLevel, Lead)):
            named = {item.name: marked(getattr(value, item.name)) for item in fields(value)}
            return replace(value, **named)
        return value

    balance = results.measurements["balance"]
    told = balance.difference
    told = replace(told, parts=marked(told.parts), leads=marked(told.leads))
    measurements = {**results.measurements, "balance": replace(balance, difference=told)}
    return replace(results, measurements=measurements)


def test_table_in_a_notebook() -> None:
    told = finding(
        5.84,
        rank=1,
        interval=(5.03, 7.29),
        spans_s=((3.5, 15.4), (18.5, 24.5)),
        text="Further forward.",
    )
    assert shown(told) == (
        "<p><strong>One thing.</strong></p><table><tr><th></th><th>what</th><th>size</th>"
        "<th>95 %</th><th>where</th><th>cause</th><th></th></tr>"
        "<tr><td>1</td><td>middle register</td><td>+5.8 dB</td><td>+5.0 to +7.3</td>"
        "<td>0:04-0:15 and 0:18-0:24</td><td>likely mix</td><td>Further forward.</td></tr></table>"
    )
    assert shown(verdict="Nothing sticks out.") == ("<p><strong>Nothing sticks out.</strong></p>")


def test_names_in_a_notebook_are_no_markup() -> None:
    page = shown(finding(subject="<b>flute", text="a & <i>b"), verdict="<script>")
    assert "<b>" not in page
    assert "<i>" not in page
    assert "<script>" not in page
    assert "&lt;b&gt;flute" in page
    assert "a &amp; &lt;i&gt;b" in page
    assert "&lt;script&gt;" in page


def test_load_takes_recordings_arrays_and_files(tmp_path: Path) -> None:
    music = synthetic.play(3, bars=2)
    soundfile.write(tmp_path / "a.wav", music, synthetic.RATE_HZ)
    opened = load(tmp_path / "a.wav", (1.0, 4.0))
    assert (opened.span_s, opened.name) == ((1.0, 4.0), str(tmp_path / "a.wav"))
    array = load((music, synthetic.RATE_HZ), (1.0, 4.0), name="mine")
    assert (array.span_s, array.name, array.sample_rate_hz) == ((1.0, 4.0), "mine", 24_000)
    assert load(opened) is opened


def test_a_handout_is_written_and_stays_away_from_files_of_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = samples.comparison("reference", "candidate_figure_louder")
    sheet = found.handout(tmp_path / "sheet.pdf")
    drawn = sheet.read_bytes()
    assert drawn.startswith(b"%PDF")
    monkeypatch.setattr(handout, "handout_pdf", lambda results: drawn)  # once is enough
    assert found.handout(sheet) == sheet  # a former one of ours
    foreign = tmp_path / "foreign.pdf"
    foreign.write_bytes(b"%PDF of others")
    with pytest.raises(OutputError, match="was not written by mixcompare"):
        found.handout(foreign)
    assert foreign.read_bytes() == b"%PDF of others"


@pytest.mark.usefixtures("no_figures")
def test_markers_on_request_alone(tmp_path: Path) -> None:
    found = samples.comparison("reference", "candidate_figure_louder")
    folder = found.save(tmp_path / "report", audio=False, markers=True)
    copy = folder / "listening" / "candidate_marked.wav"
    (element,) = found.findings
    cues = wavinfo.WavInfoReader(str(copy)).cues
    rate_hz = found.candidate.sample_rate_hz
    assert [cue.sample_offset / rate_hz for cue in cues.cues] == pytest.approx(
        [start for start, _ in element.candidate_spans_s], abs=1e-3
    )
    assert "listening/candidate_marked.wav" in found_files(folder)
    again = found.save(tmp_path / "report", audio=False)
    assert not (again / "listening").exists()


def found_files(folder: Path) -> list[str]:
    listed: list[str] = json.loads((folder / "report.json").read_text("utf-8"))["files"]
    return listed
