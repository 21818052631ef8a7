"""Folding, rule by rule: one pair that folds, and those that must not."""

from __future__ import annotations

import math
from typing import Any

import pytest

from mixcompare.aspects import ANALYZERS, JUST_NOTICEABLE
from mixcompare.findings import Finding, Foretold, folding
from mixcompare.findings.folding import stretches
from tests.by_hand import finding

RULES = [rule for analyzer in ANALYZERS for rule in analyzer.about.explains]
LOW, MIDDLE, HIGH = (60.0, 250.0), (250.0, 2000.0), (4000.0, 12000.0)


def without_consequences(findings: list[Finding]) -> list[Finding]:
    return folding.without_consequences(findings, RULES)


def balance(difference: float = 6.0, **others: Any) -> Finding:
    kind = f"register_{'louder' if difference > 0 else 'weaker'}"
    values = {"aspect": "balance", "kind": kind, "band_hz": MIDDLE, "subject": "middle register"}
    return finding(difference, **({"jnd": abs(difference)} | values | others))


def tone(difference: float = 3.0, **others: Any) -> Finding:
    values = {"aspect": "tone", "kind": "tone_brighter", "band_hz": HIGH, "subject": "the highs"}
    return finding(difference, **({"jnd": 2.0} | values | others))


def of_kind(aspect: str, kind: str, difference: float, jnd: float = 2.0, **others: Any) -> Finding:
    return finding(difference, jnd, **({"aspect": aspect, "kind": kind, "subject": kind} | others))


def wetter(jnd: float = 4.0) -> Finding:
    return of_kind("room", "wetter", 4.0, jnd, subject="the reverberation")


def drier(jnd: float = 4.0) -> Finding:
    return of_kind("room", "drier", -4.0, jnd, subject="the reverberation")


def tail(jnd: float = 1.5, sign: int = 1) -> Finding:
    """A dark tail: 2 dB more of the lows, nothing of the highs, moments by at most 5 dB."""
    foretold = tuple(
        Foretold(centre_hz, sign * level_db, 5.0 if level_db else 0.5)
        for centre_hz, level_db in ((125, 2.0), (500, 1.0), (1000, 0.0), (4000, 0.0), (8000, 0.0))
    )
    kind = "wetter" if sign > 0 else "drier"
    return of_kind("room", kind, sign * 0.5, jnd, subject="the reverberation", foretold=foretold)


PASSAGE = of_kind(
    "dynamics", "passage_softer", -5.0, 2.5, spans_s=((8.0, 14.0),), apart=("balance", "tone")
)

