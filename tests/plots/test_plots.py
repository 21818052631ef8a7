"""Figures: what was measured is what is drawn, with units, in two tellable colours."""

import ast
import io
import re
import warnings
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import matplotlib
import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.image import imread

from mixcompare import plots
from mixcompare.alignment.result import SAME_TAKE, UNRELATED
from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects import ANALYZERS
from mixcompare.errors import ParameterError
from mixcompare.findings.detectable import Detectable
from mixcompare.plots import style
from mixcompare.plots.contours import Field, balance_field, gaps, loudness_contours
from mixcompare.plots.strip import field_png
from tests.report.builders import made_up_results

UNIT = re.compile(r"\((Hz|dB|s|ms|LU|LUFS|%|cents|min:s|1|\N{MINUS SIGN}1 left.*)\)$")

FIGURES = (*(analyzer.aspect for analyzer in ANALYZERS), "alignment")


@pytest.fixture(scope="module")
def drawn(results):
    return plots.draw_all(results)


def test_every_aspect_has_a_figure(drawn, results):
    assert set(drawn) == {*results.measurements, "alignment"}


def test_a_figure_is_laid_out_as_saving_would(results):
    one, other = (plots.draw_all(results)["balance"].figure for _ in range(2))
    engine, dpi = one.get_layout_engine(), one.dpi
    plain = io.StringIO()
    with style.settings():
        blank = dict.fromkeys(("Creator", "Date", "Format", "Type"))
        other.savefig(plain, format="svg", metadata=blank)
    assert style.to_svg(one) == plain.getvalue()
    assert (one.get_layout_engine(), one.dpi) == (engine, dpi)


@pytest.mark.parametrize("aspect", FIGURES)
def test_every_axis_has_its_unit(aspect, drawn):
    figure = drawn[aspect].figure
    for axes in figure.axes:
        row = axes.get_shared_y_axes().get_siblings(axes)
        leftmost = axes is min(row, key=lambda one: one.get_position().x0)
        labelled = [axes.yaxis] if leftmost else []
        shared = axes.get_shared_x_axes().get_siblings(axes)
        if len(shared) == 1 or axes is min(shared, key=lambda one: one.get_position().y0):
            labelled.append(axes.xaxis)
        for axis in labelled:
            names = [text.get_text() for text in axis.get_ticklabels()]
            categories = any(re.match(r"[a-z]{3}", name) for name in names)
            if axes.get_label() == "<colorbar>" and axis is axes.xaxis:
                continue
            assert categories or UNIT.search(axis.get_label_text()), (aspect, axis)


@pytest.mark.parametrize("aspect", FIGURES)
def test_figures_are_15_cm_wide_with_letters_of_readable_size(aspect, drawn):
    figure = drawn[aspect].figure
    # The one that is looked at first takes the page's whole width.
    assert figure.get_size_inches()[0] == pytest.approx((22 if aspect == "balance" else 15) / 2.54)
    for axes in figure.axes:
        for text in (axes.xaxis.label, axes.yaxis.label, *axes.texts, *axes.get_xticklabels()):
            assert text.get_fontsize() >= 8  # points in print
    assert len(drawn[aspect].caption) > 20


def test_loudness_difference_has_the_gain_taken_out(results):
    contours = loudness_contours(results, "momentary")
    raw = contours.candidate_lufs - contours.reference_lufs
    np.testing.assert_allclose(contours.difference_db, raw - 2.1)
    # The candidate's contour comes from its own clock.
    candidate = results.measurements["loudness"].candidate
    place = float(results.alignment.time_map.to_candidate([20.0])[0])
    levels = np.array(candidate.momentary_lufs, float)
    wanted = np.interp(place, candidate.series_s, levels)
    index = int(np.argmin(np.abs(contours.times_s - 20.0)))
    assert contours.candidate_lufs[index] == pytest.approx(wanted, abs=1e-6)


def longest_line(axes):
    return max(axes.lines, key=lambda line: len(line.get_xdata()))


def test_tempo_shows_the_curve_on_top_of_the_whole(results):
    tempo = results.measurements["tempo"]
    even = (0.0,) * len(tempo.difference.curve_s)
    level = replace(tempo.difference, ratio=1.25, curve_percent=even)
    measurements = {"tempo": replace(tempo, difference=level)}
    curve = longest_line(plots.draw(replace(results, measurements=measurements), "tempo").axes[0])
    # A candidate that takes 1.25 times as long goes at four fifths of the tempo everywhere.
    np.testing.assert_allclose(curve.get_ydata(), -20.0)


