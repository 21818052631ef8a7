"""How every figure looks: two colours, two line styles, units on the axes, and how it is written.

The reference is a solid blue line, the candidate a dashed orange one, so that they differ for
colour-blind eyes and in grey print too. A diverging field runs from the reference's blue (the
candidate has less) to the candidate's orange (it has more).
"""

from __future__ import annotations

import io
import re
import threading
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullLocator

from mixcompare.findings import clock

_NO_XML = re.compile("[^\\t\\n\\r\\x20-\\ud7ff\\ue000-\\ufffd\\U00010000-\\U0010ffff]")
"""What no XML may hold (XML 1.0, 2.2, from memory), and names of parts and stems may."""

FloatArray = npt.NDArray[np.float64]

REFERENCE, CANDIDATE = "#1c5d99", "#a84c08"
INK, QUIET, FAINT, SILENT = "#1e2430", "#5d6673", "#d4d8de", "#b3b8bf"
PAPER = "#ffffff"

REFERENCE_LINE: dict[str, Any] = {"color": REFERENCE, "linestyle": "-", "linewidth": 1.7}
CANDIDATE_LINE: dict[str, Any] = {"color": CANDIDATE, "linestyle": (0, (4, 1.6)), "linewidth": 1.7}
DIFFERENCE_LINE: dict[str, Any] = {"color": INK, "linestyle": "-", "linewidth": 1.5}
INTERVAL_FILL: dict[str, Any] = {"color": QUIET, "alpha": 0.28, "linewidth": 0}

LIGHT_FIELD = LinearSegmentedColormap.from_list(
    "less_to_more",
    ["#0c3259", "#2f73b0", "#9fc3e0", "#f6f5f2", "#efbd86", "#c86a14", "#632a00"],
).with_extremes(bad=SILENT)
DARK_FIELD = LinearSegmentedColormap.from_list(
    "less_to_more_dark",
    ["#b9dcff", "#5b9fdc", "#2b5784", "#1d222b", "#82481a", "#d98a3c", "#ffdcae"],
).with_extremes(bad="#3d434d")
FIELD_LIMIT_DB = 12.0  # for the eye: the deepest colour

WIDTH_CM = 15.0  # of nearly every figure
BROAD_CM = 22.0  # of one that takes the page's whole width
_SETTINGS: dict[Any, Any] = {
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.labelsize": 9,
    "axes.titlesize": 9.5,
    "axes.titlelocation": "left",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "figure.facecolor": PAPER,
    "font.family": ["sans-serif"],
    "font.size": 9,
    "grid.color": FAINT,
    "grid.linewidth": 0.6,
    "hatch.linewidth": 0.6,
    "legend.frameon": False,
    "legend.fontsize": 9,
    "savefig.facecolor": PAPER,
    "svg.fonttype": "none",
    "svg.hashsalt": "mixcompare",
    "text.color": INK,
    "text.parse_math": False,
    "xtick.color": QUIET,
    "xtick.labelcolor": INK,
    "xtick.labelsize": 8.5,
    "ytick.color": QUIET,
    "ytick.labelcolor": INK,
    "ytick.labelsize": 8.5,
}
_ONE_AT_A_TIME = threading.RLock()
# Nominal octaves (IEC 61260-1:2014).
_OCTAVES_HZ = (31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000)


@contextmanager
def settings() -> Iterator[None]:
    """Context in which figures are made and written; nothing stays set for other figures.

    The settings are the process's own, so one thread draws at a time: two that set and restore
    them in turns would leave the one's behind for the other, and for the user.
    """
    with _ONE_AT_A_TIME, rc_context(_SETTINGS):
        yield


class VectorFigure(Figure):
    """A figure that a notebook shows as vector graphics."""

    def _repr_svg_(self) -> str:
        return to_svg(self)


def new_figure() -> Figure:
    """An empty figure, 15 cm wide; the height is set by :func:`panels`."""
    return VectorFigure(figsize=(WIDTH_CM / 2.54, 3.2), layout="constrained")


def panels(
    figure: Figure,
    heights_cm: Sequence[float],
    share_x: bool = True,
    width_cm: float = WIDTH_CM,
) -> list[Axes]:
    """Axes over each other, as high as given."""
    figure.set_size_inches(width_cm / 2.54, (sum(heights_cm) + 1.0) / 2.54)
    axes = figure.subplots(
        len(heights_cm), 1, sharex=share_x, squeeze=False, height_ratios=heights_cm
    )
    return [axes[row, 0] for row in range(len(heights_cm))]


def columns(figure: Figure, height_cm: float, widths: Sequence[float]) -> list[Axes]:
    """Axes beside each other."""
    figure.set_size_inches(WIDTH_CM / 2.54, height_cm / 2.54)
    axes = figure.subplots(1, len(widths), squeeze=False, width_ratios=widths)
    return [axes[0, column] for column in range(len(widths))]