FOLDED = {
    "a compressor over longer decays": (
        of_kind("dynamics", "dynamics_smaller", -0.5, 5.0),
        of_kind("room", "decay_longer", 60.0, 6.5),
    ),
    "a softer passage over what plays in it": (
        PASSAGE,
        balance(-5.8, jnd=5.0, spans_s=((9.0, 14.5),)),
    ),
    "a softer passage over what may have moved no further": (
        PASSAGE,
        balance(-6.6, jnd=5.0, spans_s=((7.0, 13.4),), interval=(-9.8, -3.4)),
    ),
    "element over its own band's tone": (balance(), tone(-3.0, band_hz=(500.0, 5000.0))),
    "element over the tone of its partials": (balance(), tone(3.0)),
    "element over tone somewhere": (balance(band_hz=None), tone(-3.0)),
    "element over tone anywhere": (balance(), tone(-3.0, band_hz=None)),
    "element over the theme that it covers": (
        balance(4.0),
        of_kind("balance", "theme_covered", -9.0, 9.0, spans_s=((5.0, 12.0),)),
    ),
    "element over the theme that it lets through": (
        balance(-4.0),
        of_kind("balance", "theme_uncovered", 9.0, 9.0),
    ),
    "element over dynamics": (balance(), of_kind("dynamics", "dynamics_smaller", -0.2)),
    "element over the image to the left": (balance(), of_kind("placement", "moved_left", -0.2)),
    "element over the image to the right": (balance(), of_kind("placement", "moved_right", 0.2)),
    "element over a wider image": (balance(), of_kind("width", "wider", 2.0)),
    "element over a narrower image": (balance(), of_kind("width", "narrower", -2.0)),
    "element over width above it": (balance(), of_kind("width", "wider", 2.0, band_hz=HIGH)),
    "element over width that reaches up to it": (
        balance(),
        of_kind("width", "wider", 2.0, band_hz=(60.0, 251.0)),
    ),
    "wider over balance": (of_kind("width", "wider", 6.0, 4.0), balance(-3.0)),
    "narrower over balance": (of_kind("width", "narrower", -6.0, 4.0), balance(3.0)),
    **{
        f"late {side} channel over {aspect}": (
            of_kind("placement", f"{side}_later", 600.0, 6.0, unit="\N{MICRO SIGN}s"),
            of_kind(aspect, kind, 2.0),
        )
        for side in ("right", "left")
        for aspect, kind in (
            ("width", "wider"),
            ("placement", "moved_right"),
        )
    },
    "moved left over balance": (
        of_kind("placement", "moved_left", -0.6, 6.0, band_hz=(1000.0, 4000.0)),
        balance(3.0),
    ),
    "moved right over balance": (
        of_kind("placement", "moved_right", 0.6, 6.0, band_hz=(1000.0, 4000.0)),
        balance(3.0),
    ),
    **{
        f"{clipping} over {kind}": (
            of_kind("dynamics", clipping, 10.0 * sign, 8.0, unit="%"),
            of_kind(aspect, kind, -sign * 2.0),
        )
        for clipping, sign in (("clipping_added", 1), ("clipping_removed", -1))
        for aspect, kind in (
            ("dynamics", "dynamics_smaller" if sign > 0 else "dynamics_larger"),
            ("width", "narrower" if sign > 0 else "wider"),
        )
    },
    "wetter over wider": (wetter(), of_kind("width", "wider", 2.0)),
    "wetter over dynamics": (wetter(), of_kind("dynamics", "dynamics_smaller", -0.2)),
    "wetter over notes": (wetter(), of_kind("articulation", "notes_more_connected", 0.2)),
    "drier over narrower": (drier(), of_kind("width", "narrower", -2.0)),
    "drier over dynamics": (drier(), of_kind("dynamics", "dynamics_larger", 0.2)),
    "drier over notes": (drier(), of_kind("articulation", "notes_more_detached", -0.2)),
    "wetter over a longer decay": (wetter(), of_kind("room", "decay_longer", 40.0)),
    "drier over a shorter decay": (drier(), of_kind("room", "decay_shorter", -40.0)),
    "wetter over tone": (wetter(), tone(-3.0)),
    "drier over tone": (drier(), tone()),
    "wetter over balance": (wetter(5.0), balance(-3.0)),
    "drier over balance": (drier(5.0), balance(-3.0)),
    "a tail over what moments it reaches may do": (tail(), balance(4.5, jnd=4.5)),
    "a tail left out over the same": (tail(sign=-1), balance(-4.5, jnd=4.5)),
    "a tail over the lows it adds": (tail(), tone(2.4, band_hz=LOW, jnd=1.6)),
    "a tail left out over the lows it takes": (tail(sign=-1), tone(-2.4, band_hz=LOW, jnd=1.6)),
    # From +2 dB at 125 Hz to 0 at 8 kHz: a third of a decibel an octave.
    "a tail over its tilt": (tail(), tone(-0.4, jnd=2.0, unit="dB/octave", band_hz=None)),
    "detached over drier": (
        of_kind("articulation", "notes_more_detached", -0.4, 5.0),
        drier(),
    ),
    "detached over dynamics": (
        of_kind("articulation", "notes_more_detached", -0.4, 5.0),
        of_kind("dynamics", "dynamics_larger", 0.2),
    ),
    "connected over wetter": (of_kind("articulation", "notes_more_connected", 0.4, 5.0), wetter()),
    "connected over dynamics": (
        of_kind("articulation", "notes_more_connected", 0.4, 5.0),
        of_kind("dynamics", "dynamics_smaller", -0.2),
    ),
    # Half of all sound is 3 dB (10 lg 0.5): a passage of nothing but such notes.
    "detached over a softer passage": (
        of_kind("articulation", "notes_more_detached", -0.5, 5.0, spans_s=((5.0, 20.0),)),
        of_kind(
            "dynamics", "passage_softer", -3.4, 2.0, interval=(-3.9, -2.9), spans_s=((6.0, 16.0),)
        ),
    ),
    "detached by no one knows how much over a softer passage": (
        of_kind(
            "articulation",
            "notes_more_detached",
            -0.24,
            2.0,
            interval=(-0.7, -0.06),
            spans_s=((5.0, 20.0),),
        ),
        of_kind(
            "dynamics", "passage_softer", -5.4, 2.0, interval=(-6.0, -4.8), spans_s=((6.0, 16.0),)
        ),
    ),
    "detached over a softer passage between the notes that were followed": (
        of_kind(
            "articulation",
            "notes_more_detached",
            -0.5,
            5.0,
            spans_s=((16.0, 20.0), (2.0, 5.0), (7.0, 8.0)),
        ),
        of_kind("dynamics", "passage_softer", -2.5, 2.0, spans_s=((9.0, 13.0),)),
    ),
    "connected over a louder passage": (
        of_kind("articulation", "notes_more_connected", 0.5, 5.0, spans_s=((5.0, 20.0),)),
        of_kind("dynamics", "passage_louder", 2.0, 1.5, spans_s=((6.0, 16.0),)),
    ),
    "articulation over balance": (
        of_kind("articulation", "notes_more_detached", -0.4, 5.0, band_hz=(1000.0, 4000.0)),
        balance(-2.0),
    ),
    "detached over darker": (
        of_kind("articulation", "notes_more_detached", -0.4, 5.0),
        tone(-2.2),
    ),
    "tone over balance": (tone(6.0, jnd=4.0, band_hz=(1000.0, 8000.0)), balance(3.0)),
    # 1 % of speed is 17.226 cents (1200 log2 1.01).
    "faster over higher": (
        of_kind("tempo", "faster", 2.0),
        of_kind("tuning", "tuned_higher", 1200 * math.log2(1.02)),
    ),
    "slower over lower": (
        of_kind("tempo", "slower", -2.0),
        of_kind("tuning", "tuned_lower", 1200 * math.log2(0.98)),
    ),
    "speed within four cents": (
        of_kind("tempo", "faster", 2.0),
        of_kind("tuning", "tuned_higher", 2.0 * 17.226 + 3.5),
    ),
}


