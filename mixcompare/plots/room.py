"""Room: decay times of both recordings, and how much wetter one is, per band."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from mixcompare.findings import JUST_NOTICEABLE
from mixcompare.plots import style
from mixcompare.plots.dots import Dot, draw_dots
from mixcompare.plots.values import bounds, interval, measured, number, series
from mixcompare.results import Measured, Results

CAPTION = (
    "Decay time and wetness where they can be told, with 95 % intervals where known; above zero the"
    " candidate is wetter. The pale stripe is what is just noticeable."
)
DECAY_CAPTION = "Time for 60 dB of decay where it can be told, with 95 % intervals where known."
_DECAYS = (("decay time", "decay_time_s"), ("early decay", "early_decay_time_s"))


def draw(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None where nothing of the room can be told."""
    found = measured(results, "room")
    if found is None:
        return None
    decays = series(found.reference, "band_decay_time_s") is not None
    decays = decays or series(found.candidate, "band_decay_time_s") is not None
    wetness = series(found.difference, "band_wetness_db") is not None
    if decays or wetness:
        axes = style.panels(figure, [4.2] * (decays + wetness), share_x=False)
        if decays:
            _draw_decays(found, axes[0])
        if wetness:
            _draw_wetness(found, axes[-1])
        return CAPTION
    dots = []
    for label, name in _DECAYS:
        for role in ("reference", "candidate"):
            holder = getattr(found, role)
            value = number(holder, name)
            if value is not None:
                dots.append(Dot(label, role, value, interval(holder, name)))
    if not dots:
        return None
    draw_dots(dots, figure, "time for 60 dB of decay (s)")
    return DECAY_CAPTION


def _draw_decays(found: Measured, axes: Axes) -> None:
    for role, line, marker in (
        ("reference", style.REFERENCE_LINE, "o"),
        ("candidate", style.CANDIDATE_LINE, "s"),
    ):
        holder = getattr(found, role)
        centres, decays = series(holder, "band_centre_hz"), series(holder, "band_decay_time_s")
        if centres is not None and decays is not None and len(centres) == len(decays):
            axes.plot(centres, decays, label=role, marker=marker, markersize=4, **line)
            style.frequency_axis(axes, (float(centres[0]) * 0.8, float(centres[-1]) * 1.25))
    axes.set_ylim(bottom=0)
    axes.set_ylabel("decay time (s)")
    style.name_recordings(axes)


def _draw_wetness(found: Measured, axes: Axes) -> None:
    centres = series(found.difference, "band_centre_hz")
    levels = series(found.difference, "band_wetness_db")
    step = JUST_NOTICEABLE["wetness"].size
    axes.axhspan(-step, step, color=style.FAINT, alpha=0.6, linewidth=0)
    style.zero_line(axes)
    if centres is None or levels is None or len(centres) != len(levels):
        return
    around = bounds(found.difference, "band_wetness_db")
    if around is not None and len(around[0]) == len(centres):
        axes.fill_between(centres, *around, **style.INTERVAL_FILL)
    axes.plot(centres, levels, marker="o", markersize=4, **style.DIFFERENCE_LINE)
    style.symmetric(axes, 4.0, levels)
    style.frequency_axis(axes, (float(centres[0]) * 0.8, float(centres[-1]) * 1.25))
    axes.set_ylabel("wetness, candidate\nagainst reference (dB)")
