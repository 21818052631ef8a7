"""Width: what it measures, what it recovers, what it must not react to."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

import mixcompare
from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects import width
from mixcompare.aspects.width.values import WidthDifference
from mixcompare.features import Features
from mixcompare.pair.match import Match
from mixcompare.pair.thirds import CENTRES_HZ, NOTHING
from tests import operations
from tests.aspects import stereo_music
from tests.aspects.stereo_music import features_of, filtered, music, same_clock, with_side
from tests.pair.test_diffuse import RATE_HZ, narrow
from tests.pairs import Remembering, pair_of
from tests.told import nothing_unseen

analyzer = Remembering(width.analyzer)

FloatArray = npt.NDArray[np.float64]


@pytest.fixture(scope="module")
def reference() -> Features:
    return stereo_music.features()


@pytest.fixture(scope="module")
def narrower() -> Features:
    return features_of(with_side(music(), 0.4))


def noise(correlation: float) -> FloatArray:
    """Four seconds of two channels of equal level with that correlation."""
    one, two = np.random.default_rng(4).standard_normal((2, 4 * 44_100))
    return 0.1 * np.column_stack([one, correlation * one + np.sqrt(1 - correlation**2) * two])


@pytest.mark.parametrize(
    ("correlation", "ratio_db"),
    [(0.0, 0.0), (0.1, -0.87), (0.25, -2.22), (0.5, -4.77), (0.75, -8.45), (0.9, -12.79)],
)
def test_noise_of_known_correlation(correlation: float, ratio_db: float) -> None:
    # Side to mid power = (1 - c) / (1 + c) for equal channels: follows from the definitions.
    measured = analyzer.measure(features_of(noise(correlation), 44_100))
    assert measured.correlation == pytest.approx(correlation, abs=0.02)
    assert measured.side_to_mid_db == pytest.approx(ratio_db, abs=0.2)
    loss = 10 * np.log10(2 / (1 + correlation))
    assert measured.mono_fold_down_loss_db == pytest.approx(loss, abs=0.1)


@pytest.mark.parametrize(("level_db", "ratio_db"), [(3, -15.3), (6, -9.6), (10, -5.7), (20, -1.7)])
def test_one_panned_source(level_db: float, ratio_db: float) -> None:
    # One source in both channels is fully correlated, however far it is panned.
    wave = noise(0.0)[:, 0]
    measured = analyzer.measure(
        features_of(np.column_stack([wave, 10 ** (-level_db / 20) * wave]), 44_100)
    )
    assert measured.correlation == pytest.approx(1.0, abs=0.001)
    assert measured.side_to_mid_db == pytest.approx(ratio_db, abs=0.1)


def test_one_channel_alone_has_no_correlation() -> None:
    measured = analyzer.measure(features_of(noise(0.0) * [1, 0], 44_100))
    assert measured.correlation is None
    assert measured.side_to_mid_db == pytest.approx(0, abs=0.01)
    assert "silent" in measured.reasons[0]


def test_mono_has_no_width(reference: Features) -> None:
    mono = features_of(music().mean(axis=1))
    measured = analyzer.measure(mono)
    assert measured.side_to_mid_db is None
    assert measured.band_correlation == (None,) * 31
    difference = analyzer.compare(mono, mono, same_clock(mono))
    assert difference.side_to_mid_db is None
    assert analyzer.findings(difference) == []


@pytest.mark.parametrize("gain", [1.0, 0.5, 1.7])
def test_identical_and_gain_only(reference: Features, gain: float) -> None:
    difference = analyzer.compare(reference, stereo_music.scaled(gain), same_clock(reference))
    assert difference.side_to_mid_db == pytest.approx(0, abs=0.01)
    assert difference.correlation == pytest.approx(0, abs=0.002)
    assert analyzer.findings(difference) == []


@pytest.mark.parametrize(("gain", "kind"), [(0.4, "narrower"), (1.8, "wider")])
def test_scaled_side_comes_back(reference: Features, gain: float, kind: str) -> None:
    candidate = features_of(0.8 * with_side(music(), gain))
    difference = analyzer.compare(reference, candidate, same_clock(reference))
    expected = 20 * np.log10(gain)
    assert difference.side_to_mid_db == pytest.approx(expected, abs=0.3)
    bands = [value for value in difference.band_side_to_mid_db if value is not None]
    assert len(bands) > 20
    assert np.median(bands) == pytest.approx(expected, abs=0.3)
    (finding,) = analyzer.findings(difference)
    assert finding.kind == kind
    assert finding.jnd == pytest.approx(abs(expected) / 1.5, rel=0.1)
    assert finding.cause.likeliest == "mix"


def test_mirror(reference: Features, narrower: Features) -> None:
    match = same_clock(reference)
    there = analyzer.compare(reference, narrower, match)
    back = analyzer.compare(narrower, reference, match.mirrored())
    assert there.side_to_mid_db is not None
    assert back.side_to_mid_db == pytest.approx(-there.side_to_mid_db, abs=0.02)
    assert [finding.kind for finding in analyzer.findings(there)] == ["narrower"]
    assert [finding.kind for finding in analyzer.findings(back)] == ["wider"]


def test_exchanged_channels_and_tone_change_nothing(reference: Features) -> None:
    for candidate in (music()[:, ::-1], filtered(music(), ("bell", 500.0, 6.0, 1.0))):
        difference = analyzer.compare(reference, features_of(candidate), same_clock(reference))
        # A bell weighs the voices anew; each band stays as wide as it was.
        assert difference.side_to_mid_db == pytest.approx(0, abs=1.0)
        bands = [value for value in difference.band_side_to_mid_db if value is not None]
        assert np.median(np.abs(bands)) < 0.1
        assert analyzer.findings(difference) == []


def test_inverted_channel(reference: Features) -> None:
    inverted = features_of(music() * [1, -1])
    there = analyzer.compare(reference, inverted, same_clock(reference))
    (finding,) = analyzer.findings(there)
    assert finding.kind == "polarity_inverted"
    assert "In the candidate" in finding.text
    (finding,) = analyzer.findings(analyzer.compare(inverted, reference, same_clock(reference)))
    assert "In the reference" in finding.text
    assert "candidate" in finding.text


def test_collapse_to_mono(reference: Features) -> None:
    mono = features_of(music().mean(axis=1))
    difference = analyzer.compare(reference, mono, same_clock(reference))
    assert difference.side_to_mid_db is None
    (finding,) = analyzer.findings(difference)
    assert finding.kind == "narrower"
    assert "mono" in finding.text


def test_change_in_decays_alone_is_the_room() -> None:
    # Loud bursts a little to one side; the quiet tails between them differ between the channels
    # in the candidate alone.
    rng = np.random.default_rng(6)
    time_s = np.arange(12 * stereo_music.RATE_HZ) / stereo_music.RATE_HZ
    burst = rng.standard_normal(len(time_s)) * (time_s % 1.0 < 0.5)
    tail, other_tail = 0.1 * rng.standard_normal((2, len(time_s)))
    direct = burst[:, None] * [0.7, 0.3]
    reference = features_of(0.2 * (direct + tail[:, None] * [0.55, 0.45]))
    candidate = features_of(0.2 * (direct + np.column_stack([tail, other_tail]) / 2))
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, 12.0))
    difference = analyzer.compare(reference, candidate, match)
    assert difference.side_to_mid_decay_db is not None
    assert difference.side_to_mid_direct_db is not None
    assert difference.side_to_mid_decay_db > difference.side_to_mid_direct_db + 3


def test_too_short(reference: Features) -> None:
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, 2.0), same_take=True)
    difference = analyzer.compare(reference, reference, match)
    assert difference.side_to_mid_db is None
    assert "too short" in difference.reasons[0]


# --- every reported field, both directions ------------------------------------------------------


def with_ratio(total: npt.ArrayLike, ratio_db: npt.ArrayLike) -> Features:
    """Cells of channels of equal level whose side to mid ratio is given.

    Mid and side power are (T + 2C) / 4 and (T - 2C) / 4 for the channels' sum T and their cross
    power C.
    """
    ratio = 10 ** (np.asarray(ratio_db) / 10)
    half = np.asarray(total, np.float64) / 2
    return stereo_music.cells(half, half, half * (1 - ratio) / (1 + ratio))


def told(values: tuple[float | None, ...]) -> FloatArray:
    return np.array([np.nan if value is None else value for value in values])


def test_bands_have_a_width_of_their_own() -> None:
    # Below 1 kHz a correlation of 0.9, above of -0.2, and the right channel 6 dB softer.
    one, two = np.random.default_rng(11).standard_normal((2, 6 * 44_100))
    low, high = (
        signal.sosfiltfilt(
            signal.butter(8, 1000, kind, fs=44_100, output="sos"),
            np.column_stack([one, c * one + np.sqrt(1 - c**2) * two]),
            axis=0,
        )
        for kind, c in (("low", 0.9), ("high", -0.2))
    )
    measured = analyzer.measure(features_of(0.1 * (low + high) * [1, 0.5], 44_100))
    correlation, ratio = told(measured.band_correlation), told(measured.band_side_to_mid_db)
    assert correlation[8:16] == pytest.approx(0.9, abs=0.05)
    assert correlation[19:29] == pytest.approx(-0.2, abs=0.05)
    # (1 + g^2 - 2 c g) / (1 + g^2 + 2 c g) for a right channel g times as loud.
    assert ratio[8:16] == pytest.approx(10 * np.log10(0.35 / 2.15), abs=0.75)
    assert ratio[19:29] == pytest.approx(10 * np.log10(1.45 / 1.05), abs=0.75)
    assert measured.band_centre_hz[17] == pytest.approx(1000.0)


@pytest.mark.parametrize(("before", "after"), [(0.3, 0.6), (0.6, 0.3)])
@pytest.mark.parametrize("same_take", [True, False])
def test_a_known_change_of_correlation_in_every_field(
    before: float, after: float, same_take: bool
) -> None:
    def made(correlation: float, seed: int) -> Features:
        one, two = np.random.default_rng(seed).standard_normal((2, 12 * stereo_music.RATE_HZ))
        other = correlation * one + np.sqrt(1 - correlation**2) * two
        return features_of(0.1 * np.column_stack([one, other]))

    reference, candidate = made(before, 21), made(after, 21 if same_take else 22)
    difference = analyzer.compare(reference, candidate, same_clock(reference, 0.0, same_take))
    ratio_db = 10 * np.log10((1 - after) / (1 + after) * (1 + before) / (1 - before))
    loss_db = 10 * np.log10((1 + before) / (1 + after))
    assert difference.side_to_mid_db == pytest.approx(ratio_db, abs=0.2)
    assert difference.correlation == pytest.approx(after - before, abs=0.02)
    assert difference.mono_fold_down_loss_db == pytest.approx(loss_db, abs=0.05)
    assert told(difference.band_side_to_mid_db)[8:29] == pytest.approx(ratio_db, abs=0.75)
    assert told(difference.band_correlation)[8:29] == pytest.approx(after - before, abs=0.1)
    assert difference.low_correlation == pytest.approx((before, after), abs=0.05)
    assert difference.agreeing_share == pytest.approx(1.0, abs=0.02)
    assert difference.side_to_mid_direct_db == pytest.approx(ratio_db, abs=0.3)
    assert difference.side_to_mid_decay_db is None  # noise never dies away
    for around, value, widest in (
        (difference.side_to_mid_db_interval, difference.side_to_mid_db, 1.0),
        (difference.correlation_interval, difference.correlation, 0.1),
    ):
        assert around is not None
        assert value is not None
        assert around[0] < value < around[1]
        assert around[1] - around[0] < widest


@pytest.mark.parametrize("direction", [1, -1])
@pytest.mark.parametrize(("loud_s", "rest_s"), [(0.5, 0.5), (0.6, 0.0)])
def test_direct_and_decaying_moments_are_told_apart(
    loud_s: float, rest_s: float, direction: int
) -> None:
    # Loud with 1 dB more side; for the second after it 10 dB softer, with 6 dB more; then soft
    # for a while, which is no decay any more, with 1 dB again.
    phase = np.arange(stereo_music.FRAMES)[:, None] / 25 % (loud_s + 1.0 + rest_s)
    total = np.where(phase < loud_s, 1e-3, 1e-4)
    decays = (phase >= loud_s) & (phase < loud_s + 1.0)
    narrow, wide = with_ratio(total, -10.0), with_ratio(total, np.where(decays, -4.0, -9.0))
    pair = (narrow, wide) if direction > 0 else (wide, narrow)
    difference = analyzer.compare(*pair, same_clock(narrow))
    assert difference.side_to_mid_direct_db == pytest.approx(direction * 1.0, abs=0.5)
    assert difference.side_to_mid_decay_db == pytest.approx(direction * 6.0, abs=0.5)


@pytest.mark.parametrize(("changed", "found"), [(18, False), (19, True)])
@pytest.mark.parametrize("ratio_db", [-4.0, -16.0])
def test_three_fifths_of_the_bands_must_agree(changed: int, found: bool, ratio_db: float) -> None:
    # All bands are equally strong, so the share is that of their number: 18 / 31 = 0.58.
    reference = with_ratio(1e-3, -10.0)
    candidate = with_ratio(1e-3, np.where(np.arange(31) < changed, ratio_db, -10.0))
    difference = analyzer.compare(reference, candidate, same_clock(reference))
    assert difference.agreeing_share == pytest.approx(changed / 31, abs=1e-3)
    assert told(difference.band_side_to_mid_db)[: changed - 1] == pytest.approx(
        ratio_db + 10, abs=0.01
    )
    assert bool(analyzer.findings(difference)) is found


def test_values_are_read_where_the_map_says() -> None:
    # The image widens steadily in both, and by 2 dB more in the candidate.
    here, there = stereo_music.clocks()
    reference = with_ratio(1e-3, -14 + here * np.ones(31))
    candidate = with_ratio(1e-3, -12 + there * np.ones(31))
    difference = analyzer.compare(reference, candidate, stereo_music.slower())
    assert difference.side_to_mid_db == pytest.approx(2, abs=0.05)
    assert difference.side_to_mid_db_interval == pytest.approx((2, 2), abs=0.1)
    assert difference.side_to_mid_direct_db == pytest.approx(2, abs=0.05)


def stated(**changes: object) -> WidthDifference:
    """A difference with made-up numbers."""
    values: dict[str, object] = {
        "side_to_mid_db": 3.0, "side_to_mid_db_interval": (2.5, 3.5), "correlation": -0.2,
        "correlation_interval": (-0.25, -0.15), "mono_fold_down_loss_db": 0.5,
        "band_centre_hz": CENTRES_HZ, "band_side_to_mid_db": NOTHING,
        "band_side_to_mid_db_interval": NOTHING, "band_correlation": NOTHING,
        "side_to_mid_direct_db": 3.0, "side_to_mid_decay_db": 3.0, "agreeing_share": 0.9,
        "low_correlation": (0.5, 0.4), "whole_correlation": (0.5, 0.3),
    }  # fmt: skip
    same_take = bool(changes.pop("same_take", True))
    difference = WidthDifference(**(values | changes))  # type: ignore[arg-type]
    return analyzer.stated(difference, same_take)


def test_wider_and_narrower_in_words() -> None:
    (wider,) = analyzer.findings(stated())
    assert (wider.kind, wider.subject, wider.unit) == ("wider", "the stereo image", "dB")
    assert (wider.difference, wider.interval, wider.band_hz) == (3.0, (2.5, 3.5), None)
    # 3 / 1.5, of whose square (0.5 / 1.96 / 3)^2 is uncertainty.
    assert wider.jnd == pytest.approx(2 * (1 - (0.5 / 1.96 / 3) ** 2), abs=1e-9)
    assert wider.confidence > 0.9
    assert wider.spans_s == (stereo_music.SPAN_S,)
    assert wider.text == (
        "The candidate's stereo image is wider: its side is 3.0 dB louder against the mid"
        " (between 2.5 and 3.5)."
    )
    assert wider.advice == (
        "Bring the side signal down by about 3 dB, or pan with less spread.",
    )  # fmt: skip
    assert (wider.cause.players, wider.cause.room, wider.cause.mix) == pytest.approx(
        (0.0, 0.12, 0.88), abs=0.04
    )
    (narrower,) = analyzer.findings(
        stated(side_to_mid_db=-2.2, side_to_mid_db_interval=(-3.0, -1.4), same_take=False)
    )
    assert narrower.kind == "narrower"
    assert narrower.text == (
        "The candidate's stereo image is narrower: its side is 2.2 dB softer against the mid"
        " (between 1.4 and 3.0)."
    )
    assert narrower.advice == (
        "Bring the side signal up by about 2 dB, or pan with more spread.",
    )  # fmt: skip
    assert narrower.confidence < 0.99
    cause = narrower.cause
    assert (cause.players, cause.room, cause.mix) == pytest.approx((0.05, 0.4, 0.55), abs=0.03)


# The narrow noise is at -12 dB; with two fifths of its energy added 5.6 dB wider. A wetness of
# 2.6 dB is that much (``tests.pair.test_diffuse``).
@pytest.mark.parametrize(
    ("wetness_db", "same_take", "told"),
    [
        ((-1.0, 3.0), False, False),  # the room may do it, and cannot be told by itself
        ((-1.0, 2.5), False, False),  # enough for the least of its interval
        ((-3.0, 0.5), False, True),  # too little for so wide an image
        ((1.0, 3.0), False, True),  # told: then it is folded into the room
        ((-1.0, 3.0), True, True),  # one take's response says what its room does
        (None, False, True),
    ],
)
def test_an_image_that_other_players_room_may_widen(
    wetness_db: tuple[float, float] | None, same_take: bool, told: bool
) -> None:
    both = (features_of(narrow(), RATE_HZ), features_of(narrow(0.4), RATE_HZ))
    found = stated(side_to_mid_db=5.6, side_to_mid_db_interval=(5.1, 6.1))
    for sign, (reference, candidate) in ((1, both), (-1, both[::-1])):
        pair = replace(pair_of(same_take), reference=reference, candidate=candidate)
        limits = wetness_db and tuple(sorted(sign * limit for limit in wetness_db))
        pair.differences["room"] = SimpleNamespace(wetness_db_interval=limits)
        around = tuple(sorted((sign * 5.1, sign * 6.1)))
        made = replace(found, side_to_mid_db=sign * 5.6, side_to_mid_db_interval=around)
        kinds = [one.kind for one in width.analyzer.findings(made, pair)]
        assert kinds == (["wider" if sign > 0 else "narrower"] if told else [])


@pytest.mark.parametrize(
    ("sign", "kind", "amount"), [(1, "wider", "less"), (-1, "narrower", "more")]
)
def test_a_change_of_decays_in_words(sign: int, kind: str, amount: str) -> None:
    around = (2.5, 3.5) if sign > 0 else (-3.5, -2.5)
    changes = {
        "side_to_mid_db": 3.0 * sign, "side_to_mid_db_interval": around,
        "side_to_mid_direct_db": 1.9 * sign, "side_to_mid_decay_db": 4.0 * sign,
    }  # fmt: skip
    (finding,) = analyzer.findings(stated(**changes))
    assert finding.kind == kind
    assert finding.text.endswith("), mostly where sounds die away.")
    assert finding.advice[0].startswith(f"Try {amount} reverberation")
    assert finding.cause.room > 0.5 > finding.cause.mix
    (finding,) = analyzer.findings(stated(**changes, same_take=False))
    assert finding.cause.likeliest == "room"
    (finding,) = analyzer.findings(stated(**(changes | {"side_to_mid_direct_db": 2.1 * sign})))
    assert "die away" not in finding.text
    assert "side signal" in finding.advice[0]


@pytest.mark.parametrize(
    "changes",
    [
        {"side_to_mid_db": 1.4, "side_to_mid_db_interval": (1.3, 1.5)},
        {"side_to_mid_db_interval": (-0.1, 6.1)},
        {"agreeing_share": 0.59},
        {"side_to_mid_db": None, "side_to_mid_db_interval": None},
    ],
)
def test_less_than_can_be_heard_or_told_is_no_finding(changes: dict[str, object]) -> None:
    assert analyzer.findings(stated(**changes)) == []


def test_mono_in_words(reference: Features) -> None:
    mono = features_of(music().mean(axis=1))
    (finding,) = analyzer.findings(analyzer.compare(reference, mono, stereo_music.slower()))
    expected = float(np.corrcoef(music().T)[0, 1])
    assert finding.difference == pytest.approx(1 - expected, abs=0.01)
    assert finding.interval[1] - finding.interval[0] == pytest.approx(0.04)
    assert finding.kind == "narrower"
    assert finding.subject == "the stereo image (the candidate is mono)"
    assert finding.text == (
        f"The candidate is mono; the reference is stereo with a correlation of {expected:.2f}."
    )
    assert finding.advice == ("Check the candidate: both channels carry the same signal.",)
    # In steps of 0.04, which is what is just heard near full correlation.
    size = (1 - expected) * (1 - (0.02 / 1.96 / (1 - expected)) ** 2) / 0.04
    assert finding.jnd == pytest.approx(size, rel=0.05)
    assert 0.9 < finding.cause.mix < 1
    assert finding.unit == ""
    assert finding.spans_s == (stereo_music.SPAN_S,)


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize(
    ("mono", "same_take"), [("reference", True), ("reference", False), ("candidate", False)]
)
def test_a_mono_recording_has_no_image_to_judge(
    reference: Features, mono: str, same_take: bool, channels: int
) -> None:
    """Only that one take lost its image is told: that it never had one is no difference."""
    alike = np.repeat(music().mean(axis=1)[:, None], channels, axis=1)
    pair = (
        (features_of(alike), reference) if mono == "reference" else (reference, features_of(alike))
    )
    difference = analyzer.compare(*pair, stereo_music.slower(same_take))
    assert analyzer.findings(difference) == []
    assert difference.reasons == (f"The {mono} is mono: nothing can be said about width.",)
    assert difference.side_to_mid_db is difference.correlation is None


@nothing_unseen()
def test_a_real_take_folded_to_mono_is_one_finding_and_unfolded_none() -> None:
    """The sum takes reverberation off as well: that is its effect, and no finding of its own."""
    take = operations.strings(14.0)
    folded = np.repeat(take.mean(axis=1)[:, None], 2, axis=1)
    rate_hz = operations.RATE_HZ
    there = mixcompare.compare((take, rate_hz), (folded, rate_hz))
    assert [(found.aspect, found.kind) for found in there.findings] == [("width", "narrower")]
    assert "the candidate is mono" in there.verdict
    back = mixcompare.compare((folded, rate_hz), (take, rate_hz))
    assert back.findings == ()


def test_that_both_channels_are_alike_is_said_once() -> None:
    alike = features_of(np.repeat(music().mean(axis=1)[:, None], 2, axis=1))
    assert sum("mono" in warning for warning in alike.warnings) == 1
    assert "carries the same signal in both channels: it is mono" in alike.warnings[0]
    one = features_of(music().mean(axis=1))
    assert sum("mono" in warning for warning in one.warnings) == 1
    assert not any("mono" in warning for warning in stereo_music.features().warnings)


@pytest.mark.parametrize("inverted", ["candidate", "reference"])
def test_an_inverted_channel_in_words(inverted: str) -> None:
    pair = {"candidate": (0.6, -0.55), "reference": (-0.55, 0.6)}[inverted]
    (finding,) = analyzer.findings(stated(low_correlation=pair))
    assert finding.kind == "polarity_inverted"
    assert finding.difference == pytest.approx(pair[1] - pair[0])
    assert finding.interval == pytest.approx((pair[1] - pair[0] - 0.1, pair[1] - pair[0] + 0.1))
    assert finding.jnd == pytest.approx(11.5 * (1 - (0.1 / 1.96 / 1.15) ** 2), abs=0.01)
    assert finding.band_hz == (60.0, 500.0)
    assert finding.text.startswith(f"In the {inverted} one channel is inverted")
    assert f"{pair[0]:+.2f} in the reference and at {pair[1]:+.2f} in the candidate" in finding.text
    assert finding.advice == (f"Invert the polarity of one channel of the {inverted}.",)
    # A weak correlation has no sign to speak of: an ordinary finding instead.
    (weak,) = analyzer.findings(stated(low_correlation=(0.6, -0.29)))
    assert weak.kind == "wider"


def test_low_correlation_covers_60_to_500_hz() -> None:
    band = np.arange(31)
    inside = (band >= 5) & (band <= 13)  # 63 to 400 Hz; 500 Hz has its middle at 501 Hz
    features = stereo_music.cells(1e-3, 1e-3, 1e-3 * np.where(inside, -0.5, 0.8))
    difference = analyzer.compare(features, features, same_clock(features))
    assert difference.low_correlation == pytest.approx((-0.5, -0.5), abs=1e-4)


def test_a_silent_channel_is_named() -> None:
    silent = stereo_music.cells(1e-3, 0.0)
    full = with_ratio(1e-3, -6.0)
    for pair, name in (((full, silent), "candidate"), ((silent, full), "reference")):
        difference = analyzer.compare(*pair, same_clock(full))
        assert difference.side_to_mid_db is None
        assert difference.reasons == (
            f"One channel of the {name} is silent: width can't be compared.",
        )


def test_side_is_held_within_60_db_of_mid() -> None:
    features = stereo_music.cells(1e-3, 1e-3, 1e-3)  # equal channels
    assert analyzer.measure(features).side_to_mid_db == pytest.approx(-60, abs=0.01)
    assert analyzer.measure(features).mono_fold_down_loss_db == pytest.approx(0, abs=0.001)
    opposite = stereo_music.cells(1e-3, 1e-3, -1e-3)
    assert analyzer.measure(opposite).side_to_mid_db == pytest.approx(60, abs=0.01)


@pytest.mark.parametrize("side_db", [3.0, -3.0])
def test_real_music_with_its_side_changed(side_db: float) -> None:
    strings, reference = stereo_music.strings(), stereo_music.strings_features()
    candidate = features_of(0.6 * with_side(strings, 10 ** (side_db / 20)), 44_100)
    difference = analyzer.compare(reference, candidate, same_clock(reference))
    assert difference.side_to_mid_db == pytest.approx(side_db, abs=0.75)
    assert told(difference.band_side_to_mid_db)[5:26] == pytest.approx(side_db, abs=0.75)
    assert difference.side_to_mid_direct_db == pytest.approx(side_db, abs=0.75)
    before, after = (
        np.corrcoef(samples.T)[0, 1]
        for samples in (strings, with_side(strings, 10 ** (side_db / 20)))
    )
    assert difference.correlation == pytest.approx(after - before, abs=0.05)
    (finding,) = analyzer.findings(difference)
    assert finding.kind == ("wider" if side_db > 0 else "narrower")
    assert finding.difference == pytest.approx(side_db, abs=0.75)