@pytest.mark.parametrize(("cause", "effect"), FOLDED.values(), ids=list(FOLDED))
def test_what_a_bigger_finding_explains_is_folded_into_it(cause: Finding, effect: Finding) -> None:
    for order in ([cause, effect], [effect, cause]):
        (left,) = without_consequences(order)
        assert (left.kind, left.difference) == (cause.kind, cause.difference)
        assert len(left.consequences) == 1
        assert left.consequences[0] == effect.as_consequence
        assert effect.subject in left.consequences[0]


def test_every_rule_folds_one_of_the_pairs() -> None:
    used = {
        number
        for cause, effect in FOLDED.values()
        for number, rule in enumerate(RULES)
        if rule.cause.has(cause) and rule.effect.has(effect) and rule.fits(cause, effect)
    }
    assert used == set(range(len(RULES)))


KEPT = {
    "a covered theme beside what stands elsewhere at another time": (
        balance(4.0),
        of_kind("balance", "theme_covered", -9.0, 9.0, spans_s=((6.0, 30.0),)),
    ),
    "a covered theme beside what it does not explain": (
        of_kind("balance", "theme_covered", -9.0, 9.0),
        of_kind("dynamics", "dynamics_smaller", -0.2),
    ),
    "decays longer than a compressor makes them": (
        of_kind("dynamics", "dynamics_smaller", -0.3, 5.0),
        of_kind("room", "decay_longer", 60.0, 4.5),
    ),
    "brighter beside detached": (
        of_kind("articulation", "notes_more_detached", -0.4, 5.0),
        tone(2.2),
    ),
    "a passage softer than shorter notes make it": (
        of_kind("articulation", "notes_more_detached", -0.5, 5.0),
        # 0.55 at most: 10 lg 0.45 is -3.5 dB.
        of_kind("dynamics", "passage_softer", -4.5, 2.0, interval=(-5.3, -3.6)),
    ),
    "a passage louder where notes end sooner": (
        of_kind("articulation", "notes_more_detached", -0.5, 5.0),
        of_kind("dynamics", "passage_louder", 2.0, 1.5),
    ),
    "a softer passage before notes that end sooner": (
        of_kind("articulation", "notes_more_detached", -0.5, 5.0, spans_s=((16.0, 30.0),)),
        of_kind("dynamics", "passage_softer", -2.0, 1.5, spans_s=((0.0, 20.0),)),
    ),
    "an element that moved further than its passage": (
        PASSAGE,
        balance(-8.0, jnd=7.0, spans_s=((8.0, 14.0),)),
    ),
    "an element softer outside a softer passage": (
        PASSAGE,
        balance(-5.0, spans_s=((12.0, 30.0),)),
    ),
    "an element louder in a softer passage": (PASSAGE, balance(5.0, spans_s=((8.0, 14.0),))),
    # Levels are sums of both channels' powers, which a delay leaves alone.
    "tone beside a late channel": (
        of_kind("placement", "right_later", 600.0, 6.0, unit="\N{MICRO SIGN}s"),
        of_kind("tone", "tone_brighter", 2.0),
    ),
    "an element beside a late channel": (
        of_kind("placement", "left_later", 600.0, 6.0, unit="\N{MICRO SIGN}s"),
        of_kind("balance", "register_louder", 2.0),
    ),
    "tone the other way above an element": (balance(), tone(-3.0)),
    "tone below an element": (balance(band_hz=HIGH), tone(3.0, band_hz=LOW)),
    "tone that only touches an element's band": (
        balance(band_hz=(2000.0, 4000.0)),
        tone(-3.0, band_hz=(4000.0, 8000.0)),
    ),
    "tone further than an element moved": (balance(2.0), tone(2.6, jnd=1.7)),
    "tilt above an element": (balance(), tone(0.5, unit="dB/octave")),
    "width below an element": (balance(), of_kind("width", "wider", 2.0, band_hz=LOW)),
    "tempo beside an element": (balance(), of_kind("tempo", "faster", 3.0)),
    "tuning beside an element": (balance(), of_kind("tuning", "tuned_higher", 10.0)),
    "balance elsewhere than what moved": (
        of_kind("placement", "moved_left", -0.6, 6.0, band_hz=HIGH),
        balance(3.0),
    ),
    "more than a tail lets moments move": (tail(), balance(6.0, jnd=4.5)),
    "moments where a tail is not heard": (tail(), balance(3.0, band_hz=HIGH)),
    "an element read with the tail taken off": (tail(), balance(4.5, apart=("room",))),
    "more of the lows than a tail adds": (tail(), tone(4.0, band_hz=LOW)),
    "less of the lows beside a tail": (tail(), tone(-2.0, band_hz=LOW)),
    "highs beside a dark tail": (tail(8.0), tone(3.0)),
    "the other tilt beside a tail": (tail(), tone(0.4, unit="dB/octave", band_hz=None)),
    "narrower beside wetter": (wetter(), of_kind("width", "narrower", -2.0)),
    "larger dynamics beside wetter": (wetter(), of_kind("dynamics", "dynamics_larger", 0.2)),
    "detached notes beside wetter": (
        wetter(),
        of_kind("articulation", "notes_more_detached", -0.2),
    ),
    "wider beside drier": (drier(), of_kind("width", "wider", 2.0)),
    "smaller dynamics beside drier": (drier(), of_kind("dynamics", "dynamics_smaller", -0.2)),
    "connected notes beside drier": (drier(), of_kind("articulation", "notes_more_connected", 0.2)),
    "shorter decay beside wetter": (wetter(), of_kind("room", "decay_shorter", -40.0)),
    "longer decay beside drier": (drier(), of_kind("room", "decay_longer", 40.0)),
    "wetter beside detached notes": (
        of_kind("articulation", "notes_more_detached", -0.4, 5.0),
        wetter(),
    ),
    "smaller dynamics beside detached notes": (
        of_kind("articulation", "notes_more_detached", -0.4, 5.0),
        of_kind("dynamics", "dynamics_smaller", -0.2),
    ),
    "larger dynamics beside connected notes": (
        of_kind("articulation", "notes_more_connected", 0.4, 5.0),
        of_kind("dynamics", "dynamics_larger", 0.2),
    ),
    "drier beside connected notes": (
        of_kind("articulation", "notes_more_connected", 0.4, 5.0),
        drier(),
    ),
    "balance elsewhere than the notes": (
        of_kind("articulation", "notes_more_detached", -0.4, 5.0, band_hz=LOW),
        balance(-2.0),
    ),
    "balance elsewhere than the tone": (tone(6.0, jnd=4.0), balance(3.0)),
    "lower beside faster": (
        of_kind("tempo", "faster", 2.0),
        of_kind("tuning", "tuned_lower", -1200 * math.log2(1.02)),
    ),
    "higher beside slower": (
        of_kind("tempo", "slower", -2.0),
        of_kind("tuning", "tuned_higher", 1200 * math.log2(1.02)),
    ),
    "more than four cents off the speed": (
        of_kind("tempo", "faster", 2.0),
        of_kind("tuning", "tuned_higher", 2.0 * 17.226 + 4.5),
    ),
    "less than four cents off the speed": (
        of_kind("tempo", "slower", -2.0),
        of_kind("tuning", "tuned_lower", -2.0 * 17.226 + 4.5),
    ),
    "another element": (balance(6.0), balance(-4.0, band_hz=HIGH, subject="high register")),
}


