"""Excerpts: equal level, headroom, fades, the same music in both."""

import io
from dataclasses import replace

import numpy as np
import pyloudnorm
import pytest
import soundfile

from mixcompare.alignment.timemap import TimeMap
from mixcompare.audio.recording import Recording
from mixcompare.findings import Cause, Finding
from mixcompare.listening import excerpts, page_sound
from mixcompare.listening.excerpts import AlignedSound
from tests.by_hand import said

RATE = 48_000


def tune(seconds=20.0, rate=RATE, speed=1.0, level=0.2):
    """A tone that rises with musical time, with a pulse every second: its pitch names its place."""
    t = np.arange(int(seconds * rate)) / rate
    musical = t * speed
    phase = 2 * np.pi * np.cumsum(200 + 50 * musical) / rate
    body = np.sin(phase) * (0.4 + 0.6 * np.exp(-6 * (musical % 1.0)))
    return (level * np.stack([body, 0.8 * body], axis=1)).astype(np.float32)


def pair_of(reference, candidate, gain_db, slope=1.0, rate=RATE, candidate_rate=None):
    candidate_rate = candidate_rate or rate
    end = len(reference) / rate
    return AlignedSound(
        Recording.from_array(reference, rate, "reference"),
        Recording.from_array(candidate, candidate_rate, "candidate"),
        TimeMap.linear(0.0, slope, 0.0, end),
        gain_db,
    )


def clocks(seconds, slope=1.0):
    short = Recording.from_array(tune(1.0), RATE)
    return AlignedSound(short, short, TimeMap.linear(0.0, slope, 0.0, seconds), 0.0)


def finding_at(*spans, kind="part_louder"):
    return Finding(
        "balance", kind, "horns", 3.0, (2.0, 4.0), "dB", 3.0, said(0.9),
        tuple(spans), (200.0, 800.0), Cause(0.5, 0.2, 0.3), "Horns louder.", (), rank=1,
    )  # fmt: skip


def pitch_hz(samples, rate):
    """Frequency of the strongest partial of a short stretch."""
    window = np.hanning(len(samples))
    spectrum = np.abs(np.fft.rfft(samples[:, 0] * window, 1 << 18))
    return float(np.argmax(spectrum) * rate / (1 << 18))


@pytest.mark.parametrize("gain_db", [6.0, -9.5, 0.0])
def test_same_content_at_another_level_comes_out_equally_loud(gain_db):
    reference = tune()
    pair = pair_of(reference, reference * np.float32(10 ** (gain_db / 20)), gain_db)
    sound = excerpts.excerpts(finding_at((5.0, 9.0)), pair)
    # pyloudnorm with the standard's own filter coefficients: an independent meter of BS.1770.
    meter = pyloudnorm.Meter(RATE, filter_class="DeMan")
    loudness = [
        meter.integrated_loudness(excerpt.samples.astype(float))
        for excerpt in (sound.reference, sound.candidate)
    ]
    assert loudness[0] == pytest.approx(loudness[1], abs=0.1)
    assert max(sound.reference.gain_db, sound.candidate.gain_db) <= 0.0
    assert sound.candidate.gain_db - sound.reference.gain_db == pytest.approx(-gain_db)


def test_a_local_difference_stays_audible():
    reference = tune()
    candidate = reference * np.float32(10 ** (4 / 20))
    candidate[5 * RATE : 9 * RATE] *= np.float32(10 ** (6 / 20))
    sound = excerpts.cut(pair_of(reference, candidate, gain_db=4.0), (6.0, 8.0))
    power = [np.mean(np.square(e.samples)) for e in (sound.reference, sound.candidate)]
    assert 10 * np.log10(power[1] / power[0]) == pytest.approx(6.0, abs=0.01)


def test_peaks_stay_under_the_ceiling_and_both_are_lowered_alike(tmp_path):
    # A quarter-rate sine at 45 degrees: true peak 3 dB over its samples (BS.1770-5, Annex 2).
    n = np.arange(8 * RATE)
    loud = np.sin(np.pi / 2 * n + np.pi / 4)[:, None] * np.ones(2) / np.sin(np.pi / 4)
    pair = pair_of(2 * loud.astype(np.float32), loud.astype(np.float32), -6.02)
    sound = excerpts.cut(pair, (1.0, 5.0))
    written = excerpts.write_excerpts(finding_at((1, 5)), sound, tmp_path)
    for path in (written.reference, written.candidate):
        samples, rate = soundfile.read(tmp_path / path, dtype="float32")
        # An independent 8-fold oversampling (zero-padded spectrum) reads the true peak.
        spectrum = np.fft.rfft(samples[:, 0])
        dense = np.fft.irfft(spectrum, 8 * len(samples)) * 8
        assert 20 * np.log10(np.abs(dense[rate : 8 * len(samples) - rate]).max()) <= -1.0
    assert sound.candidate.gain_db - sound.reference.gain_db == pytest.approx(6.02)
    assert max(sound.reference.gain_db, sound.candidate.gain_db) < 0


