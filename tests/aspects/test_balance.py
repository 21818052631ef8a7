"""Balance: registers and voices of one recording, elements of a pair, and what is said of them."""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects import balance
from mixcompare.aspects.balance.values import AGAINST, VOICES, BalanceDifference, Element
from mixcompare.aspects.balance.words import doubtful_words
from mixcompare.audio.recording import Recording
from mixcompare.elements.audibility import audibility
from mixcompare.elements.change import Change
from mixcompare.elements.describe import Description
from mixcompare.elements.local import LocalChange
from mixcompare.features import HIGHEST_SEMITONE, LOWEST_SEMITONE, Features
from mixcompare.findings import Finding
from mixcompare.pair.match import Match
from mixcompare.parts.heard import SILENT_DB
from mixcompare.parts.values import Theme
from mixcompare.standards.iec61260 import THIRD_OCTAVE_EDGES_HZ, pitch_hz
from tests.pairs import Remembering
from tests.synthetic import RATE_HZ, in_room, play

analyzer = Remembering(balance.analyzer)

FloatArray = npt.NDArray[np.float64]


def measured(**gains_db: float) -> dict[str, float]:
    """Loudness share by voice; invented music of a melody, a bass, a figure and chords."""
    samples = in_room(play(1, gains_db=dict(gains_db)), 1.0, -10.0)
    features = Features.of(Recording.from_array(0.3 * samples / np.abs(samples).max(), RATE_HZ))
    found = analyzer.measure(features)
    assert found.voice_name == VOICES
    assert all(0 <= share <= 1 for share in found.voice_audible_share)
    assert found.blend is not None
    return dict(zip(found.voice_name, found.voice_loudness_share, strict=True)) | {
        "blend": found.blend
    }


def test_a_line_brought_up_takes_more_of_the_loudness() -> None:
    usual, forward = measured(melody=0.0), measured(melody=9.0)
    assert forward["leading line"] > 1.3 * usual["leading line"]
    assert forward["all else"] < usual["all else"]


def test_one_register_alone_holds_all_the_loudness() -> None:
    # What nothing masks is heard all the time and is the whole loudness: a definition.
    time = np.arange(4 * RATE_HZ) / RATE_HZ
    tone = 0.1 * np.sin(2 * np.pi * 1000 * time)
    found = analyzer.measure(Features.of(Recording.from_array(tone, RATE_HZ)))
    place = next(i for i, (low, high) in enumerate(found.register_hz) if low < 1000 < high)
    assert found.register_loudness_share[place] == pytest.approx(1.0, abs=0.1)
    assert found.register_audible_share[place] == pytest.approx(1.0, abs=0.05)


def tones(*parts: tuple[float, float], seconds: float = 4.0) -> Features:
    """Sines of given frequency and level, dB re full scale, over a noise at -80 dB."""
    time = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    waves = [10 ** (level / 20) * np.sin(2 * np.pi * hz * time) for hz, level in parts]
    noise = 1e-4 * np.random.default_rng(1).standard_normal(len(time))
    return Features.of(Recording.from_array(np.sum(waves, axis=0) + noise, RATE_HZ))


def register(frequency_hz: float) -> int:
    places = [low < frequency_hz < high for low, high in REGISTERS_HZ]
    return places.index(True)


# Octaves of IEC 61260-1:2014, 5.4: from 63 Hz to 8 kHz, edges 10^(3 n / 10 +- 0.15) of 1 kHz.
REGISTERS_HZ = [
    (1000 * 10 ** (0.3 * n - 0.15), 1000 * 10 ** (0.3 * n + 0.15)) for n in range(-4, 4)
]


def test_registers_are_octaves() -> None:
    np.testing.assert_allclose(tones((500, -20)).duration_s, 4.0)
    found = analyzer.measure(tones((500, -20)))
    np.testing.assert_allclose(found.register_hz, REGISTERS_HZ, rtol=1e-3)