@pytest.mark.parametrize(("cause", "effect"), KEPT.values(), ids=list(KEPT))
def test_what_a_finding_does_not_explain_stays(cause: Finding, effect: Finding) -> None:
    left = without_consequences([effect, cause])
    assert sorted(entry.kind for entry in left) == sorted([cause.kind, effect.kind])
    assert all(entry.consequences == () for entry in left)


@pytest.mark.parametrize(("jnd", "left"), [(3.59, 1), (3.61, 2)])
def test_an_effect_may_be_a_fifth_larger_than_its_cause_and_no_more(jnd: float, left: int) -> None:
    """Wetter explains swings, and nothing turns the pair round: swings explain no reverberation."""
    effect = of_kind("dynamics", "dynamics_smaller", -0.3, jnd)
    assert len(without_consequences([effect, wetter(3.0)])) == left


@pytest.mark.parametrize(("jnd", "left"), [(8.9, 1), (9.1, 2)])
def test_a_tail_widens_the_image_by_more_than_itself(jnd: float, left: int) -> None:
    """A diffuse tail 2 dB under the music is 2 just-noticeable differences, its width 4 to 6."""
    found = without_consequences([of_kind("width", "wider", 6.0, jnd), wetter(3.0)])
    assert len(found) == left


@pytest.mark.parametrize(("difference", "left"), [(2.5, 1), (2.51, 2), (-2.0, 2)])
def test_partials_move_with_their_element_and_half_a_decibel_further(
    difference: float, left: int
) -> None:
    assert len(without_consequences([balance(2.0), tone(difference, jnd=1.5)])) == left


