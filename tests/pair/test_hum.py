"""Lines at multiples of the mains' frequency, of known level."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.pair.hum import Hum
from tests.pair.noisy_music import (
    between,
    features_of,
    hum,
    played,
    reference,
)


@pytest.mark.parametrize("mains_hz", [50.0, 60.03])
@pytest.mark.parametrize("levels_db", [{1: -44.0, 3: -48.0}, {1: -50.0}])
def test_hum_is_told_with_its_lines(mains_hz: float, levels_db: dict[int, float]) -> None:
    other = features_of(played() + hum(played(), mains_hz, levels_db))
    (found,) = between(reference(), other)
    assert isinstance(found, Hum)
    assert found.in_candidate
    assert found.lines == tuple(levels_db)
    assert found.mains_hz == pytest.approx(mains_hz, rel=1e-3)
    whole = sum(10 ** (level / 10) for level in levels_db.values())
    # Within a quarter of the just-noticeable 3 dB.
    assert found.level_dbfs == pytest.approx(10 * np.log10(whole), abs=0.75)
    (back,) = between(other, reference())
    assert not back.in_candidate


def test_a_hum_is_not_told_as_rumble_too() -> None:
    humming = played() + hum(played(), 50.0, {1: -30.0, 3: -34.0})
    noise = between(reference(), features_of(humming))
    assert [type(one) for one in noise] == [Hum]


# Hum's strongest lines are its lowest (common practice, no source): one high line is a held note.
@pytest.mark.parametrize("multiple", [4, 9])
def test_one_high_line_alone_is_no_hum(multiple: int) -> None:
    held = features_of(played() + hum(played(), 50.0, {multiple: -30.0}))
    assert not any(isinstance(one, Hum) for one in between(reference(), held))