def test_level_of_a_register_is_its_share_of_the_power() -> None:
    found = analyzer.measure(tones((125, -20), (1000, -26), (4000, -30)))
    power = {125: 1e-2, 1000: 10**-2.6, 4000: 1e-3}
    for frequency_hz, own in power.items():
        level = found.register_level_db[register(frequency_hz)]
        assert level == pytest.approx(10 * np.log10(own / sum(power.values())), abs=0.1)
    assert found.register_audible_share[register(1000)] == 1.0
    total = sum(share for share in found.register_loudness_share if share)
    assert total == pytest.approx(1.0, abs=0.1)  # what lies octaves apart covers nothing
    # Zwicker's law with the exponent 0.2: 6 dB less is 0.76 of the loudness in the same filters.
    softer = found.register_loudness_share[register(1000)]
    alike = analyzer.measure(tones((125, -20), (1000, -20), (4000, -30)))
    equal = alike.register_loudness_share[register(1000)]
    assert softer is not None
    assert equal is not None
    assert 0.7 < softer / equal < 0.95


def test_evenness_is_the_entropy_of_the_shares() -> None:
    # Shannon 1948, over the logarithm of their number: 0 for one alone, 1 for all alike.
    found = analyzer.measure(tones((125, -20), (1000, -20), (4000, -20)))
    shares = np.array([share for share in found.register_loudness_share if share is not None])
    parts = shares[shares > 0] / shares.sum()
    assert found.evenness == pytest.approx(-(parts * np.log(parts)).sum() / np.log(len(shares)))
    alone = analyzer.measure(tones((1000, -20)))
    assert alone.evenness is not None
    assert found.evenness is not None
    assert alone.evenness + 0.15 < found.evenness
    voices = np.array(found.voice_loudness_share)
    parts = voices[voices > 0] / voices.sum()
    assert found.blend == pytest.approx(-(parts * np.log(parts)).sum() / np.log(3))


@pytest.mark.parametrize("turned", [False, True])
def test_difference_of_registers_is_candidate_minus_reference(turned: bool) -> None:
    first = tones((125, -20), (1000, -26), (4000, -30))
    second = tones((125, -26), (1000, -18), (4000, -34))
    known = {125: -6.0, 1000: 8.0, 4000: -4.0}
    reference, candidate = (second, first) if turned else (first, second)
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, 4.0), same_take=True, gain_db=1.5)
    difference = analyzer.compare(reference, candidate, match)
    before, after = analyzer.measure(reference), analyzer.measure(candidate)
    assert difference.register_hz == before.register_hz
    for frequency_hz, change_db in known.items():
        place = register(frequency_hz)
        told = difference.register_level_db[place]
        # The pair's gain is taken out.
        assert told == pytest.approx((-change_db if turned else change_db) - 1.5, abs=0.3)
    for name in ("register_audible_share", "register_loudness_share"):
        for told, a, b in zip(
            getattr(difference, name), getattr(before, name), getattr(after, name), strict=True
        ):
            assert told == (None if a is None or b is None else b - a)
    for name in ("voice_audible_share", "voice_loudness_share"):
        told, a, b = (getattr(of, name) for of in (difference, before, after))
        np.testing.assert_allclose(told, np.subtract(b, a))
    mid = difference.register_loudness_share[register(1000)]
    assert mid is not None
    assert mid * (-1 if turned else 1) > 0.1
    assert difference.evenness == after.evenness - before.evenness  # type: ignore[operator]
    assert difference.blend == after.blend - before.blend  # type: ignore[operator]


ELEMENT = Element(
    name="repeating high figure, 4.0 notes a second",
    kind="repeating_figure",
    difference_db=5.0,
    interval=(4.5, 5.5),
    confidence=0.9,
    band_hz=(600.0, 3000.0),
    spans_s=((2.0, 9.0),),
    notes_per_s=4.0,
    motif_notes=8,
    against=False,
    reference_audible_share=0.9,
    candidate_audible_share=0.95,
    reference_loudness_share=0.013,
    candidate_loudness_share=0.042,
)


def finding_of(element: Element, same_take: bool = True, whole_lu: float | None = None) -> Finding:
    difference = BalanceDifference((element,), (), (), (), 0.1, whole_lu=whole_lu)
    (finding,) = analyzer.findings(difference, same_take)
    return finding


