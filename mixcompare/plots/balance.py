"""Balance: the difference per band at the same gain, against time, and the elements in it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from mixcompare.plots import lanes, parts, style
from mixcompare.plots.contours import Field, balance_field, nan_mean
from mixcompare.plots.values import closed
from mixcompare.results import Results

if TYPE_CHECKING:
    from mixcompare.aspects.balance.values import BalanceDifference, Element
    from mixcompare.elements.local import LocalChange
    from mixcompare.parts.values import Lead, PartLevel

Row = tuple[str, float, tuple[float, float] | None, bool]
"""Name, level, its interval, and whether it is its own and no others'."""

FIELD_CAPTION = (
    "Difference per band against time once the overall gain is taken out: blue where the candidate"
    " has less, orange where it has more, grey where nothing sounds; numbered frames are findings."
)
ELEMENTS_CAPTION = (
    "Elements, and the parts of a score, against everything else, with 95 % intervals (hollow and"
    " grey where a part can't be told apart from those in brackets: no measurement of it alone);"
    " the pale stripe is what is just noticeable."
)
UNSEEN_CAPTION = (
    "The stripe on the right: by how many dB a single instrument with a tenth of the register's"
    " energy could have changed there unlisted; the darker, the more."
)
_STRIPE = 0.05  # of the picture's breadth; for the eye
_DARKEST_DB = 8.0  # for the eye
_MAP_CM = 8.0  # height of the map
_MOST_COLUMNS = 600  # resolution of the picture, and its cost
_MOST_ELEMENTS = 12  # for the eye: more would crowd it


