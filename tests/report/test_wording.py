"""Numbers, units, places and times as a person reads them: exact words."""

import re
import typing
from dataclasses import fields, replace

import numpy as np
import pytest

from mixcompare import findings, units
from mixcompare.aspects import ANALYZERS, JUST_NOTICEABLE
from mixcompare.aspects.articulation.values import NoteShape
from mixcompare.aspects.balance.values import Element
from mixcompare.fields import label_and_unit
from mixcompare.findings import Cause
from mixcompare.plots.contours import balance_field
from mixcompare.report import pictures, wording
from tests import samples
from tests.report.builders import made_up_results

MINUS, SPACE, DASH = "\N{MINUS SIGN}", "\N{NO-BREAK SPACE}", "\N{EN DASH}"


@pytest.mark.parametrize(
    ("name", "label", "unit"),
    [
        ("integrated_lufs", "Integrated", "LUFS"),
        ("true_peak_dbtp", "True peak", "dBTP"),
        ("loudness_range_lu", "Loudness range (LRA)", "LU"),
        ("crest_db", "Crest (peak against mean)", "dB"),
        ("tilt_db_per_octave", "Tilt", "dB/octave"),
        ("swing_db_per_db", "Swing against the reference's (1 = alike)", "dB/dB"),
        ("decay_time_s", "Decay time (RT60)", units.OF_DECAY),
        ("attack_ms", "Attack", "ms"),
        ("time_difference_us", "Later on the right by", "\N{MICRO SIGN}s"),
        ("notes_per_s", "Notes", "per s"),
        ("events_per_minute", "Events", "per minute"),
        ("sounding_ratio", "Share sounding", units.SHARE),
        ("spread_percent", "How far places typically stray from that", "%"),
        ("tempo_percent", "Tempo, candidate against reference", "%"),
        ("ratio", "Duration, candidate over reference", ""),
        ("a4_hz", "A4", units.OF_TUNING),
        ("cents_against_440", "Tuning against A4 = 440 Hz", "cents"),
        ("tuning_cents", "Tuning", "cents"),
        ("transposition_semitones", "Transposition", "semitones"),
        ("explained", "Share of the differences explained", units.SHARE),
        ("explained_db", "Difference that single elements explain", "dB"),
    ],
)
def test_names_become_words_and_units(name, label, unit):
    items = {
        item.name: item
        for analyzer in ANALYZERS
        for method in (analyzer.measure, analyzer.compare)
        for record in (typing.get_type_hints(method)["return"],)
        for item in fields(record)
    }
    for record in (Element, NoteShape):
        items |= {item.name: item for item in fields(record)}
    assert label_and_unit(items[name]) == (label, unit)


def test_differences_have_units_of_their_own():
    assert units.difference_unit("LUFS") == "LU"
    assert units.difference_unit("dBTP") == "dB"
    for unit in ("dB", "LU", "s", "ms", "Hz", "cents", "dB/octave", ""):
        assert units.difference_unit(unit) == unit
    # From 94 % to 55 % are 39 points and 41 per cent.
    for unit, shown in (("%", 39.0), (units.SHARE, 0.39)):
        assert units.written(units.difference_unit(unit)) == "points"
        assert units.number(shown, units.difference_unit(unit)).startswith("39")


@pytest.mark.parametrize(
    ("value", "unit", "plain", "signed"),
    [
        (5.84, "dB", "5.8 dB", "+5.8 dB"),
        (-5.86, "dB", "-5.9 dB", "-5.9 dB"),
        (-0.04, "dB", "0.0 dB", "0.0 dB"),
        (0.04, "dB", "0.0 dB", "0.0 dB"),
        (-0.0, "dB", "0.0 dB", "0.0 dB"),
        (0.0, "", "0.00", "0.00"),
        (-22.44, "LUFS", "-22.4 LUFS", "-22.4 LUFS"),
        (7.16, "LU", "7.2 LU", "+7.2 LU"),
        (-0.96, "dBTP", "-1.0 dBTP", "-1.0 dBTP"),
        (12.34, "%", "12.3 %", "+12.3 %"),
        (2.345, "s", "2.35 s", "+2.35 s"),
        (112.6, "ms", "113 ms", "+113 ms"),
        (-41.7, "\N{MICRO SIGN}s", "-42 \N{MICRO SIGN}s", "-42 \N{MICRO SIGN}s"),
        (439.66, "Hz", "440 Hz", "+440 Hz"),
        (-11.78, "cents", "-11.8 cents", "-11.8 cents"),
        (0.183, "dB/octave", "0.18 dB/octave", "+0.18 dB/octave"),
        (1.017, "dB/dB", "1.02 dB/dB", "+1.02 dB/dB"),
        (236.44, "per minute", "236.4 per minute", "+236.4 per minute"),
        (5.33, "per s", "5.3 per s", "+5.3 per s"),
        (29.6, "degrees", "30 degrees", "+30 degrees"),
        (-3.14, "ppm", "-3.1 ppm", "-3.1 ppm"),
        (-2, "semitones", "-2 semitones", "-2 semitones"),
        (2, "semitones", "2 semitones", "+2 semitones"),
        (0, "semitones", "0 semitones", "0 semitones"),
        (34, "", "34", "+34"),
        (0.834, "", "0.83", "+0.83"),
        (None, "dB", DASH, DASH),
        (float("nan"), "dB", DASH, DASH),
        (float("-inf"), "LUFS", DASH, DASH),
    ],
)
def test_every_unit_has_its_digits(value, unit, plain, signed):
    for words, with_sign in ((plain, False), (signed, True)):
        wanted = words.replace("-", MINUS)
        if unit and words != DASH:
            wanted = wanted.removesuffix(f" {unit}") + SPACE + unit
        assert units.quantity(value, unit, signed=with_sign) == wanted
        bare = wanted.removesuffix(SPACE + unit) if unit else wanted
        assert units.number(value, unit, with_sign) == bare


