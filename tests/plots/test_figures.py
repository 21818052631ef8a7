"""Every figure against the results: each number is where the axes say it is, under its own name."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.colors import to_hex

from mixcompare import plots
from mixcompare.alignment.result import SAME_PASSAGE
from mixcompare.aspects import JUST_NOTICEABLE
from mixcompare.findings.manner import MANNERS
from mixcompare.plots import articulation, style
from mixcompare.plots.contours import thinned
from mixcompare.plots.dots import Dot, draw_dots
from tests.report.builders import CENTRES_HZ

COLOURS = {"reference": style.REFERENCE, "candidate": style.CANDIDATE}


def axes_of(shown, aspect):
    results, figures = shown
    return results, figures[aspect].figure.axes


def curves(axes):
    """Data of the two recordings' lines, by the name in the legend, which must have its colour."""
    legend = axes.get_legend()
    names = [text.get_text() for text in legend.get_texts()]
    handles = [to_hex(handle.get_color()) for handle in legend.legend_handles]
    assert dict(zip(names, handles, strict=True)) == COLOURS
    out = {}
    for line in axes.lines:
        if line.get_label() in COLOURS and line.get_label() not in out:
            assert to_hex(line.get_color()) == COLOURS[line.get_label()]
            out[line.get_label()] = np.array(line.get_data(), float)
    return out["reference"], out["candidate"]


def points(axes, colour, marker="o"):
    """Single dots of a colour, in the order in which they were drawn."""
    return [
        (float(line.get_xdata()[0]), float(line.get_ydata()[0]))
        for line in axes.lines
        if line.get_marker() == marker
        and len(line.get_xdata()) == 1
        and to_hex(line.get_color()) == colour
    ]


def filled(collection):
    """Corners of what is filled, rounded."""
    return {
        (round(float(x), 4), round(float(y), 4))
        for path in collection.get_paths()
        for x, y in path.vertices
    }


def edges_of_band(x, low, high):
    known = np.isfinite(low) & np.isfinite(high)
    return {
        (round(float(a), 4), round(float(b), 4))
        for side in (low, high)
        for a, b in zip(np.array(x)[known], np.array(side)[known], strict=True)
    }


def stripe(axes, vertical=False):
    """Extent of the pale stripe of what is just noticeable."""
    (patch,) = [one for one in axes.patches if to_hex(one.get_facecolor()) == style.FAINT]
    box = patch.get_extents().transformed(axes.transData.inverted())
    return (box.x0, box.x1) if vertical else (box.y0, box.y1)


def known(values):
    return np.array(values, float)


def on_reference_clock(results, times_s, levels):
    """A contour of the candidate where the music of the given reference times lies in it."""
    times = known(times_s)
    time_map = results.alignment.time_map
    out = []
    for time in times:
        place = float(time_map.to_candidate(time))
        series_s, values = known(levels[0]), known(levels[1])
        inside = series_s[0] <= place <= series_s[-1] and time_map.covers(time)
        out.append(np.interp(place, series_s, values) if inside else np.nan)
    return np.array(out)


def test_loudness(shown):
    results, (upper, lower) = axes_of(shown, "loudness")
    found = results.measurements["loudness"]
    start, end = results.alignment.time_map.span_s
    times = known(found.reference.series_s)
    inside = (times >= start) & (times <= end)
    ours = known(found.reference.short_term_lufs)[inside]
    theirs = on_reference_clock(
        results, times[inside], (found.candidate.series_s, found.candidate.short_term_lufs)
    )
    assert np.isfinite(theirs).sum() > 100
    reference, candidate = curves(upper)
    np.testing.assert_allclose(reference, [times[inside], ours])
    np.testing.assert_allclose(candidate, [times[inside], theirs])
    assert upper.get_ylabel() == "loudness (LUFS)"
    (difference,) = [line for line in lower.lines if len(line.get_xdata()) > 2]
    np.testing.assert_allclose(
        difference.get_ydata(), theirs - results.level.gain_db - ours, atol=1e-9
    )
    assert lower.get_ylabel() == "difference (LU)"
    low, high = lower.get_ylim()
    assert low == -high
    assert high == pytest.approx(max(3.0, 1.12 * np.nanmax(np.abs(difference.get_ydata()))))
    assert lower.get_xlim() == (start, end)


