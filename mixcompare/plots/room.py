"""Room: decay times of both recordings, and how much wetter one is, by register."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from mixcompare.plots import style
from mixcompare.plots.values import closed, series
from mixcompare.results import Results

if TYPE_CHECKING:
    from mixcompare.aspects.room.values import RoomDifference, RoomMeasurement

DECAY_CAPTION = "Time for 60 dB of decay per octave, where the music lets the sound die away."
WETNESS_CAPTION = (
    "How much wetter the candidate is, over all with its 95 % interval and in each register by"
    " itself, as the change of a reverberation that was half of the sound; gaps between the notes"
    " may change by far more. The pale stripe is what is just noticeable."
)
_REGISTERS = ("below 280 Hz", "280 to 900 Hz", "900 Hz to 2.8 kHz", "above 2.8 kHz")


def draw(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None where nothing of the room can be told."""
    found = results.measurements.get("room")
    if found is None:
        return None
    sides: tuple[RoomMeasurement, ...] = (found.reference, found.candidate)
    difference: RoomDifference = found.difference
    decays = any(series(side.octave_decay_time_s) is not None for side in sides)
    wetness = difference.wetness_db is not None
    heights = [4.4] * decays + [4.2] * wetness
    if not heights:
        return None
    axes = style.panels(figure, heights, share_x=False)
    if decays:
        _draw_decays(found.reference, found.candidate, axes[0])
    if difference.wetness_db is not None:
        _draw_wetness(difference, difference.wetness_db, found.about.size_of("wetness"), axes[-1])
    captions = [DECAY_CAPTION] * decays + [WETNESS_CAPTION] * wetness
    return " ".join(captions)


def _draw_decays(reference: RoomMeasurement, candidate: RoomMeasurement, axes: Axes) -> None:
    lowest, highest = 16_000.0, 63.0
    for side, role, line, marker in (
        (reference, "reference", style.REFERENCE_LINE, "o"),
        (candidate, "candidate", style.CANDIDATE_LINE, "s"),
    ):
        centres, decays = series(side.octave_centre_hz), series(side.octave_decay_time_s)
        if centres is None or decays is None:
            continue
        axes.plot(centres, decays, label=role, marker=marker, markersize=4, **line)
        lowest, highest = min(lowest, float(centres[0])), max(highest, float(centres[-1]))
    style.frequency_axis(axes, (lowest * 0.8, highest * 1.25))
    axes.set_ylim(bottom=0)
    axes.set_ylabel("decay time (s)")
    style.name_recordings(axes)


def _draw_wetness(difference: RoomDifference, whole: float, step: float, axes: Axes) -> None:
    around = closed(difference.wetness_db_interval)
    registers = difference.register_wetness_db
    rows = ("over all", *(_REGISTERS if registers else ()))
    values = (whole, *registers)
    axes.axvspan(-step, step, color=style.FAINT, alpha=0.6, linewidth=0)
    axes.axvline(0, color=style.QUIET, linewidth=0.9)
    ends = [4.0]
    for row, (_, value) in enumerate(zip(rows, values, strict=True)):
        colour = style.CANDIDATE if value > 0 else style.REFERENCE
        axes.plot(value, row, "o", color=colour, markersize=6 if row == 0 else 4)
        ends.append(abs(value))
    if around is not None:
        axes.plot(around, (0, 0), color=style.CANDIDATE if whole > 0 else style.REFERENCE)
        ends.extend(abs(bound) for bound in around)
    limit = 1.1 * max(ends)
    axes.set_xlim(-limit, limit)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_yticks(range(len(rows)), rows)
    axes.set_xlabel("wetness, candidate against reference (dB)")