def test_the_tempo_curve_does_not_bridge_a_gap(results):
    tempo = results.measurements["tempo"]
    short = replace(
        tempo.difference,
        curve_s=(1.0, 1.2, 1.4, 9.0, 9.2),
        curve_percent=(0.0, 1.0, 2.0, 3.0, 4.0),
        curve_half_width_percent=(1.0,) * 5,
    )
    measurements = {"tempo": replace(tempo, difference=short)}
    curve = longest_line(plots.draw(replace(results, measurements=measurements), "tempo").axes[0])
    np.testing.assert_array_equal(curve.get_xdata(), [1.0, 1.2, 1.4, np.nan, 9.0, 9.2])


def test_a_gap_is_hatched(results):
    reference = np.array([0.0, 20.0, 24.0, 48.0])
    candidate = np.array([0.0, 20.0, 20.01, 44.01])
    time_map = TimeMap(reference, candidate, np.array([10.0, np.inf, np.inf, 10.0]))
    cut = replace(results, alignment=replace(results.alignment, time_map=time_map))
    assert gaps(cut.alignment.time_map) == ((20.0, 24.0),)
    hatched = [patch for patch in plots.draw(cut, "alignment").axes[0].patches if patch.get_hatch()]
    assert [patch.get_x() for patch in hatched] == [20.0]


def test_one_take_has_no_tempo_and_unrelated_recordings_no_figures():
    assert "tempo" not in plots.draw_all(made_up_results(SAME_TAKE))
    assert plots.draw_all(made_up_results(UNRELATED)) == {}


@pytest.mark.parametrize("aspect", FIGURES)
def test_nothing_measured_gives_a_clear_refusal(aspect, results):
    empty = replace(made_up_results(UNRELATED), measurements={})
    with pytest.raises(ParameterError, match=f"'{aspect}': nothing was measured"):
        plots.draw(empty, aspect)


def test_values_that_cannot_be_told_leave_the_figure_out(results):
    room = results.measurements["room"]
    unknown = replace(room.reference, octave_decay_time_s=(None,) * 5)
    dry = replace(room.difference, wetness_db=None)
    silent = replace(room, reference=unknown, candidate=unknown, difference=dry)
    measurements = {**results.measurements, "room": silent}
    assert "room" not in plots.draw_all(replace(results, measurements=measurements))
    with pytest.raises(ParameterError, match="nothing was measured here"):
        plots.draw(results, "colour")


def test_names_are_drawn_as_they_are(results):
    balance = results.measurements["balance"]
    odd = replace(balance.difference.elements[0], name="$\\frac{1}{0}$ <b> & 'horns'")
    difference = replace(balance.difference, elements=(odd,))
    measurements = {"balance": replace(balance, difference=difference)}
    svg = style.to_svg(plots.draw(replace(results, measurements=measurements), "balance"))
    assert "$\\frac{1}{0}$ &lt;b&gt; &amp; 'horns'" in svg


def test_drawing_changes_no_settings_and_repeats_itself(results):
    before = dict(matplotlib.rcParams)
    first, second = (style.to_svg(plots.draw(results, "tone")) for _ in range(2))
    assert first == second
    assert dict(matplotlib.rcParams) == before
    assert "<dc:date>" not in first