def test_balance(shown):
    results, axes = axes_of(shown, "balance")
    difference = results.measurements["balance"].difference
    field = axes[0]
    (mesh,) = field.collections
    wanted = known(difference.difference_db)
    assert len(wanted) <= 600  # one column a frame
    drawn = np.ma.filled(mesh.get_array(), np.nan)
    np.testing.assert_array_equal(drawn, wanted.T)
    corners = mesh.get_coordinates()
    across, up = corners[0, :, 0], corners[:, 0, 1]
    np.testing.assert_allclose((across[1:] + across[:-1]) / 2, difference.times_s, atol=1e-6)
    centres = known(difference.band_centre_hz)
    np.testing.assert_allclose(up[1:-1], np.sqrt(centres[1:] * centres[:-1]))
    np.testing.assert_allclose(np.sqrt(up[[0, -1]] * up[[1, -2]]), centres[[0, -1]])
    assert field.get_ylim() == pytest.approx(up[[0, -1]])
    assert mesh.get_clim() == (-12, 12)
    more, less = mesh.cmap(0.9), mesh.cmap(0.1)
    assert more[0] > more[2]  # orange
    assert less[2] > less[0]  # blue
    bar = axes[-1]
    assert bar.get_ylabel() == "candidate minus\nreference (dB)"
    wanted = [
        (start, end, *finding.band_hz, str(finding.rank))
        for finding in results.findings
        if finding.aspect == "balance"
        for start, end in finding.spans_s
    ]
    frames = [
        (*(x.tolist() for x in np.array([patch.get_x(), patch.get_x() + patch.get_width()])),
         patch.get_y(), patch.get_y() + patch.get_height(), text.get_text())
        for patch, text in zip(field.patches, field.texts, strict=True)
    ]  # fmt: skip
    assert len(frames) == len(wanted)
    for frame, (*numbers, rank) in zip(frames, wanted, strict=True):
        assert frame[:4] == pytest.approx(numbers)
        assert frame[4] == rank
    for text, patch in zip(field.texts, field.patches, strict=True):
        assert text.xy == (patch.get_x(), patch.get_y() + patch.get_height())
    named = [*difference.elements, *difference.passages]
    if not named:
        assert len(axes) == 2
        return
    own = [one for one in difference.elements if one.course_db]
    assert len(axes) == 3 + len(own)  # the map, its scale, the lanes and the dots
    for element, lane in zip(own, axes[1:], strict=False):
        assert lane.get_title(loc="left") == f"{element.name}: {element.difference_db:+.1f} dB"
        (course,) = [line for line in lane.lines if to_hex(line.get_color()) == style.INK]
        told = np.array(element.course_db, float)
        np.testing.assert_allclose(course.get_ydata(), told)
        np.testing.assert_allclose(course.get_xdata(), element.course_s)
        assert lane.get_xlim() == field.get_xlim()
    elements = axes[1 + len(own)]
    assert [text.get_text() for text in elements.get_yticklabels()] == [one.name for one in named]
    assert elements.get_xlabel() == "candidate minus reference (dB)"
    assert stripe(elements, vertical=True) == pytest.approx((-1.0, 1.0))
    assert elements.yaxis_inverted()
    for row, one in enumerate(named):
        colour = style.CANDIDATE if one.difference_db > 0 else style.REFERENCE
        assert (one.difference_db, row) in points(elements, colour)
        whiskers = [
            (tuple(line.get_xdata()), tuple(line.get_ydata()))
            for line in elements.lines
            if to_hex(line.get_color()) == colour
        ]
        assert (one.interval, (row, row)) in whiskers


