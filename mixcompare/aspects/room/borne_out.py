"""What else speaks for another room, where notes of another length would do as well."""

from __future__ import annotations

from mixcompare.aspects.room.values import Interval
from mixcompare.pair.diffuse import of_image_db
from mixcompare.pair.pair import Pair


def borne_out(pair: Pair, wetness_db: Interval, decay_percent: float | None) -> Interval | None:
    """The wetness of which a tail of the music, or the image, says that it is the room's.

    Longer notes leave both alone. The image has to be as much wider, or narrower, as so much
    reverberation makes it, and no more; notes may have made the rest of the wetness then.
    """
    if decay_percent is not None and decay_percent * sum(wetness_db) > 0:
        return wetness_db
    width = pair.differences.get("width")
    around = None if width is None else width.side_to_mid_db_interval
    if around is None or around[0] * around[1] <= 0 or around[0] * sum(wetness_db) <= 0:
        return None
    needed = of_image_db(around, (pair.reference, pair.candidate))
    low, high = wetness_db
    if around[0] > 0:
        return (min(low, needed[0]), high) if needed[0] <= high else None
    return (low, max(high, needed[1])) if needed[1] >= low else None