def test_intervals_bands_and_moments():
    assert wording.interval((-1.26, 0.44), "dB") == f"{MINUS}1.3 to +0.4"
    assert wording.interval((0.951, 1.049), "dB/dB", signed=False) == "0.95 to 1.05"
    assert wording.interval((-0.04, 0.04), "dB") == "0.0 to 0.0"
    assert wording.interval(None, "dB") == ""
    assert wording.interval((float("-inf"), 1.0), "dB") == ""
    assert wording.interval((1.0, None), "dB") == ""
    assert wording.band((2000.0, 5000.0)) == f"2.0 to 5.0{SPACE}kHz"
    assert wording.band((1000.0, 1460.0)) == f"1.0 to 1.5{SPACE}kHz"
    assert wording.band((200.0, 999.0)) == f"200 to 999{SPACE}Hz"
    assert wording.band((44.6, 1000.0)) == f"45{SPACE}Hz to 1.0{SPACE}kHz"
    assert wording.band(None) == ""
    assert findings.moment(67.46) == "1:07.5"
    assert findings.moment(0.0) == "0:00.0"
    assert findings.moment(59.96) == "1:00.0"
    assert findings.moment(3661.0) == "1:01:01.0"
    assert findings.moment(3599.97) == "1:00:00.0"


def test_clock_times_round_to_seconds_and_carry():
    assert findings.clock(0.4) == "0:00"
    assert findings.clock(59.6) == "1:00"
    assert findings.clock(67.4) == "1:07"
    assert findings.clock(3599.7) == "1:00:00"
    assert findings.clock(3723.0) == "1:02:03"


def test_places_name_three_and_count_the_rest():
    spans = [(5.0, 12.0), (20.0, 28.0), (61.0, 70.0), (80.0, 90.0), (100.0, 110.0)]
    assert findings.places([]) == ""
    assert findings.places(spans[:1]) == "0:05-0:12"
    assert findings.places(spans[:2]) == "0:05-0:12 and 0:20-0:28"
    assert findings.places(spans[:3]) == "0:05-0:12, 0:20-0:28 and 1:01-1:10"
    assert findings.places(spans[:4]) == "0:05-0:12, 0:20-0:28, 1:01-1:10 and 1 more"
    assert findings.places(spans) == "0:05-0:12, 0:20-0:28, 1:01-1:10 and 2 more"
    assert findings.places(spans, limit=1) == "0:05-0:12 and 4 more"


def test_amounts_of_findings():
    louder, shorter, wetter, slower = made_up_results().findings
    assert louder.spoken == "+5.8 dB"
    assert shorter.amount == "-21 points"
    assert shorter.spoken == "-21 percentage points of the notes' length"
    both = "62 % against 83 % of the notes' length"
    assert replace(shorter, both=both).spoken == both
    assert slower.spoken == "-3.8 %"
    tilt = replace(wetter, difference=0.184, unit="dB/octave", noticeable=None)
    assert tilt.spoken == "+0.18 dB/octave"
    swing = replace(wetter, difference=-0.236, unit="dB/dB", noticeable=None)
    assert swing.spoken == "-0.24 dB/dB"
    assert findings.signed(0.123, "", 2) == "+0.12"
    assert findings.signed(-12.0, "cents") == "-12.0 cents"


def test_causes_in_per_cent_heaviest_first():
    finding = made_up_results().findings[0]
    assert wording.causes(finding) == (("players", 55), ("mix", 40), ("room", 5))
    weights = replace(finding, cause=Cause(0.004, 0.3, 0.696))
    assert wording.causes(weights) == (("mix", 70), ("room", 30))


def test_a_finding_is_held_against_the_threshold_of_its_own_unit():
    for pair in (("reference", name) for name in samples.CANDIDATES):
        for finding in samples.compared(*pair).findings:
            assert finding.noticeable in JUST_NOTICEABLE.values()
            assert finding.noticeable.unit == finding.unit