def draw(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None where there is nothing to draw."""
    field = balance_field(results)
    found = results.measurements.get("balance")
    elements: list[Row] = []
    own: list[Element] = []
    written: Sequence[PartLevel] = ()
    leads: Sequence[Lead] = ()
    step = 0.0
    if found is not None:
        difference: BalanceDifference = found.difference
        elements, written, leads = _rows(difference), difference.parts, difference.leads
        own = lanes.shown(difference.elements) if field is not None else []
        step = found.about.size_of("balance")
    if field is None and not elements:
        return None
    heights = []
    if field is not None:
        heights.append(_MAP_CM)
    heights += [lanes.HEIGHT_CM] * len(own)
    if elements:
        heights.append(1.2 + 0.8 * len(elements))
    over_time_cm = parts.height_cm(written)
    if over_time_cm:
        heights.append(over_time_cm)
    axes = style.panels(figure, heights, share_x=False, width_cm=style.BROAD_CM)
    captions = []
    if field is not None:
        over_time = axes[: 1 + len(own)]
        _draw_field(results, field, over_time)
        captions.append(FIELD_CAPTION)
        if _draw_unseen(results, axes[0]):
            captions.append(UNSEEN_CAPTION)
        for element, lane in zip(own, over_time[1:], strict=True):
            lanes.draw(element, lane)
            lane.sharex(axes[0])
            lane.set_xlabel(axes[0].get_xlabel())
        for above in over_time[:-1]:
            above.set_xlabel("")
            above.tick_params(axis="x", labelbottom=False)
        captions += [lanes.CAPTION] if own else []
    if elements:
        _draw_elements(elements, step, axes[len(heights) - 1 - bool(over_time_cm)])
    if over_time_cm:
        parts.draw(written, results.alignment.time_map.span_s, axes[-1], leads)
    if elements:
        captions.append(f"Below: {ELEMENTS_CAPTION}" if field is not None else ELEMENTS_CAPTION)
    if over_time_cm:
        captions += [parts.CAPTION, *([parts.LEADS_CAPTION] if leads else [])]
    return " ".join(captions)


def _rows(difference: BalanceDifference) -> list[Row]:
    """Elements, then registers in places, then the written parts that are none of them."""
    changed: list[Element | LocalChange] = [*difference.elements, *difference.passages]
    players = {name for element in difference.elements for name in element.players}
    return [
        *((one.name, one.difference_db, one.interval, True) for one in changed[:_MOST_ELEMENTS]),
        *(
            (parts.named(part), part.level_db, part.level_db_interval, not part.together_with)
            for part in difference.parts
            if part.level_db is not None and part.name not in players
        ),
    ]


def _draw_field(results: Results, field: Field, over_time: Sequence[Axes]) -> None:
    """The map on the first of these; the colours' scale stands beside all of them."""
    axes = over_time[0]
    size = -(-len(field.times_s) // _MOST_COLUMNS)
    count = len(field.times_s) // size * size
    blocks = field.difference_db[:count].reshape(-1, size, len(field.band_centre_hz))
    levels = np.ma.masked_invalid(nan_mean(blocks, 1))
    times = field.times_s[:count:size]
    step = (field.times_s[-1] - field.times_s[0]) / max(len(field.times_s) - 1, 1) * size
    mesh = axes.pcolormesh(
        np.append(times, times[-1] + step) - step / size / 2,
        _edges_hz(field.band_centre_hz),
        levels.T,
        cmap=style.LIGHT_FIELD,
        vmin=-style.FIELD_LIMIT_DB,
        vmax=style.FIELD_LIMIT_DB,
        rasterized=True,
    )
    axes.set_facecolor(style.SILENT)
    axes.grid(visible=False)
    low, high = _edges_hz(field.band_centre_hz)[[0, -1]]
    style.frequency_axis(axes, (float(low), float(high)), vertical=True)
    style.time_axis(axes, results.alignment.time_map.span_s)
    for finding in results.findings:
        if finding.aspect != "balance" or finding.band_hz is None:
            continue
        bottom, top = finding.band_hz
        for start, end in finding.spans_s:
            frame: dict[str, Any] = {"fill": False, "edgecolor": style.INK, "linewidth": 1.2}
            axes.add_patch(Rectangle((start, bottom), end - start, top - bottom, **frame))
            axes.annotate(
                str(finding.rank), (start, top), (2, -2), textcoords="offset points",
                va="top", fontsize=8, color=style.INK,
                bbox={"boxstyle": "square,pad=0.15", "facecolor": style.PAPER, "linewidth": 0},
            )  # fmt: skip
    bar = axes.figure.colorbar(mesh, ax=list(over_time), pad=0.01, aspect=25)
    bar.set_label("candidate minus\nreference (dB)")
    bar.outline.set_visible(False)


def _draw_unseen(results: Results, axes: Axes) -> bool:
    """Stripe at the map's end: what could have gone unlisted; none where next to nothing could."""
    if not results.unseen or all(least.level_db is None for least in results.detectable):
        return False
    share = min(least.element_share for least in results.detectable)
    start, end = axes.get_xlim()
    wide = _STRIPE * (end - start)
    axes.set_xlim(start, end + wide)
    axes.axvline(end, color=style.PAPER, linewidth=2)
    for least in results.detectable:
        if least.element_share != share:
            continue
        low, high = least.band_hz
        told = least.level_db is not None
        dark = min((least.level_db or _DARKEST_DB) / _DARKEST_DB, 1.0)
        shade = style.grey(dark)
        axes.add_patch(
            Rectangle((end, low), wide, high - low, facecolor=shade, edgecolor=style.PAPER)
        )
        axes.text(
            end + wide / 2, float(np.sqrt(low * high)),
            f"{least.level_db:g}" if told else "?",
            ha="center", va="center", fontsize=7, clip_on=True,
            color=style.PAPER if dark > 0.5 else style.INK,
        )  # fmt: skip
    return True


def _draw_elements(elements: list[Row], step: float, axes: Axes) -> None:
    # Under the names, which stand inside and are read through nothing.
    axes.axvspan(-step, step, color=style.FAINT, alpha=0.6, linewidth=0, zorder=0.1)
    axes.axvline(0, color=style.QUIET, linewidth=0.9, zorder=0.2)
    ends = [3.0]
    for row, (_, value, interval, own) in enumerate(elements):
        around = closed(interval)
        ends.append(abs(value))
        colour = style.CANDIDATE if value > 0 else style.REFERENCE
        colour, line, fill = (colour, "-", colour) if own else (style.QUIET, ":", style.PAPER)
        if around is not None:
            axes.plot(around, (row, row), color=colour, linewidth=1.5, linestyle=line)
            ends.extend(abs(bound) for bound in around)
        axes.plot(value, row, "o", color=colour, markersize=5, markerfacecolor=fill)
    limit = min(1.1 * max(ends), 18.0)
    axes.set_xlim(-limit, limit)
    axes.set_ylim(len(elements) - 0.4, -0.9)
    axes.set_yticks(range(len(elements)), [name for name, *_ in elements])
    # Over its row and inside: long names beside it would take the breadth of everything above.
    axes.tick_params(axis="y", length=0, pad=-4)
    for label in axes.get_yticklabels():
        label.set_horizontalalignment("left")
        label.set_verticalalignment("bottom")
        label.set_bbox({"facecolor": style.PAPER, "edgecolor": "none", "pad": 0.8})
    axes.set_xlabel("candidate minus reference (dB)")


def _edges_hz(centres: np.ndarray[Any, np.dtype[np.float64]]) -> np.ndarray[Any, Any]:
    """Edges halfway between neighbouring bands, in octaves."""
    octaves = np.log2(centres)
    middle = (octaves[1:] + octaves[:-1]) / 2
    first = octaves[0] - (middle[0] - octaves[0])
    last = octaves[-1] + (octaves[-1] - middle[-1])
    return np.asarray(2 ** np.concatenate([[first], middle, [last]]))
