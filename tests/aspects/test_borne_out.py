"""What speaks for a room beside the fit: a tail of the music, or the image."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest

from mixcompare.aspects.room.aspect import analyzer
from mixcompare.aspects.room.borne_out import borne_out
from mixcompare.aspects.room.values import RoomDifference
from mixcompare.features import Features
from mixcompare.pair.pair import Pair
from tests.aspects.stereo_music import features_of
from tests.pair.test_diffuse import RATE_HZ, narrow
from tests.pairs import pair_of


@pytest.fixture(scope="module")
def both() -> tuple[Features, Features]:
    return features_of(narrow(), RATE_HZ), features_of(narrow(0.4), RATE_HZ)


def with_image(
    both: tuple[Features, Features], around_db: tuple[float, float] | None, same_take: bool = False
) -> Pair:
    """Two recordings whose image is so much wider."""
    pair = replace(pair_of(same_take), reference=both[0], candidate=both[1])
    pair.differences["width"] = SimpleNamespace(side_to_mid_db_interval=around_db)
    return pair


def test_a_tail_of_the_music_speaks_for_the_room(both: tuple[Features, Features]) -> None:
    pair = with_image(both, None)
    assert borne_out(pair, (2.0, 8.0), 30.0) == (2.0, 8.0)
    assert borne_out(pair, (-8.0, -2.0), -30.0) == (-8.0, -2.0)
    assert borne_out(pair, (2.0, 8.0), -30.0) is None
    assert borne_out(pair, (2.0, 8.0), None) is None


# An image of -12 dB that is 4.8 dB wider needs 2 dB of wetness, 7.2 dB wider 4 dB
# (``tests.pair.test_diffuse``).
@pytest.mark.parametrize(
    ("around_db", "wetness_db", "proven"),
    [
        ((4.8, 8.0), (1.0, 4.0), (1.0, 4.0)),
        ((4.8, 8.0), (5.0, 9.0), (2.0, 9.0)),  # the rest may be longer notes
        ((-0.5, 8.0), (1.0, 4.0), None),  # it may have stayed
        ((4.8, 8.0), (-4.0, -1.0), None),  # wider, and drier
        ((7.2, 8.0), (1.0, 3.0), None),  # wider than any such room makes it
    ],
)
def test_an_image_that_moved_as_the_room_moves_it_does_too(
    both: tuple[Features, Features],
    around_db: tuple[float, float],
    wetness_db: tuple[float, float],
    proven: tuple[float, float] | None,
) -> None:
    found = borne_out(with_image(both, around_db), wetness_db, None)
    assert found == (None if proven is None else pytest.approx(proven, abs=0.1))
    # The other way round, the drier recording is the candidate.
    turned = with_image((both[1], both[0]), (-around_db[1], -around_db[0]))
    mirrored = None if found is None else (-found[1], -found[0])
    assert borne_out(turned, (-wetness_db[1], -wetness_db[0]), None) == mirrored


def test_notes_do_not_explain_a_room_that_is_borne_out(both: tuple[Features, Features]) -> None:
    heard = RoomDifference(
        3.0, (1.5, 4.5), None, None, None, None, None, None, (3.0,) * 4, 0.2
    )  # fmt: skip
    for around_db, same_take, apart in (
        ((4.8, 8.0), False, ("articulation",)),
        ((-0.5, 8.0), False, ()),
        ((4.8, 8.0), True, ()),
    ):
        (found,) = analyzer.findings(heard, with_image(both, around_db, same_take))
        assert found.kind == "wetter"
        assert found.apart == apart