def test_ends_fade_in_and_out():
    pair = pair_of(np.full((10 * RATE, 2), 0.25, np.float32), tune(10), 0.0)
    samples = excerpts.cut(pair, (2.0, 6.0)).reference.samples[:, 0]
    assert abs(samples[0]) < 1e-4
    assert abs(samples[-1]) < 1e-4
    ten_ms = RATE // 100
    assert samples[ten_ms] < 0.25  # still rising after 10 ms
    assert samples[RATE] == pytest.approx(0.25)
    assert np.abs(np.diff(samples)).max() < 0.25 * np.pi / 2 / (0.010 * RATE)


@pytest.mark.parametrize("candidate_rate", [48_000, 44_100])
def test_both_excerpts_begin_and_end_with_the_same_music(candidate_rate):
    reference = tune(20)
    slower = tune(25, rate=candidate_rate, speed=0.8)
    pair = pair_of(reference, slower, 0.0, slope=1.25, candidate_rate=candidate_rate)
    sound = excerpts.cut(pair, (6.0, 10.0))
    for excerpt, stretch_s in ((sound.reference, 0.2), (sound.candidate, 0.25)):
        count = round(stretch_s * excerpt.sample_rate_hz)
        # Musical place from the pitch that the tune has there: 200 Hz + 50 Hz per second.
        start = (pitch_hz(excerpt.samples[:count], excerpt.sample_rate_hz) - 200) / 50
        end = (pitch_hz(excerpt.samples[-count:], excerpt.sample_rate_hz) - 200) / 50
        assert start == pytest.approx(6.1, abs=0.03)
        assert end == pytest.approx(9.9, abs=0.03)
    assert sound.candidate.span_s == pytest.approx((7.5, 12.5))


@pytest.mark.parametrize(
    ("span", "length_s"), [((5.0, 5.2), 3.0), ((5.0, 9.0), 6.0), ((2.0, 19.0), 12.0)]
)
def test_excerpts_last_3_to_12_seconds_and_hold_the_place(span, length_s):
    pair = pair_of(tune(), tune(), 0.0)
    start, end = excerpts.excerpt_span(finding_at(span), pair)
    assert end - start == pytest.approx(length_s)
    assert start <= span[0] or end - start == pytest.approx(12.0)
    assert start >= 0
    assert end <= 20.0


@pytest.mark.parametrize("span", [(0.0, 0.4), (19.8, 20.0), (0.0, 20.0), (25.0, 30.0)])
def test_excerpts_stay_within_the_passage(span):
    pair = pair_of(tune(), tune(), 0.0)
    start, end = excerpts.excerpt_span(finding_at(span), pair)
    assert 0.0 <= start < end <= 20.0
    assert 3.0 <= end - start <= 12.0 + 1e-9


def test_a_long_place_is_shown_where_most_is_going_on():
    reference = tune(60) * np.float32(0.05)
    reference[40 * RATE : 52 * RATE] *= np.float32(10)
    pair = pair_of(reference, reference, 0.0)
    span = excerpts.excerpt_span(finding_at((0.0, 60.0)), pair, excerpts.busy_profile(pair))
    assert span == pytest.approx((40.0, 52.0), abs=0.6)


def test_the_page_gets_the_whole_passage_in_mp3_with_place_and_level_kept():
    reference = tune(20)
    candidate = tune(25, rate=96_000, speed=0.8, level=0.4)
    pair = pair_of(reference, candidate, 6.02, slope=1.25, candidate_rate=96_000)
    (passage,) = page_sound.page_sound(pair)
    assert passage["reference"].span_s == (0.0, 20.0)
    power = []
    for data, place_s in ((passage["reference"].mp3, 8.0), (passage["candidate"].mp3, 10.0)):
        samples, rate = soundfile.read(io.BytesIO(data))
        assert rate == 48_000
        stretch = samples[round((place_s - 0.1) * rate) : round((place_s + 0.1) * rate)]
        assert (pitch_hz(stretch, rate) - 200) / 50 == pytest.approx(8.0, abs=0.03)
        power.append(np.mean(np.square(samples)))
    assert 10 * np.log10(power[1] / power[0]) == pytest.approx(0.0, abs=0.1)