def test_tone(shown):
    results, (upper, lower) = axes_of(shown, "tone")
    found = results.measurements["tone"]
    reference, candidate = curves(upper)
    np.testing.assert_array_equal(
        reference, [found.reference.band_centre_hz, known(found.reference.band_level_db)]
    )
    np.testing.assert_array_equal(
        candidate, [found.candidate.band_centre_hz, known(found.candidate.band_level_db)]
    )
    assert upper.get_ylabel() == "band level (dB)"
    (curve,) = [line for line in lower.lines if len(line.get_xdata()) == 31]
    np.testing.assert_array_equal(curve.get_xdata(), found.difference.band_centre_hz)
    np.testing.assert_array_equal(curve.get_ydata(), known(found.difference.band_level_db))
    low, high = np.array(
        [pair or (np.nan, np.nan) for pair in found.difference.band_level_db_interval], float
    ).T
    (band,) = lower.collections
    assert filled(band) == edges_of_band(curve.get_xdata(), low, high)
    assert stripe(lower) == pytest.approx((-1.5, 1.5))
    assert lower.get_ylabel() == "candidate minus\nreference (dB)"
    assert lower.get_xscale() == "log"
    assert lower.get_xlabel() == "frequency (Hz)"


def test_articulation(shown):
    results, (*above, below) = axes_of(shown, "articulation")
    difference = results.measurements["articulation"].difference
    assert difference.examples
    assert len(above) == len(difference.examples[:3])
    (legend,) = above[0].figure.legends
    assert [text.get_text() for text in legend.get_texts()] == list(COLOURS)
    for axes, example in zip(above, difference.examples, strict=False):
        gaps = {to_hex(patch.get_facecolor()): patch for patch in axes.patches}
        for role, colour in COLOURS.items():
            (line,) = [one for one in axes.lines if one.get_label() == role]
            assert to_hex(line.get_color()) == colour
            times = known(getattr(example, f"{role}_time_s"))
            levels = known(getattr(example, f"{role}_level_db"))
            next_s = getattr(example, f"{role}_interval_s")
            held_s = getattr(example, f"{role}_held_s")
            seen = (times >= -0.05) & (times <= 1.02 * next_s)
            np.testing.assert_allclose(line.get_xdata(), 1000 * times[seen])
            smooth = articulation.followed(times, levels)[seen]
            np.testing.assert_allclose(line.get_ydata(), np.maximum(smooth, -40))
            ((place, level),) = points(axes, colour)
            assert place == pytest.approx(1000 * held_s)
            assert level == pytest.approx(np.interp(place, *line.get_data()))
            if held_s < next_s:
                gap = gaps[colour]
                assert gap.get_x() == pytest.approx(1000 * held_s)
                assert gap.get_x() + gap.get_width() == pytest.approx(1000 * next_s)
            else:
                assert colour not in gaps
        assert axes.get_xlabel() == "from the onset (ms)"
        assert axes.get_title(loc="right").startswith(articulation.note_name(example.pitch))
    for role, ratios in (
        ("reference", difference.note_reference_ratio),
        ("candidate", difference.note_candidate_ratio),
    ):
        (dots,) = [
            line
            for line in below.lines
            if to_hex(line.get_color()) == COLOURS[role] and line.get_marker() == "o"
        ]
        np.testing.assert_allclose(dots.get_data(), [difference.note_s, 100 * np.array(ratios)])
    (stems,) = below.collections
    ends = np.array(stems.get_segments())
    np.testing.assert_allclose(ends[:, 0, 0], difference.note_s)
    np.testing.assert_allclose(ends[:, 0, 1], 100 * np.array(difference.note_reference_ratio))
    np.testing.assert_allclose(ends[:, 1, 1], 100 * np.array(difference.note_candidate_ratio))
    assert [text.get_text() for text in below.texts] == [
        "legato or tenuto", "portato", "detached", "staccato", "staccatissimo",
    ]  # fmt: skip
    # Every name stands in its own stripe.
    for text, (least, _) in zip(below.texts, MANNERS, strict=True):
        assert text.xy[1] > 100 * least
    assert difference.shown in shown[1]["articulation"].caption


def test_notes_have_the_names_that_musicians_give_them():
    """Middle C is C4, and A4 is 440 Hz (MIDI note 69; General MIDI, from memory)."""
    assert [articulation.note_name(pitch) for pitch in (60, 69, 78, 21)] == [
        "C4", "A4", "F#5", "A0",
    ]  # fmt: skip