def test_no_plot_module_uses_pyplot_or_audio():
    for path in Path(plots.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = [alias.name for alias in getattr(node, "names", []) if hasattr(alias, "name")]
            module = getattr(node, "module", None) or ""
            for name in (*names, module, *(f"{module}.{name}" for name in names)):
                assert "pyplot" not in name
                assert not name.startswith(("soundfile", "librosa", "mixcompare.audio.recording"))


@pytest.mark.parametrize("dark", [False, True])
def test_the_strip_is_orange_for_more_blue_for_less_grey_for_silence_low_at_the_bottom(dark):
    levels = np.zeros((10, 4))
    levels[:, 0] = 12.0  # lowest band: candidate has more
    levels[:, 3] = -12.0  # highest band: less
    levels[4, :] = np.nan
    field = Field(np.arange(10.0), np.array([100.0, 200, 400, 800]), levels)
    picture = imread(io.BytesIO(field_png(field, (0.0, 10.0), dark)))[..., :3]
    assert picture.shape == (4, 10, 3)
    red, green, blue = picture[-1, 0]
    assert red > green > blue
    red, green, blue = picture[0, 0]
    assert blue > green > red
    silent = picture[0, 4]
    assert np.ptp(silent) < 0.08
    assert np.abs(silent - picture[1, 0]).max() > 0.1


# Machado, Oliveira and Fernandes 2009, severity 1.0, on linear RGB (from memory).
BLINDNESS = {
    "red": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998]],
    "green": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
              [-0.011820, 0.042940, 0.968881]],
}  # fmt: skip


def lab(colour, blindness=None):
    """CIE L*a*b* (D65) of a colour as seen with or without a colour blindness."""
    rgb = np.array(to_rgb(colour))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    if blindness:
        linear = np.clip(np.array(BLINDNESS[blindness]) @ linear, 0, 1)
    # IEC 61966-2-1, primaries of sRGB.
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    ratio = (xyz @ linear) / np.array([0.9505, 1.0, 1.089])
    root = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * root[1] - 16, 500 * (root[0] - root[1]), 200 * (root[1] - root[2])])


@pytest.mark.parametrize("blindness", [None, "red", "green"])
def test_both_colours_differ_for_colour_blind_eyes(blindness):
    # A difference of about 2 is just noticeable; 30 is plain (common practice, no source).
    away = np.linalg.norm(lab(style.REFERENCE, blindness) - lab(style.CANDIDATE, blindness))
    assert away > 30
    for field in (style.LIGHT_FIELD, style.DARK_FIELD):
        low, middle, high = (lab(field(place)[:3], blindness) for place in (0.15, 0.5, 0.85))
        assert np.linalg.norm(low - high) > 30
        assert np.linalg.norm(low - middle) > 25
        assert np.linalg.norm(high - middle) > 25


def test_the_field_is_read_from_the_difference(results):
    field = balance_field(results)
    assert field.difference_db.shape == (480, 23)
    course = field.of_band((2000.0, 5000.0))
    inside = (field.times_s > 9) & (field.times_s < 19)
    assert np.nanmean(course[inside]) == pytest.approx(5.8, abs=0.3)


def test_what_could_have_gone_unlisted_stands_beside_the_map():
    results = made_up_results(SAME_TAKE)
    least = tuple(
        Detectable(band_hz, share, level)
        for share, levels in ((0.1, (1.5, 6.0, None)), (0.3, (1.25, 1.25, 1.25)))
        for band_hz, level in zip(((89, 178), (178, 355), (355, 708)), levels, strict=True)
    )
    quiet = plots.draw(replace(results, detectable=least, unseen=""), "balance").axes[0]
    told = replace(results, detectable=least, unseen="By up to 6 dB.")
    axes = plots.draw(told, "balance").axes[0]
    end = results.alignment.time_map.span_s[1]
    stripe = [patch for patch in axes.patches if patch.get_x() == end]
    assert len([patch for patch in quiet.patches if patch.get_x() == end]) == 0
    assert [(patch.get_y(), patch.get_height()) for patch in stripe] == [
        (89, 89),
        (178, 177),
        (355, 353),
    ]
    lights = [patch.get_facecolor()[0] for patch in stripe]
    assert lights == sorted(lights, reverse=True)  # the darker, the more
    assert [text.get_text() for text in axes.texts if text.get_position()[0] > end] == [
        "1.5",
        "6",
        "?",
    ]
    assert "stripe on the right" in plots.draw_all(told)["balance"].caption


def test_letters_that_no_xml_may_hold_are_replaced():
    """XML 1.0, 2.2 (the parser of the standard library refuses them)."""
    with style.settings():
        figure = style.new_figure()
        figure.text(0.5, 0.5, "vio\x1b\x01lin \ufffe é 音")
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # nothing for the user to read
        svg = style.to_svg(figure)
    texts = [each.text for each in ElementTree.fromstring(svg).iter() if each.text]
    assert any("vio\ufffd\ufffdlin \ufffd é 音" in text for text in texts)