def test_the_page_knows_how_loud_its_voices_are_against_each_other():
    """Against pyloudnorm's meter (ITU-R BS.1770), on the decoded sound, a pause in it.

    The coder turns all voices down alike (by 0.27 dB here), so only differences are told.
    """
    reference, candidate = tune(20), tune(25, speed=0.8, level=0.4)
    reference[round(6 * RATE) : round(11 * RATE)] = 0
    reference[round(14 * RATE) :] *= 0.1
    (passage,) = page_sound.page_sound(pair_of(reference, candidate, 3.0, slope=1.25))
    told, measured = [], []
    for voice in passage.values():
        start, end = voice.span_s
        assert len(voice.block_lufs) == pytest.approx((end - start - 0.4) / 0.1 + 1, abs=1)
        blocks = np.array(voice.block_lufs)
        assert blocks.min() >= -70.0
        kept = blocks[blocks > -70.0]
        told.append(to_mean(kept[kept > to_mean(kept) - 10]))
        samples, rate = soundfile.read(io.BytesIO(voice.mp3))
        measured.append(pyloudnorm.Meter(rate).integrated_loudness(samples))
    assert told[1] - told[0] == pytest.approx(measured[1] - measured[0], abs=0.05)
    assert told[1] == pytest.approx(measured[1], abs=0.5)
    assert min(passage["reference"].block_lufs) == -70.0


def to_mean(levels_db):
    return 10 * np.log10(np.mean(10 ** (levels_db / 10)))


def test_too_long_a_passage_gives_the_findings_places_most_salient_first():
    pair = pair_of(tune(40), tune(40), 0.0)
    seconds = 2 * (6.0 + 6.0)
    findings = [finding_at((30.0, 34.0)), finding_at((5.0, 9.0)), finding_at((15.0, 19.0))]
    passages = page_sound.page_sound(pair, findings, budget_bytes=int(seconds * 96 * 125) + 10)
    assert [passage["reference"].span_s for passage in passages] == [(4.0, 10.0), (29.0, 35.0)]


def test_three_minutes_fit_into_the_page():
    # 11 MB of base64 leave 4 MB of the page's 15 MB for everything else.
    seconds = 2 * 180
    spans, kbps = page_sound._spans_within(
        [(0.0, 180.0)], clocks(180), page_sound.PAGE_BUDGET_BYTES
    )
    assert spans == [(0.0, 180.0)]
    assert kbps >= 160
    assert seconds * kbps * 125 * 4 / 3 < 11e6


def test_the_louder_one_is_turned_down_never_the_softer_one_up():
    assert excerpts.matching_gains_db((0.0, 6.0)) == (0.0, -6.0)
    assert excerpts.matching_gains_db((0.0, -9.5)) == (-9.5, 0.0)
    assert excerpts.matching_gains_db((0.0, 0.0)) == (0.0, 0.0)
    assert excerpts.matching_gains_db((0.0, 6.0, -2.0)) == (-2.0, -8.0, 0.0)


def test_passages_carry_the_gains_that_they_were_given():
    reference = tune(6)
    (louder,) = page_sound.page_sound(pair_of(reference, 2 * reference, 6.02))
    assert [voice.gain_db for voice in louder.values()] == pytest.approx([0.0, -6.02])
    (softer,) = page_sound.page_sound(pair_of(reference, 0.5 * reference, -6.02))
    assert [voice.gain_db for voice in softer.values()] == pytest.approx([-6.02, 0.0])


def test_a_preview_plays_the_same_music_as_the_candidate_as_loud_as_the_others():
    reference, candidate = tune(20), tune(25, speed=0.8, level=0.4)
    pair = pair_of(reference, candidate, 6.02, slope=1.25)
    tried = tune(25, speed=0.8, level=0.1)
    preview = Recording.from_array(tried, RATE, "preview")
    (passage,) = page_sound.page_sound(replace(pair, preview=preview, preview_gain_db=-6.02))
    assert list(passage) == ["reference", "candidate", "preview"]
    assert passage["preview"].span_s == passage["candidate"].span_s
    assert passage["preview"].span_s == pytest.approx((0.0, 25.0))
    assert [voice.gain_db for voice in passage.values()] == pytest.approx([-6.02, -12.04, 0.0])
    power = []
    for name, place_s in (("reference", 8.0), ("candidate", 10.0), ("preview", 10.0)):
        samples, rate = soundfile.read(io.BytesIO(passage[name].mp3))
        stretch = samples[round((place_s - 0.1) * rate) : round((place_s + 0.1) * rate)]
        assert (pitch_hz(stretch, rate) - 200) / 50 == pytest.approx(8.0, abs=0.03)
        power.append(np.mean(np.square(samples)))
    assert 10 * np.log10(power / power[0]) == pytest.approx([0, 0, 0], abs=0.1)
    # 20 s and twice 25 s at 96 kbit/s; a preview costs what the candidate costs.
    with_it = replace(clocks(20.0, 1.25), preview=preview)
    assert page_sound._spans_within([(0.0, 20.0)], with_it, 840_000) == ([(0.0, 20.0)], 96)
    assert page_sound._spans_within([(0.0, 20.0)], with_it, 839_999) == ([], 0)