def test_an_ear_follows_no_ripple_but_every_gap():
    times = np.arange(0, 1, 0.005)
    ripple = 3 * np.sin(2 * np.pi * 30 * times)
    assert np.ptp(articulation.followed(times, ripple)[20:-20]) < 0.3
    gap = np.where(np.abs(times - 0.5) < 0.1, -40.0, 0.0)
    assert articulation.followed(times, gap)[100] < -20


def test_articulation_without_notes_shows_both_ratios_as_dots(results):
    found = results.measurements["articulation"]
    bare = replace(found.difference, note_reference_ratio=(), note_candidate_ratio=(), examples=())
    measurements = {"articulation": replace(found, difference=bare)}
    (axes,) = plots.draw(replace(results, measurements=measurements), "articulation").axes
    check_dots(axes, (0.83, (0.8, 0.86)), (0.62, (0.57, 0.67)))
    assert axes.get_xlabel() == "share of the time between onsets that notes sound (1)"
    assert axes.get_xlim() == pytest.approx((0.0, 1.15 * 0.86))
    kept = replace(found.difference, examples=())
    measurements = {"articulation": replace(found, difference=kept)}
    (axes,) = plots.draw(replace(results, measurements=measurements), "articulation").axes
    for (shares, counted), of_notes in zip(
        curves(axes),
        (found.difference.note_reference_ratio, found.difference.note_candidate_ratio),
        strict=True,
    ):
        np.testing.assert_allclose(shares, 100 * np.sort(of_notes))
        # Of n notes, after the k-th shortest k / n sound shorter.
        share = 100 * np.arange(1, len(of_notes) + 1) / len(of_notes)
        np.testing.assert_allclose(counted, share)


def check_dots(axes, *values):
    """One row a recording: the reference above, as a circle; the candidate as a square."""
    assert [text.get_text() for text in axes.get_yticklabels()] == ["reference", "candidate"]
    assert axes.yaxis_inverted()
    for row, (role, marker, (value, around)) in enumerate(
        zip(COLOURS, ("o", "s"), values, strict=True)
    ):
        assert points(axes, COLOURS[role], marker) == [(value, row)]
        whiskers = [
            tuple(line.get_xdata())
            for line in axes.lines
            if to_hex(line.get_color()) == COLOURS[role] and len(line.get_xdata()) == 2
        ]
        assert whiskers == ([around] if around else [])


def test_dots_of_one_row_lie_beside_each_other_the_reference_above():
    figure = style.new_figure()
    dots = [Dot("flute", "reference", 2.0), Dot("flute", "candidate", -3.0, (-4.0, -2.5))]
    draw_dots(dots, figure, "level (dB)", smallest=1.0)
    (axes,) = figure.axes
    ((value, above),) = points(axes, style.REFERENCE, "o")
    ((other, below),) = points(axes, style.CANDIDATE, "s")
    assert (value, other) == (2.0, -3.0)
    assert above < 0 < below  # the axis is turned over
    assert axes.yaxis_inverted()
    assert [text.get_text() for text in axes.get_legend().get_texts()] == list(COLOURS)
    assert axes.get_xlim() == pytest.approx((-4.6, 4.6))


def test_width(shown):
    results, (upper, lower) = axes_of(shown, "width")
    found = results.measurements["width"]
    for axes, name in ((upper, "band_side_to_mid_db"), (lower, "band_correlation")):
        for role, side in (("reference", found.reference), ("candidate", found.candidate)):
            (line,) = [one for one in axes.lines if one.get_label() == role]
            assert to_hex(line.get_color()) == COLOURS[role]
            np.testing.assert_array_equal(
                line.get_data(), [side.band_centre_hz, known(getattr(side, name))]
            )
    curves(upper)
    assert upper.get_ylabel() == "side against\nmid (dB)"
    assert lower.get_ylabel() == "correlation (1)"
    assert lower.get_ylim() == (-1.05, 1.05)


