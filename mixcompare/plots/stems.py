"""Stems: the trim of each with its interval, and what each carries of the mix."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matplotlib.figure import Figure

from mixcompare.plots import style
from mixcompare.results import Results

if TYPE_CHECKING:
    from mixcompare.stems.values import Stems

CAPTION = (
    "Left: what to add to each stem for the candidate to have the reference's balance, with 95 %"
    " intervals; filled where it is due, hollow where it is not, nothing where it can't be told;"
    " diamonds: in some places only."
    " Right: what each carries of the mix's energy."
)
_STEM_CM = 0.55


def draw(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None without stems."""
    told: Stems | None = results.stems
    if told is None:
        return None
    stems = told.in_order
    trims, shares = style.columns(figure, 1.6 + _STEM_CM * len(stems), (3.0, 1.0))
    trims.axvline(0, color=style.QUIET, linewidth=0.9)
    ends = [3.0]
    for row, stem in enumerate(stems):
        if stem.share_percent is not None:
            shares.barh(row, stem.share_percent, height=0.6, color=style.QUIET)
        if stem.trim_db is None or stem.interval is None:
            continue
        # Orange where the candidate has too much: the trim goes down.
        colour = style.CANDIDATE if stem.trim_db < 0 else style.REFERENCE
        colour = colour if stem.is_due else style.QUIET
        face = colour if stem.is_due else style.PAPER
        trims.plot(stem.interval, (row, row), color=colour, linewidth=1.5)
        trims.plot(stem.trim_db, row, "o", color=colour, markerfacecolor=face, markersize=5)
        for place in stem.places:
            trims.plot(place.trim_db, row, "d", color=style.INK, markersize=5)
            ends.append(abs(place.trim_db))
        ends.extend(abs(edge) for edge in stem.interval)
    limit = min(1.1 * max(ends), 24.0)
    trims.set_xlim(-limit, limit)
    for axes in (trims, shares):
        axes.set_ylim(len(stems) - 0.5, -0.5)
    trims.set_yticks(range(len(stems)), [stem.name for stem in stems])
    shares.set_yticks([])
    trims.set_xlabel("trim (dB)")
    shares.set_xlabel("share (%)")
    return CAPTION