@pytest.mark.parametrize(("peak", "lowered_db"), [(1.0, -2.0), (0.9, -1.085), (0.79, 0.0)])
def test_what_is_coded_keeps_two_decibels_of_headroom(peak, lowered_db):
    # A 100 Hz sine: its true peak is that of its samples. 1 dB under full scale is the ceiling
    # (EBU R 128), 1 dB more is left to the coder.
    wave = np.sin(2 * np.pi * 100 * np.arange(6 * RATE) / RATE)[:, None] * np.ones(2)
    tones = (peak * wave).astype(np.float32)
    (passage,) = page_sound.page_sound(pair_of(tones, tones, 0.0))
    gains = [voice.gain_db for voice in passage.values()]
    assert gains == pytest.approx([lowered_db, lowered_db], abs=0.02)


def test_excerpts_are_named_after_rank_and_kind_and_hold_their_own_recording(tmp_path):
    reference = np.full((8 * RATE, 2), 0.5, np.float32)
    candidate = np.full((8 * RATE, 2), 0.25, np.float32)
    sound = excerpts.cut(pair_of(reference, candidate, 0.0), (2.0, 6.0))
    finding = finding_at((2, 6), kind="Too (loud)!")
    written = excerpts.write_excerpts(finding, sound, tmp_path)
    assert written.reference == "listening/01-too-loud-reference.flac"
    assert written.candidate == "listening/01-too-loud-candidate.flac"
    for path, level in ((written.reference, 0.5), (written.candidate, 0.25)):
        info = soundfile.info(tmp_path / path)
        assert (info.format, info.subtype, info.samplerate) == ("FLAC", "PCM_16", RATE)
        samples, _ = soundfile.read(tmp_path / path)
        assert samples[2 * RATE] == pytest.approx([level, level], abs=1e-3)
        assert len(samples) == 4 * RATE
    with pytest.raises(FileNotFoundError):
        excerpts.write_excerpts(finding, sound, tmp_path / "missing" / "folder")


def test_the_longest_of_several_places_is_shown_with_a_second_around_it():
    pair = pair_of(tune(), tune(), 0.0)
    assert excerpts.excerpt_span(finding_at((1.0, 2.0), (8.0, 12.0), (15.0, 16.0)), pair) == (
        7,
        13,
    )
    assert excerpts.excerpt_span(finding_at((8.0, 19.5)), pair) == pytest.approx((7.75, 19.75))


def test_without_a_profile_the_middle_of_a_long_place_is_shown():
    pair = pair_of(tune(40), tune(40), 0.0)
    assert excerpts.excerpt_span(finding_at((2.0, 34.0)), pair) == (12.0, 24.0)


def test_the_busiest_part_stays_inside_its_place():
    profile = np.zeros(80, np.float32)
    profile[70:] = 1.0  # 35 s on: the place ends before
    pair = pair_of(tune(40), tune(40), 0.0)
    assert excerpts.excerpt_span(finding_at((2.0, 34.0)), pair, profile) == (2.0, 14.0)
    profile[60:68] = 0.5
    assert excerpts.excerpt_span(finding_at((2.0, 34.0)), pair, profile) == (22.0, 34.0)


def test_places_that_touch_are_coded_once():
    assert page_sound._merged([(5.0, 8.0), (1.0, 3.0), (3.0, 4.0), (7.0, 9.0)]) == [
        (1.0, 4.0), (5.0, 9.0),
    ]  # fmt: skip


def test_the_candidates_length_counts_in_the_budget():
    pair = clocks(100.0, 1.5)
    # 10 s of the reference and 15 s of the candidate at 96 kbit/s: 300 kB.
    assert page_sound._spans_within([(0.0, 10.0)], pair, 300_000) == ([(0.0, 10.0)], 96)
    assert page_sound._spans_within([(0.0, 10.0)], pair, 299_999) == ([], 0)
    assert page_sound._spans_within([(0.0, 10.0)], pair, 600_000) == ([(0.0, 10.0)], 192)


def test_the_music_in_common_ends_where_either_recording_does():
    reference, candidate = (
        Recording.from_array(np.full((int(seconds * 8000), 2), 0.1), 8000, name)
        for seconds, name in ((10.0, "reference"), (6.0, "candidate"))
    )
    pair = AlignedSound(reference, candidate, TimeMap.linear(-1.0, 1.0, 0.0, 10.0), 0.0)
    assert pair.span_s == pytest.approx((1.0, 7.0))