def test_sentence_of_an_element() -> None:
    finding = finding_of(ELEMENT)
    assert finding.kind == "repeating_figure_louder"
    assert finding.text == (
        "The repeating high figure (about 4.0 notes a second, the same pattern every 8 notes)"
        " stands further forward than in the reference, by 5.0 dB (between 4.5 and 5.5)."
    )
    # A share is said where it says something, and what the whole gains by a single change.
    large = replace(ELEMENT, candidate_loudness_share=0.204)
    assert finding_of(large).text.endswith(
        " It takes 20 % of the loudness while it plays, against 1 % in the reference."
    )
    assert (
        finding_of(ELEMENT, whole_lu=1.46).text
        == f"{finding.text} It makes the whole 1.5 LU louder."
    )
    assert finding_of(ELEMENT, whole_lu=0.4).text == finding.text
    assert finding_of(ELEMENT, whole_lu=-1.4).text == finding.text  # something else's doing
    assert finding.difference == 5.0
    assert finding.interval == (4.5, 5.5)
    assert finding.unit == "dB"
    assert finding.jnd == pytest.approx(5.0, rel=0.01)
    assert finding.spans_s == ((2.0, 9.0),)
    assert finding.band_hz == (600.0, 3000.0)
    assert finding.cause.players == 0.0
    assert 0.9 < finding.cause.mix < 1.0
    assert finding.advice == (
        "Bring the spots that carry the repeating high figure down by about 5 dB.",
        "Or, if it was played so: about one dynamic softer (as from f to mf); not both.",
    )
    others = finding_of(ELEMENT, same_take=False)
    assert others.cause.likeliest == "players"
    assert others.advice[0] == (
        "Ask the repeating high figure to play about one dynamic softer (as from f to mf)."
    )


def test_sentence_of_a_figure_whose_rate_is_unknown() -> None:
    unknown = replace(ELEMENT, name="repeating high figure", notes_per_s=None, motif_notes=None)
    finding = finding_of(unknown, same_take=False)
    assert finding.kind == "repeating_figure_louder"
    assert finding.text.startswith(
        "The repeating high figure stands further forward than in the reference, by 5.0 dB"
        " (between 4.5 and 5.5)."
    )


def test_players_of_a_figure_speak_in_written_note_values() -> None:
    named = replace(
        ELEMENT, name="Flute, Oboe and Harp parts, semiquavers", kind="part",
        players=("Flute", "Oboe", "Harp"), note_value="semiquavers",
    )  # fmt: skip
    finding = finding_of(named)
    assert finding.subject == "Flute, Oboe and Harp parts, semiquavers"
    assert finding.text.startswith(
        "The Flute, Oboe and Harp parts (semiquavers, the same pattern every 8 notes) stand"
        " further forward than in the reference, by 5.0 dB"
    )
    assert finding.advice == (
        "Bring the spots that carry the Flute, Oboe and Harp parts down by about 5 dB.",
        "Or, if it was played so: about one dynamic softer (as from f to mf); not both.",
    )


def test_sentence_of_an_element_that_went_back() -> None:
    back = replace(
        ELEMENT,
        name="leading line",
        kind="leading_line",
        difference_db=-3.0,
        interval=(-4.0, -2.0),
        reference_audible_share=0.8,
        candidate_audible_share=0.5,
    )
    finding = finding_of(back, same_take=False)
    assert finding.kind == "leading_line_weaker"
    assert finding.text == (
        "The leading line stands further back than in the reference, by 3.0 dB (between 2.0 and"
        " 4.0). It can be heard through the rest 50 % of the time it plays, against 80 % in the"
        " reference."
    )
    assert finding.advice == (
        "Ask the leading line to play about half a dynamic louder.",
        "Bring the spots that carry the leading line up by about 3 dB.",
    )
    assert finding_of(replace(back, kind="bass", name="bass line")).kind == "bass_weaker"
    register = finding_of(replace(back, kind="register", name="high register, 1 to 2 kHz"))
    assert register.text.startswith("The high register, 1 to 2 kHz, stands further back")


