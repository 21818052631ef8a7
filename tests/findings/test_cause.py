"""Causes are weighed from what is seen: of whom each observation speaks, and never for certain."""

from __future__ import annotations

import itertools

import pytest

from mixcompare.findings.cause import Differs, Seen, weighed


@pytest.mark.parametrize("differs", Differs)
@pytest.mark.parametrize("same_take", [True, False])
def test_no_cause_is_certain_and_one_take_has_one_set_of_players(
    differs: Differs, same_take: bool
) -> None:
    observations = [one for one in Seen if one is not Seen.ONE_TAKE]
    for seen in itertools.chain([()], itertools.combinations(observations, 2)):
        cause = weighed(differs, *seen, same_take=same_take)
        assert cause.players + cause.room + cause.mix == pytest.approx(1.0)
        assert max(cause.players, cause.room, cause.mix) < 0.98
        assert (cause.players == 0.0) is same_take
        assert min(cause.room, cause.mix) > 0.02


@pytest.mark.parametrize(
    ("differs", "likeliest"),
    [
        # Common practice, no source.
        (Differs.LEVEL_OF_A_PART, "players"),
        (Differs.TONE, "mix"),
        (Differs.WIDTH, "mix"),
        (Differs.PLACE, "mix"),
        (Differs.REVERBERATION, "room"),
        (Differs.SWING, "players"),
        (Differs.NOTE_LENGTH, "players"),
        (Differs.TEMPO, "players"),
        (Differs.TUNING, "players"),
    ],
)
def test_who_is_asked_first_of_two_performances(differs: Differs, likeliest: str) -> None:
    assert weighed(differs, same_take=False).likeliest == likeliest
    assert weighed(differs, same_take=True).likeliest == "mix"


@pytest.mark.parametrize(
    ("seen", "more", "less"),
    [
        (Seen.IN_ONE_PART_ONLY, "players", "room"),
        (Seen.IN_DECAYS_ONLY, "room", "players"),
        (Seen.ON_ONE_CHANNEL, "mix", "players"),
        (Seen.ABOVE_A_LEVEL_ONLY, "mix", "players"),
        (Seen.PITCH_GOES_WITH_THE_CLOCK, "mix", "players"),
        (Seen.OTHER_INSTRUMENTS, "players", "mix"),
        (Seen.A_TAIL_AGREES, "room", "players"),
    ],
)
def test_each_observation_speaks_for_one_and_against_another(
    seen: Seen, more: str, less: str
) -> None:
    plain = weighed(Differs.TONE, same_take=False)
    told = weighed(Differs.TONE, seen, same_take=False)
    assert getattr(told, more) > getattr(plain, more)
    assert getattr(told, less) < getattr(plain, less)
