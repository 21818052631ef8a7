"""What speaks for a room beside the fit: a tail of the music, or the image."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest

from mixcompare.aspects.room import borne_out as room
from mixcompare.aspects.room.aspect import analyzer
from mixcompare.aspects.room.borne_out import borne_out, not_denied
from mixcompare.aspects.room.values import RoomDifference
from mixcompare.features import Features
from mixcompare.pair import pair as pair_room
from mixcompare.pair.pair import Pair
from mixcompare.pair.wetness import Wetness
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
    assert borne_out(pair, 5.0, (2.0, 8.0), 30.0) == (2.0, 8.0)
    assert borne_out(pair, -5.0, (-8.0, -2.0), -30.0) == (-8.0, -2.0)
    assert borne_out(pair, 5.0, (2.0, 8.0), -30.0) is None
    assert borne_out(pair, 5.0, (2.0, 8.0), None) is None


# An image of -12 dB that is 4.8 dB wider needs 2 dB of wetness, 7.2 dB wider 4 dB
# (``tests.pair.test_diffuse``).
@pytest.mark.parametrize(
    ("around_db", "wetness_db", "proven"),
    [
        ((4.8, 8.0), (1.0, 4.0), (1.0, 4.0)),
        ((4.8, 8.0), (5.0, 9.0), (2.0, 9.0)),  # the rest may be longer notes
        ((-0.5, 8.0), (1.0, 4.0), None),  # it may have stayed
        ((2.0, 8.0), (1.0, 4.0), None),  # 0.6 dB, under the 1.5 dB that are just noticed
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
    middle_db = sum(wetness_db) / 2
    found = borne_out(with_image(both, around_db), middle_db, wetness_db, None)
    assert found == (None if proven is None else pytest.approx(proven, abs=0.1))
    # The other way round, the drier recording is the candidate.
    turned = with_image((both[1], both[0]), (-around_db[1], -around_db[0]))
    mirrored = None if found is None else (-found[1], -found[0])
    assert borne_out(turned, -middle_db, (-wetness_db[1], -wetness_db[0]), None) == mirrored


@pytest.mark.parametrize(
    ("around_db", "wetness_db", "left_db"),
    [
        ((-0.4, 0.4), (0.5, 4.5), (0.0, 4.5)),  # it stayed: all of it may be longer notes
        ((-3.0, -2.0), (0.5, 4.5), (0.0, 4.5)),  # narrower
        ((4.8, 5.0), (2.5, 5.5), (2.0, 5.5)),  # 2 dB are the room's
        ((4.8, 8.0), (2.5, 5.5), (2.5, 5.5)),  # up to 5 dB are: so may be all of it
        ((-1.0, 8.0), (2.5, 5.5), (2.5, 5.5)),
        (None, (2.5, 5.5), (2.5, 5.5)),
    ],
)
def test_an_image_that_stayed_denies_a_room(
    both: tuple[Features, Features],
    around_db: tuple[float, float] | None,
    wetness_db: tuple[float, float],
    left_db: tuple[float, float],
) -> None:
    middle_db = sum(wetness_db) / 2
    pair = with_image(both, around_db)
    assert not_denied(pair, middle_db, wetness_db, None) == pytest.approx(left_db, abs=0.1)
    # A tail of the music that is longer knows better.
    assert not_denied(pair, middle_db, wetness_db, 20.0) == wetness_db
    back = None if around_db is None else (-around_db[1], -around_db[0])
    turned = with_image((both[1], both[0]), back)
    found = not_denied(turned, -middle_db, (-wetness_db[1], -wetness_db[0]), None)
    assert found == pytest.approx((-left_db[1], -left_db[0]), abs=0.1)


@pytest.mark.parametrize("wetter", [True, False])
def test_an_image_says_nothing_of_a_room_that_rings_narrow(
    both: tuple[Features, Features], wetter: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    around_db = (0.5, 4.5) if wetter else (-4.5, -0.5)
    pair = with_image(both, (-0.4, 0.4))
    asked = []
    monkeypatch.setattr(room, "rings_narrow", lambda features: asked.append(features) or True)
    assert not_denied(pair, sum(around_db) / 2, around_db, None) == around_db
    assert asked == [both[1] if wetter else both[0]]


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


@pytest.mark.parametrize(
    ("around_db", "doubtful", "kinds", "words"),
    [
        ((4.8, 8.0), False, ["wetter"], ""),
        ((-0.3, 0.3), False, [], "left the width of the image as it was"),
        ((4.8, 8.0), True, ["wetter"], ""),
        ((-0.3, 8.0), True, [], "neither a tail of the music nor the image"),
    ],
)
def test_the_image_decides_between_a_room_and_other_note_lengths(
    around_db: tuple[float, float],
    doubtful: bool,
    kinds: list[str],
    words: str,
    both: tuple[Features, Features],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    held_share = 0.6 if doubtful else 0.2
    fit = Wetness(3.0, (2.5, 3.5), 1.2, 0.3, 2.0, (3.0, 2.5, 3.5, 2.0), (0.3,) * 4, held_share)
    monkeypatch.setattr(pair_room, "wetness_between", lambda *_: fit)
    monkeypatch.setattr(pair_room.Pair, "reverberation", None)
    pair = with_image(both, around_db)
    found = analyzer.compare(pair)
    assert [one.kind for one in analyzer.findings(found, pair)] == kinds
    assert words in found.reasons[0]
    # One take has one set of notes.
    pair = with_image(both, around_db, same_take=True)
    assert analyzer.compare(pair).wetness_db_interval[0] > 0