@pytest.mark.parametrize(
    ("sign", "where", "one", "other", "direction"),
    [
        (-1, "candidate", "candidate", "reference", "back"),
        (1, "reference", "reference", "candidate", "forward"),
    ],
)
def test_sentence_of_a_part_that_one_recording_lacks(
    sign: int, where: str, one: str, other: str, direction: str
) -> None:
    interval = (-SILENT_DB, -6.2) if sign < 0 else (6.2, SILENT_DB)
    gone = replace(
        ELEMENT, name="Horn part", kind="part", players=("Horn",), difference_db=9.0 * sign,
        interval=interval,
    )  # fmt: skip
    finding = finding_of(gone)
    assert finding.text == (
        f"The Horn part plays in the score and can hardly be heard in the {where}: at least 6 dB"
        f" further {direction} than in the other recording."
    )
    assert finding.advice == (
        f"See whether the Horn part should play in both: left out of the {one}, muted there, or"
        f" added in the {other}.",
    )
    assert finding.jnd == pytest.approx(8.7, abs=0.2)  # as if it were 9.0 within 6.2 and 11.8
    assert finding.interval == interval
    two = replace(gone, name="Horn and Oboe parts", players=("Horn", "Oboe"))
    assert finding_of(two).text.startswith("The Horn and Oboe parts play in the score and can")


THEME = Theme("Violin 1", False, 6.0, (4.0, 8.5), "f", "p")


@pytest.mark.parametrize(
    ("theme", "said"),
    [
        (
            THEME,
            " Against Violin 1, written f, which leads there, it, written p, stands 6.0 dB (between"
            " 4.0 and 8.5) further forward than in the reference.",
        ),
        (
            replace(THEME, level_db=-2.0, level_db_interval=(-3.0, -1.0), players_written=None),
            " Against Violin 1, written f, which leads there, it stands 2.0 dB (between 1.0 and"
            " 3.0) further back than in the reference.",
        ),
        (replace(THEME, level_db_interval=(-1.0, 8.5)), " Violin 1, written f, leads there."),
        (
            replace(THEME, level_db=None, level_db_interval=None, written=None),
            " Violin 1 leads there.",
        ),
        (replace(THEME, is_own=True), " It leads there, written p."),
        (replace(THEME, is_own=True, players_written=None), " It leads there."),
    ],
)
def test_sentence_beside_the_theme(theme: Theme, said: str) -> None:
    horn = replace(ELEMENT, name="Horn part", kind="part", players=("Horn",), theme=theme)
    text = finding_of(horn).text
    assert text == (
        "The Horn part stands further forward than in the reference, by 5.0 dB (between 4.5 and"
        f" 5.5).{said}"
    )


def test_several_players_stand_against_the_theme() -> None:
    two = replace(
        ELEMENT, name="Horn and Tuba parts", kind="part", players=("Horn", "Tuba"), theme=THEME
    )
    assert "leads there, they, written p, stand 6.0 dB" in finding_of(two).text
    own = replace(two, theme=replace(THEME, is_own=True))
    assert " They lead there, written p." in finding_of(own).text


def test_what_is_doubtful_is_said_with_a_perhaps() -> None:
    found = Description("bass", "bass line", (50.0, 300.0), ((0.0, 9.0),), None, None)
    change = Change(-6.4, (-9.0, -3.0), 0.4, np.zeros((1, 1)))
    assert doubtful_words(found, change) == (
        "Perhaps the bass line stands some 6 dB further back; but the two halves of the passage,"
        " its loud and soft moments or the two directions of the comparison don't agree, or with"
        " all doubts it may be next to nothing, so it is not listed."
    )
    louder = replace(change, difference_db=6.4)
    assert "some 6 dB further forward" in doubtful_words(found, louder)


def test_sentence_where_either_may_have_moved() -> None:
    finding = finding_of(replace(ELEMENT, against=True))
    assert finding.subject == ELEMENT.name + AGAINST
    assert "Or else what plays besides it stands further back" in finding.text
    assert finding.advice[0].endswith(
        "Or bring the rest up: let the ear say which of them is out of place."
    )
    back = replace(ELEMENT, against=True, difference_db=-5.0, interval=(-5.5, -4.5))
    assert "besides it stands further forward" in finding_of(back).text