def test_placement(shown):
    results, (axes,) = axes_of(shown, "placement")
    found = results.measurements["placement"]
    reference, candidate = curves(axes)
    np.testing.assert_array_equal(
        reference, [known(found.reference.position), found.reference.band_centre_hz]
    )
    np.testing.assert_array_equal(
        candidate, [known(found.candidate.position), found.candidate.band_centre_hz]
    )
    step = JUST_NOTICEABLE["placement"].size
    assert step == 0.1
    (band,) = axes.collections
    ours = known(found.reference.position)
    wanted = edges_of_band(found.reference.band_centre_hz, ours - step, ours + step)
    assert filled(band) == {(position, hz) for hz, position in wanted}
    assert axes.get_xlim() == (-1, 1)  # left at the left
    assert axes.get_yscale() == "log"
    assert not axes.yaxis_inverted()


def test_room(shown):
    results, axes = axes_of(shown, "room")
    found = results.measurements["room"]
    decays, wetness = (axes[0], axes[-1]) if len(axes) == 2 else (None, axes[0])
    has_decays = any(
        np.isfinite(known(side.octave_decay_time_s)).any()
        for side in (found.reference, found.candidate)
    )
    assert has_decays == (decays is not None)
    if decays is not None:
        reference, candidate = curves(decays)
        for drawn, side in ((reference, found.reference), (candidate, found.candidate)):
            np.testing.assert_array_equal(
                drawn, [side.octave_centre_hz, known(side.octave_decay_time_s)]
            )
        assert decays.get_ylabel() == "decay time (s)"
        assert decays.get_ylim()[0] == 0
    registers = found.difference.register_wetness_db
    values = [found.difference.wetness_db, *registers]
    rows = ["over all", "below 280 Hz", "280 to 900 Hz", "900 Hz to 2.8 kHz", "above 2.8 kHz"]
    assert [text.get_text() for text in wetness.get_yticklabels()] == rows[: len(values)]
    assert len(values) in (1, 5)
    for row, value in enumerate(values):
        colour = style.CANDIDATE if value > 0 else style.REFERENCE
        assert (value, row) in points(wetness, colour)
    whiskers = [tuple(line.get_xdata()) for line in wetness.lines if len(line.get_xdata()) == 2]
    assert found.difference.wetness_db_interval in whiskers
    assert stripe(wetness, vertical=True) == pytest.approx((-1.5, 1.5))
    assert wetness.get_xlabel() == "wetness, candidate against reference (dB)"
    assert wetness.yaxis_inverted()