def columns_over_one(
    figure: Figure, heights_cm: tuple[float, float], widths: Sequence[float]
) -> tuple[list[Axes], Axes]:
    """Axes beside each other, and one below them as wide as all."""
    figure.set_size_inches(WIDTH_CM / 2.54, (sum(heights_cm) + 1.0) / 2.54)
    grid = figure.add_gridspec(2, len(widths), width_ratios=widths, height_ratios=heights_cm)
    beside = [figure.add_subplot(grid[0, column]) for column in range(len(widths))]
    return beside, figure.add_subplot(grid[1, :])


def time_axis(axes: Axes, span_s: tuple[float, float]) -> None:
    """Horizontal axis in minutes and seconds of the reference."""
    start, end = span_s
    axes.set_xlim(start, end)
    steps = [1, 1.5, 2, 3, 6, 10] if end - start > 60 else [1, 2, 5, 10]
    axes.xaxis.set_major_locator(MaxNLocator(8, steps=steps, integer=True))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: clock(value)))
    axes.set_xlabel("time in the reference (min:s)")


def grey(dark: float) -> tuple[float, float, float]:
    """A grey between the paper (0) and nearly the ink (1)."""
    light = 0.95 - 0.7 * dark
    return light, light, light


def frequency_axis(axes: Axes, band_hz: tuple[float, float], vertical: bool = False) -> None:
    """Logarithmic frequency axis with a label at every octave."""
    low, high = band_hz
    axis: Axis = axes.yaxis if vertical else axes.xaxis
    if vertical:
        axes.set_yscale("log")
        axes.set_ylim(low, high)
    else:
        axes.set_xscale("log")
        axes.set_xlim(low, high)
    axis.set_label_text("frequency (Hz)")
    axis.set_major_locator(FixedLocator([hz for hz in _OCTAVES_HZ if low <= hz <= high]))
    axis.set_minor_locator(NullLocator())
    axis.set_major_formatter(FuncFormatter(lambda value, _: hertz(value)))


def hertz(value: float) -> str:
    """A frequency as an axis shows it: ``63``, ``1k``, ``2.5k``."""
    return f"{value / 1000:g}k" if value >= 1000 else f"{value:g}"


def zero_line(axes: Axes, value: float = 0.0) -> None:
    """Where both recordings are alike."""
    axes.axhline(value, color=QUIET, linewidth=0.9)


def symmetric(axes: Axes, smallest: float, *values: npt.ArrayLike) -> None:
    """Vertical range that is symmetric about zero and holds all finite values."""
    limit = smallest
    for array in values:
        finite = np.abs(np.asarray(array, np.float64))
        finite = finite[np.isfinite(finite)]
        if finite.size:
            limit = max(limit, 1.12 * float(finite.max()))
    axes.set_ylim(-limit, limit)


def name_recordings(axes: Axes) -> None:
    """Legend of the lines labelled so far, over the axes and clear of the curves."""
    handles, labels = axes.get_legend_handles_labels()
    first = dict(zip(reversed(labels), reversed(handles), strict=True))
    names = [name for name in ("reference", "candidate") if name in first]
    axes.legend(
        [first[name] for name in names], names, loc="lower left", bbox_to_anchor=(0, 1.0),
        ncols=2, handlelength=2.8, borderaxespad=0.1,
    )  # fmt: skip


@contextmanager
def _laid_out(figure: Figure) -> Iterator[None]:
    """Context in which a figure's layout is made already, in SVG's own units.

    Saving would draw the whole figure once more, into nothing, to make it.
    """
    engine = figure.get_layout_engine()
    if engine is None or not figure.axes:
        yield
        return
    canvas, dpi = figure.canvas, figure.dpi
    figure.set_canvas(FigureCanvasSVG(figure))
    figure.dpi = FigureCanvasSVG.fixed_dpi
    engine.execute(figure)
    figure.set_canvas(canvas)
    figure.dpi = dpi
    figure.set_layout_engine(None)
    try:
        yield
    finally:
        figure.set_layout_engine(engine)


def to_svg(figure: Figure) -> str:
    """The figure as SVG text with real letters, without date or program name."""
    buffer = io.StringIO()
    blank = dict.fromkeys(("Creator", "Date", "Format", "Type"))
    with settings(), warnings.catch_warnings():
        # Letters stay letters: whoever shows them has a font that holds them.
        warnings.filterwarnings("ignore", "Glyph", UserWarning)
        with _laid_out(figure):
            figure.savefig(buffer, format="svg", metadata=blank)
    return _NO_XML.sub("\N{REPLACEMENT CHARACTER}", buffer.getvalue())