def test_partials_begin_where_their_element_begins() -> None:
    cause = balance(band_hz=(2000.0, 2100.0))
    above, below = tone(3.0, band_hz=(2100.0, 4000.0)), tone(3.0, band_hz=(1000.0, 2000.0))
    assert len(without_consequences([cause, above])) == 1
    assert len(without_consequences([cause, below])) == 2


def test_consequences_are_named_with_their_sizes_biggest_first() -> None:
    room = wetter(4.0)
    width = of_kind("width", "wider", 1.83, 1.2, subject="the stereo image")
    tilt = of_kind("tone", "tone_darker", -0.254, 1.3, unit="dB/octave", subject="the overall tone")
    notes = of_kind(
        "articulation",
        "notes_more_connected",
        0.21,
        2.6,
        unit="",
        subject="the leading line",
        noticeable=JUST_NOTICEABLE["articulation"],
    )
    (left,) = without_consequences([width, tilt, notes, room])
    assert left.kind == "wetter"
    assert left.consequences == (
        "the leading line: +21 percentage points of the notes' length",
        "darker by 0.25 dB/octave (the overall tone)",
        "wider by 1.8 dB (the stereo image)",
    )


def test_what_is_folded_away_explains_nothing_itself() -> None:
    """The element takes the tone; the tone no longer takes the other element's register."""
    first = balance(6.0, jnd=6.0)
    between = tone(3.0, jnd=3.0, band_hz=(1500.0, 8000.0))
    last = balance(2.0, jnd=2.0, band_hz=(3000.0, 6000.0), subject="high register")
    left = without_consequences([last, between, first])
    assert [entry.subject for entry in left] == ["middle register", "high register"]
    assert [len(entry.consequences) for entry in left] == [1, 0]