def test_dynamics(shown):
    results, (left, right) = axes_of(shown, "dynamics")
    found = results.measurements["dynamics"]
    start, end = results.alignment.time_map.span_s
    times = known(found.reference.contour_s)
    inside = (times >= start) & (times <= end)
    ours = known(found.reference.contour_db)[inside]
    theirs = on_reference_clock(
        results, times[inside], (found.candidate.contour_s, found.candidate.contour_db)
    )
    both = np.isfinite(ours) & np.isfinite(theirs)
    assert both.sum() > 100
    ours, theirs = ours - ours[both].mean(), theirs - theirs[both].mean()
    reference, candidate = curves(left)
    for drawn, wanted in ((reference, ours), (candidate, theirs)):
        wanted_s, wanted = thinned(times[inside], np.maximum(wanted, -25))
        np.testing.assert_allclose(drawn, [wanted_s, wanted], atol=1e-9)
    assert left.get_ylabel() == "level against the mean (LU)"
    (cloud,) = [line for line in right.lines if line.get_marker() == "o"]
    loud = both & (ours > -25) & (theirs > -25)
    size = -(-int(loud.sum()) // 400)
    pairs = np.stack([ours[loud], theirs[loud]], axis=1)
    pairs = pairs[: len(pairs) // size * size].reshape(-1, size, 2).mean(axis=1)
    np.testing.assert_allclose(cloud.get_data(), pairs.T, atol=1e-9)
    (fit,) = [line for line in right.lines if to_hex(line.get_color()) == style.CANDIDATE]
    slope = np.diff(fit.get_ydata()) / np.diff(fit.get_xdata())
    assert slope[0] == pytest.approx(found.difference.swing_db_per_db)
    (even,) = [line for line in right.lines if to_hex(line.get_color()) == style.QUIET]
    assert tuple(even.get_xdata()) == tuple(even.get_ydata()) == right.get_xlim()
    assert right.get_ylim() == right.get_xlim()
    assert right.get_xlabel() == "reference (LU)"
    assert right.get_ylabel() == "candidate (LU)"


def test_tempo(shown):
    results, figures = shown
    if results.alignment.relation != SAME_PASSAGE:
        assert "tempo" not in figures
        return
    (axes,) = figures["tempo"].figure.axes
    difference = results.measurements["tempo"].difference
    curve = max(axes.lines, key=lambda line: len(line.get_xdata()))
    drawn = np.isfinite(curve.get_xdata())
    np.testing.assert_allclose(curve.get_xdata()[drawn], difference.curve_s)
    ratio = difference.ratio * (1 + known(difference.curve_percent) / 100)
    # In 1.25 times the time it goes at four fifths of the tempo.
    np.testing.assert_allclose(curve.get_ydata()[drawn], 100 / ratio - 100)
    half = difference.ratio * known(difference.curve_half_width_percent) / 100
    (band,) = axes.collections
    slowest, fastest = 100 / (ratio + half) - 100, 100 / (ratio - half) - 100
    wanted = edges_of_band(difference.curve_s, slowest, fastest)
    assert filled(band) == wanted
    (whole,) = [line for line in axes.lines if to_hex(line.get_color()) == style.CANDIDATE]
    assert whole.get_ydata()[0] == pytest.approx(difference.tempo_percent)
    assert stripe(axes) == pytest.approx((-2, 2))
    assert axes.get_ylabel() == "tempo, candidate\nagainst reference (%)"


def test_tuning(shown):
    results, (axes,) = axes_of(shown, "tuning")
    found = results.measurements["tuning"]
    check_dots(
        axes,
        *(
            (side.cents_against_440, side.cents_against_440_interval)
            for side in (found.reference, found.candidate)
        ),
    )
    low, high = axes.get_xlim()
    assert low == -high
    assert high == 20
    assert axes.get_xlabel() == "tuning against A = 440 Hz (cents)"


def test_alignment(shown):
    results, (axes,) = axes_of(shown, "alignment")
    time_map = results.alignment.time_map
    times, places = time_map.reference_s, time_map.candidate_s
    straight = np.interp(times, times[[0, -1]], places[[0, -1]])
    away, width = places - straight, np.array(time_map.half_width_ms) / 1000
    width = np.where(np.isfinite(width), width, np.nan)
    fine = np.nanmax(np.abs(away) + np.nan_to_num(width)) < 0.5
    scale, unit = (1000, "(ms)") if fine else (1, "(s)")
    (curve,) = [line for line in axes.lines if to_hex(line.get_color()) == style.CANDIDATE]
    np.testing.assert_allclose(curve.get_data(), [times, scale * away], atol=1e-9)
    (band,) = axes.collections
    wanted = edges_of_band(times, scale * (away - width), scale * (away + width))
    assert filled(band) == wanted
    assert axes.get_ylabel().endswith(unit)
    clock = "clock" if results.alignment.same_take else "tempo"
    assert axes.get_ylabel().startswith(f"candidate behind\nan even {clock}")
    assert axes.get_xlim() == time_map.span_s


def test_many_moments_are_drawn_as_means(results):
    times = np.arange(1300) / 10
    levels = np.random.default_rng(0).normal(size=(1300, 31))
    found = results.measurements["balance"]
    difference = replace(
        found.difference, times_s=tuple(times), band_centre_hz=CENTRES_HZ, difference_db=levels
    )
    measurements = {"balance": replace(found, difference=difference)}
    axes = plots.draw(replace(results, measurements=measurements), "balance").axes[0]
    (mesh,) = axes.collections
    # 1300 columns into at most 600: three to one, one left over.
    wanted = levels[:1299].reshape(433, 3, 31).mean(axis=1)
    np.testing.assert_allclose(mesh.get_array(), wanted.T)
    corners = mesh.get_coordinates()[0, :, 0]
    np.testing.assert_allclose((corners[1:] + corners[:-1]) / 2, times[1:1299:3], atol=1e-9)
    few, means = thinned(times, levels[:, 0], most=700)
    np.testing.assert_allclose(few, (times[::2] + times[1::2]) / 2)
    np.testing.assert_allclose(means, (levels[::2, 0] + levels[1::2, 0]) / 2)
    assert thinned(times, times, most=1300)[0] is times
