"""What else speaks for another room, where notes of another length would do as well."""

from __future__ import annotations

from mixcompare.aspects.room.about import WETNESS
from mixcompare.aspects.room.values import Interval
from mixcompare.pair.diffuse import least_wetness_db, rings_narrow, side_to_mid_db
from mixcompare.pair.pair import Pair


def borne_out(
    pair: Pair, wetness_db: float, around_db: Interval, decay_percent: float | None
) -> Interval | None:
    """The wetness of which a tail of the music, or the image, says that it is the room's.

    Longer notes leave the tails alone and move the image little, as far as they sit to one side.
    It has to be as much wider, or narrower, as reverberation that is noticed by itself makes it,
    and no more than so much does; notes may have made the rest of the wetness then.

    Parameters
    ----------
    pair : Pair
        Both recordings, and what was found of their width.
    wetness_db, around_db : float, tuple of float
        As it was fitted, with its interval.
    decay_percent : float or None
        By how much tails of the music are longer.
    """
    if decay_percent is not None and decay_percent * wetness_db > 0:
        return around_db
    image = of_image_db(pair, wetness_db > 0)
    if image is None or not WETNESS.size <= image[0] <= max(map(abs, around_db)):
        return None
    return _no_more_than(image[0], around_db)


def not_denied(
    pair: Pair, wetness_db: float, around_db: Interval, decay_percent: float | None
) -> Interval:
    """The wetness that is left where the image moved less than so much reverberation moves it.

    Where the wetter recording's own reverberation is narrow, the image says nothing.
    """
    agrees = decay_percent is not None and decay_percent * wetness_db > 0
    agrees |= rings_narrow(pair.candidate if wetness_db > 0 else pair.reference)
    image = None if agrees else of_image_db(pair, wetness_db > 0)
    if image is None or abs(wetness_db) <= image[1]:
        return around_db
    return _no_more_than(image[0], around_db)


def of_image_db(pair: Pair, wetter: bool) -> Interval | None:
    """How much more reverberation the image speaks for, in the wetter of both; not negative."""
    width = pair.differences.get("width")
    around = None if width is None else width.side_to_mid_db_interval
    if around is None:
        return None
    drier_db = side_to_mid_db(pair.reference if wetter else pair.candidate)
    edges = around if wetter else (-around[1], -around[0])
    least, most = (least_wetness_db(drier_db, max(edge, 0.0)) for edge in edges)
    return least, most


def _no_more_than(least_db: float, around_db: Interval) -> Interval:
    """With so small an amount within."""
    low, high = around_db
    return (min(low, least_db), high) if low + high > 0 else (low, max(high, -least_db))