def test_a_finding_is_folded_into_the_biggest_that_explains_it_and_only_once() -> None:
    width = of_kind("width", "wider", 2.0, 1.5, subject="the stereo image")
    left = without_consequences([width, wetter(3.0), balance(5.0, jnd=5.0)])
    # The element is the bigger one, and the reverberation does not explain it: 5 > 1.2 x 3.
    assert [entry.consequences for entry in left] == [("wider by 2.0 dB (the stereo image)",), ()]


def test_what_is_left_comes_biggest_first() -> None:
    small, big = of_kind("tempo", "faster", 4.0, 2.0), of_kind("tuning", "tuned_lower", -30.0, 6.0)
    assert without_consequences([small, big]) == [big, small]
    assert without_consequences([]) == []


def test_what_was_taken_off_before_explains_nothing() -> None:
    wide = of_kind("width", "wider", 3.0, 2.0)
    (left,) = without_consequences([balance(), wide])
    assert left.aspect == "balance"
    apart = of_kind("width", "wider", 3.0, 2.0, apart=("balance",))
    assert len(without_consequences([balance(), apart])) == 2


# A gain that moves a decibels for each of the music's makes a fall of d dB a second one of (1 + a)
# d: of 2:1 compression (a = -1/2) the decay is twice as long at most. Plain algebra.
@pytest.mark.parametrize(
    ("slope", "percent", "explained"),
    [(-0.5, 60.0, True), (-0.5, 130.0, False), (-0.5, -20.0, False), (0.5, -30.0, True),
     (0.5, -40.0, False)],
)  # fmt: skip
def test_a_compressor_stretches_decays_so_far_and_no_further(
    slope: float, percent: float, explained: bool
) -> None:
    swings = finding(slope, 5.0, aspect="dynamics", kind="dynamics_smaller", unit="dB/dB")
    decay = finding(percent, 2.0, aspect="room", kind="decay_longer", unit="%")
    assert stretches(swings, decay) is explained