@pytest.mark.parametrize("sign", [1, -1])
def test_sentence_of_a_register_in_places(sign: int) -> None:
    size = (2.0, 4.0) if sign > 0 else (-4.0, -2.0)
    passage = LocalChange("register from 500 to 1000 Hz", (500, 1000), (8, 14), 3 * sign, size, 0.8)
    difference = BalanceDifference((), (passage,), (), (), 0.1, True)
    (finding,) = analyzer.findings(difference)
    way, advice = ("forward", "down") if sign > 0 else ("back", "up")
    assert finding.kind == ("register_louder" if sign > 0 else "register_weaker")
    assert finding.text == (
        f"From 0:08 to 0:14 the register from 500 to 1000 Hz stands further {way} than in the"
        " reference, by 3.0 dB (between 2.0 and 4.0)."
    )
    assert finding.advice == (
        "Ride the faders of what plays in the register from 500 to 1000 Hz there about"
        f" 3 dB {advice}.",
    )
    assert finding.spans_s == ((8, 14),)
    assert finding.difference == 3 * sign


@functools.cache
def played(gain_db: float) -> Features:
    samples = in_room(play(1, gains_db={"figure": gain_db}), 1.0, -12.0)
    return Features.of(Recording.from_array(0.4 * samples, RATE_HZ))


@functools.cache
def of_stems() -> tuple[FloatArray, FloatArray]:
    """Band powers of the figure alone and of all else, every fifth of a second."""
    dry = {"melody": -200.0, "pad": -200.0, "bass": -200.0}
    figure = in_room(play(1, gains_db=dry), 1.0, -12.0)
    rest = in_room(play(1, gains_db={"figure": -200.0}), 1.0, -12.0)
    stems = [Features.of(Recording.from_array(0.4 * part, RATE_HZ)) for part in (figure, rest)]
    own, others = (stem.semitone_power[::10].astype(np.float64) for stem in stems)
    return own, others


@pytest.mark.parametrize("gain_db", [6.0, -5.0])
def test_a_figure_brought_up_or_down_in_one_take(gain_db: float) -> None:
    reference, candidate = played(0.0), played(gain_db)
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, reference.duration_s), same_take=True)
    difference = analyzer.compare(reference, candidate, match)
    (element,) = difference.elements
    assert element.kind == "repeating_figure"
    assert element.difference_db == pytest.approx(gain_db, abs=0.5)
    assert element.interval[0] <= gain_db <= element.interval[1]
    # Eight notes in 2.4 s; a motif of eight.
    assert element.notes_per_s == pytest.approx(8 / 2.4, rel=0.02)
    assert element.spans_s[0][0] == pytest.approx(0.3, abs=0.4)
    assert element.spans_s[-1][1] == pytest.approx(0.3 + 6 * 2.4, abs=1.0)
    # Shares of the loudness, from the stems themselves; 0.05 of the whole.
    own, others = of_stems()
    centre_hz = pitch_hz(np.arange(LOWEST_SEMITONE, HIGHEST_SEMITONE + 1))
    gain = 10 ** (gain_db / 10)
    for part, told, heard in (
        (own, element.reference_loudness_share, element.reference_audible_share),
        (gain * own, element.candidate_loudness_share, element.candidate_audible_share),
    ):
        stands = audibility(part, others, centre_hz)
        assert told == pytest.approx(stands.loudness_share, abs=0.05)
        assert heard == pytest.approx(stands.audible_share, abs=0.15)
    change = element.candidate_loudness_share - element.reference_loudness_share
    assert change * gain_db > 0
    (finding,) = [f for f in analyzer.findings(difference) if f.band_hz == element.band_hz]
    assert finding.kind == f"repeating_figure_{'louder' if gain_db > 0 else 'weaker'}"
    # What the figure alone adds to every third octave, from the stems.
    edges = np.searchsorted(THIRD_OCTAVE_EDGES_HZ, centre_hz) - 1
    for band in np.unique(edges[(centre_hz > 300) & (centre_hz < 4000)]):
        before = (own + others)[:, edges == band].sum()
        after = before + (gain - 1) * own[:, edges == band].sum()
        known = 10 * np.log10(after / before)
        assert difference.explained_tone_db[band] == pytest.approx(known, abs=0.7)
    assert len(difference.explained_tone_db) == len(THIRD_OCTAVE_EDGES_HZ) - 1


def test_nothing_changed_in_one_take() -> None:
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, played(0.0).duration_s), same_take=True)
    difference = analyzer.compare(played(0.0), played(0.0), match)
    assert difference.elements == difference.passages == ()
    assert difference.scatter_db == 0.0
    assert difference.evenness == difference.blend == 0.0
    assert set(difference.explained_tone_db) == {0.0}
