"""Ways from sections to the array, on spots whose distances are known."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.audio.recording import Recording
from mixcompare.stems.arrivals import array_of, early
from mixcompare.stems.explained import Making, making_of
from mixcompare.stems.judge import judged
from tests.stems import made
from tests.stems.made import pair_of, recorded

RATE_HZ = made.RATE_HZ
SECONDS = 12
WAYS_S = {"violins": (0.0132, 0.0141), "horns": (0.0217, 0.0209), "drums": (0.0305, 0.0300)}
BLEED_DB, BLEED_S = -14.0, 0.009


def section(number: int) -> np.ndarray:
    """Bursts of noise, each its own."""
    draw = np.random.default_rng(number)
    bursts = np.repeat(draw.uniform(0.1, 1.0, SECONDS * 5), RATE_HZ // 5)
    return 0.05 * bursts * draw.standard_normal(SECONDS * RATE_HZ)


def later(sound: np.ndarray, by_s: float) -> np.ndarray:
    return np.concatenate([np.zeros(round(by_s * RATE_HZ)), sound])[: len(sound)]


def microphones(bleed_db: float = BLEED_DB) -> dict[str, np.ndarray]:
    """A pair that hears every section after its way, and a spot on each that hears the others."""
    sections = {name: section(number) for number, name in enumerate(WAYS_S)}
    pair = [sum(later(sections[one], WAYS_S[one][side]) for one in WAYS_S) for side in (0, 1)]
    out = {"Main pair": np.column_stack(pair)}
    for name, own in sections.items():
        others = sum(later(sections[one], BLEED_S) for one in WAYS_S if one != name)
        out[name] = np.column_stack([own + 10 ** (bleed_db / 20) * others] * 2) / 8
    return out


def making(sounds: dict[str, np.ndarray]) -> Making:
    mix = recorded(np.sum(list(sounds.values()), axis=0))
    stems = [recorded(sound) for sound in sounds.values()]
    return making_of(mix, stems, [0.0] * (1 + len(stems)), SECONDS)


def test_each_spot_is_as_early_as_its_section_is_far_from_the_nearer_microphone() -> None:
    """To the sample at which the delays were made (0.02 ms), whatever the spots hear of others."""
    early_s, deviation_s = early(making(microphones()), 0)
    assert np.isnan(early_s[0])
    np.testing.assert_allclose(early_s[1:], [min(way) for way in WAYS_S.values()], atol=3e-5)
    assert (deviation_s[1:] < 5e-5).all()


def test_what_can_t_be_told_is_not_told() -> None:
    """Others' sound, and a spot that is deaf on one side."""
    sounds = microphones()
    sounds["violins"] = np.column_stack([section(7)] * 2)
    sounds["horns"] = sounds["horns"] * [1.0, 0.0]
    assert np.isnan(early(making(sounds), 0)[0]).all()  # one spot alone makes no array
    sounds["horns"] = microphones()["horns"]
    found = early(making(sounds), 0)[0]
    assert np.isnan(found[:2]).all()
    np.testing.assert_allclose(found[2:], [0.0209, 0.0300], atol=3e-5)


def test_stems_without_air_between_them_have_no_array() -> None:
    parts = made.stems()
    alone = making_of(
        recorded(made.mixed(parts)), list(made.files(parts).values()), [0.0] * 5, 15.0
    )
    assert all(np.isnan(early(alone, place)[0]).all() for place in range(4))
    doubled = {"tutti": microphones()["violins"], "a": microphones()["violins"] / 2}
    doubled["b"] = doubled["a"] + np.column_stack([section(9)] * 2) / 20
    assert np.isnan(early(making(doubled), 0)[0]).all()


def test_the_array_is_known_by_its_name_else_by_its_share() -> None:
    assert array_of(["Spot horn", "Main_pair", "Flanks"], np.array([0.6, 0.3, 0.1])) == 1
    assert array_of(["tree", "overheads"], np.array([0.1, 0.3])) == 1
    assert array_of(["domain", "b"], np.array([0.2, 0.7])) == 1
    assert array_of(["a", "b"], np.array([0.4, 0.4])) is None


def test_a_spot_that_was_raised_is_told_beside_an_array_that_carries_nearly_all() -> None:
    sounds = microphones()
    stems = {name: Recording.from_array(one, RATE_HZ, name=name) for name, one in sounds.items()}
    one = recorded(np.sum(list(sounds.values()), axis=0))
    raised = {**sounds, "horns": 10 ** (4 / 20) * sounds["horns"]}
    other = recorded(np.sum(list(raised.values()), axis=0))
    told = judged(pair_of(one, other), one, other, stems).told
    assert told.array == "Main pair"
    assert told.stems[0].share_percent == pytest.approx(95, abs=4)
    assert told.stems[2].trim_db == pytest.approx(-4.0, abs=0.2)
    assert [stem.name for stem in told.due] == ["horns"]
    assert told.stems[2].before_array_ms == pytest.approx(20.9, abs=0.03)
    assert told.stems[2].before_array_interval is not None
