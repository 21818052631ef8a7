"""The band difference as a bare picture that fills a strip of the page's time line."""

from __future__ import annotations

import io

import numpy as np
import numpy.typing as npt
from matplotlib.image import imsave

from mixcompare.plots import style
from mixcompare.plots.contours import Field, nan_mean

FloatArray = npt.NDArray[np.float64]

MOST_COLUMNS = 900  # resolution of the picture, and its cost


def field_png(field: Field, span_s: tuple[float, float], dark: bool = False) -> bytes:
    """One pixel per stretch of time and band, low frequencies at the bottom.

    Parameters
    ----------
    field : Field
        Differences over time and frequency.
    span_s : tuple of float
        Time at the left and at the right edge; what lies outside the field is shown as silent.
    dark : bool
        For a dark page.

    Returns
    -------
    bytes
        A PNG.
    """
    start, end = span_s
    columns = min(MOST_COLUMNS, max(len(field.times_s), 2))
    edges = np.linspace(start, end, columns + 1)
    first = np.searchsorted(field.times_s, edges[:-1])
    last = np.searchsorted(field.times_s, edges[1:])
    out = np.full((columns, len(field.band_centre_hz)), np.nan)
    for column in range(columns):
        rows = field.difference_db[first[column] : max(last[column], first[column] + 1)]
        if len(rows):
            out[column] = nan_mean(rows, axis=0)
    middle = (edges[:-1] + edges[1:]) / 2
    step = np.median(np.diff(field.times_s))
    outside = (middle < field.times_s[0] - step) | (middle > field.times_s[-1] + step)
    out[outside] = np.nan
    colours = style.DARK_FIELD if dark else style.LIGHT_FIELD
    limit = style.FIELD_LIMIT_DB
    levels = np.ma.masked_invalid((np.clip(out.T[::-1], -limit, limit) + limit) / (2 * limit))
    rgba = np.asarray(colours(levels))
    buffer = io.BytesIO()
    imsave(buffer, rgba, format="png", metadata={"Software": ""})
    return buffer.getvalue()


def legend_colours(dark: bool = False) -> tuple[str, ...]:
    """Colours from -12 to +12 dB in nine steps, as hexadecimal names."""
    colours = style.DARK_FIELD if dark else style.LIGHT_FIELD
    names = []
    for position in np.linspace(0, 1, 9):
        red, green, blue, _ = (round(255 * part) for part in colours(position))
        names.append(f"#{red:02x}{green:02x}{blue:02x}")
    return tuple(names)