def numbers(markup, tag, name, *keys):
    """Attributes of the elements of one class in a small picture."""
    out = []
    for element in re.findall(f'<{tag} class="{name}"[^>]*>', markup):
        values = dict(re.findall(r'(\w+)="([-\d.]+)"', element))
        out.append(tuple(float(values[key]) for key in keys))
    return out


@pytest.mark.parametrize(("sign", "side"), [(1, "more"), (-1, "less")])
def test_the_size_picture_is_to_scale(sign, side):
    finding = made_up_results().findings[0]
    finding = replace(
        finding, difference=sign * 5.8, interval=tuple(sorted((sign * 4.9, sign * 6.7)))
    )
    picture = pictures.size(finding)
    ((zero,),) = numbers(picture, "line", "zero", "x1")
    ((dot,),) = numbers(picture, "circle", f"dot {side}", "cx")
    (whisker, first, last) = numbers(picture, "line", f"whisker {side}", "x1", "x2")
    ((stripe, width),) = numbers(picture, "rect", "noticeable", "x", "width")
    a_db = width / 2  # the stripe is 1 dB to either side
    assert stripe + width / 2 == pytest.approx(zero, abs=0.15)
    assert (dot - zero) / a_db == pytest.approx(sign * 5.8, rel=0.01)
    low, high = sorted((sign * 4.9, sign * 6.7))
    assert (whisker[0] - zero) / a_db == pytest.approx(low, rel=0.02)
    assert (whisker[1] - zero) / a_db == pytest.approx(high, rel=0.02)
    assert first == (whisker[0],) * 2
    assert last == (whisker[1],) * 2
    words = f"{'+' if sign > 0 else MINUS}5.8{SPACE}dB"
    assert f'aria-label="Difference {words}, 95 % interval' in picture
    assert f">{words}</text>" in picture


def test_an_open_interval_is_drawn_to_the_dot():
    finding = replace(made_up_results().findings[0], interval=(4.9, float("inf")))
    picture = pictures.size(finding)
    ((dot,),) = numbers(picture, "circle", "dot more", "cx")
    assert numbers(picture, "line", "whisker more", "x1", "x2")[0][1] == dot
    assert "inf" not in picture


def test_the_cause_bar_is_to_scale():
    picture = pictures.cause(made_up_results().findings[0])
    widths = [
        numbers(picture, "rect", f"cause-{name}", "x", "width")[0]
        for name in ("players", "room", "mix")
    ]
    assert widths == [(0, 143), (143, 13), (156, 104)]  # 55, 5 and 40 % of 260


def test_the_course_picture_shows_the_band_over_its_places():
    results = made_up_results()
    finding = results.findings[0]
    field = balance_field(results)
    levels = field.of_band(finding.band_hz)
    picture = str(pictures.course(finding, field.times_s, levels, (0.0, 48.0)))
    places = numbers(picture, "rect", "place", "x", "width")
    wanted = [(260 * start / 48, 260 * (end - start) / 48) for start, end in finding.spans_s]
    np.testing.assert_allclose(places, wanted, atol=0.1)
    (data,) = re.findall(r'class="course" d="([^"]+)"', picture)
    points = np.array(re.findall(r"[ML]([\d.]+) ([\d.]+)", data), float)
    inside = (points[:, 0] > 260 * 9 / 48) & (points[:, 0] < 260 * 19 / 48)
    # Zero at 24, 12 dB take 20 units: 5.8 dB lie 9.7 above.
    assert points[inside, 1].mean() == pytest.approx(24 - 20 * 5.8 / 12, abs=0.5)
    outside = points[:, 0] < 260 * 7 / 48
    assert points[outside, 1].mean() == pytest.approx(24, abs=0.5)


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("the bass line (-4.8 dB)", f"the bass line ({MINUS}4.8 dB)"),
        ("-0.5 to -.2 LU", f"{MINUS}0.5 to {MINUS}.2 LU"),
        ("bars 5-12 at 0:07-0:09", f"bars 5{DASH}12 at 0:07{DASH}0:09"),
        (
            "(bars 3-5, 7 and 9-10), 1:02:03-1:02:09",
            f"(bars 3{DASH}5, 7 and 9{DASH}10), 1:02:03{DASH}1:02:09",
        ),
        ("0:03.5-0:15.5 and bar 9, 2-4 dB", f"0:03.5{DASH}0:15.5 and bar 9, 2-4 dB"),
        ("90 Hz-2.9 kHz, 2026-11-28, A-4", "90 Hz-2.9 kHz, 2026-11-28, A-4"),
        ("a level-matched pair", "a level-matched pair"),
        ("54 % against 89 %", f"54{SPACE}% against 89{SPACE}%"),
    ],
)
def test_a_minus_in_print_is_no_hyphen(text, printed):
    assert units.in_print(text) == printed
