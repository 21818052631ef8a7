"""The page's numbers: every card, place, gain and clock equals what was found."""

import base64
import html as html_module
import io
import json
import re
import struct
import zlib
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from mixcompare import findings, units
from mixcompare.alignment.result import SAME_TAKE, Alignment
from mixcompare.alignment.timemap import TimeMap
from mixcompare.listening.page_sound import CodedVoice, page_sound
from mixcompare.plots.contours import balance_field, gaps, loudness_contours
from mixcompare.report import timeline, wording
from mixcompare.report.page import _gains, render
from tests import samples
from tests.report.builders import gliding_pair, made_up_results

MINUS, SPACE = "\N{MINUS SIGN}", "\N{NO-BREAK SPACE}"


@pytest.fixture(scope="module", params=["made up", "one take", "two performances"])
def shown(request):
    """Results, and their page without sound and large figures."""
    if request.param == "made up":
        results = made_up_results(length_s=24.0)
    else:
        names = {"one take": "candidate_figure_louder", "two performances": "candidate_detached"}
        results = samples.compared("reference", names[request.param])
    return results, render(results, {})


def plain(markup):
    """Text of a piece of the page, tags and doubled spaces gone."""
    text = re.sub(r"<svg.*?</svg>|<[^>]+>", " ", markup, flags=re.DOTALL)
    return re.sub(r"[ \n]+", " ", html_module.unescape(text)).strip()


def cards(page):
    found = re.findall(r'<li class="card" id="finding-(\d+)">(.*?)\n    </li>', page, re.DOTALL)
    return {int(rank): markup for rank, markup in found}


def number(text):
    return float(text.replace(MINUS, "-"))


def test_every_card_tells_its_finding(shown):
    results, page = shown
    found = cards(page)
    assert list(found) == [finding.rank for finding in results.findings]
    assert found
    start, end = results.alignment.time_map.span_s
    for finding in results.findings:
        card = found[finding.rank]
        (heading,) = re.findall(r"<h3>.*?</span>(.*?)</h3>", card, re.DOTALL)
        assert plain(heading) == units.in_print(finding.text)
        (size,) = re.findall(r'<p class="size">(.*?)</p>', card, re.DOTALL)
        held = finding.aspect == "articulation"  # of two percentages, told in points
        unit = f"{SPACE}points" if held else f"{SPACE}{finding.unit}" if finding.unit else ""
        pattern = rf"^([\d+.{MINUS}]+){unit} 95 %: (.+) to (.+)$"
        told = re.match(pattern, plain(size))
        assert told, plain(size)
        value, low, high = map(number, told.groups())
        (judged,) = re.findall(r'<details class="judged">(.*?)</details>', card, re.DOTALL)
        pattern = r"([\d.]+) times what is just noticeable; .* right in about (\d+) of 100 cases"
        steps, sure = map(number, re.search(pattern, plain(judged)).groups())
        digit = {"dB/octave": 0.005, "dB/dB": 0.005, "": 0.005}.get(finding.unit, 0.05) + 1e-9
        factor = 100 if held else 1
        digit = 0.51 if held else digit
        assert value == pytest.approx(factor * finding.difference, abs=digit)
        bounds = tuple(factor * bound for bound in finding.interval)
        assert (low, high) == pytest.approx(bounds, abs=digit)
        assert steps == pytest.approx(finding.jnd, abs=0.051)
        assert sure == min(round(100 * finding.confidence), 99)
        places = re.findall(r'data-span="(\d+)" title="Loop this place">(.*?)</button>', card)
        (where,) = re.findall(r'<p class="where">(.*?)</p>', card, re.DOTALL)
        if finding.duration_s >= 0.95 * (end - start):
            assert not places
            assert "the whole passage" in where
        else:
            assert "the whole passage" not in where
            assert [(int(index), html_module.unescape(text)) for index, text in places] == [
                (index, "\N{EN DASH}".join(findings.clock(time) for time in span))
                for index, span in enumerate(finding.spans_s)
            ]
        assert results.measurements[finding.aspect].about.title in where
        assert finding.cause.spoken in where
        assert wording.band(finding.band_hz) in html_module.unescape(where)
        shares = re.findall(r'cause-word cause-(\w+)">(\w+) (\d+) %', card)
        assert [name for name, _, _ in shares] == [name for _, name, _ in shares]
        told = {name: int(share) for name, _, share in shares}
        cause = finding.cause
        wanted = {"players": cause.players, "room": cause.room, "mix": cause.mix}
        for name, share in wanted.items():
            assert told.get(name, 0) == pytest.approx(100 * share, abs=0.51)
        assert list(told.values()) == sorted(told.values(), reverse=True)
        for sentence in (*finding.advice, *finding.consequences):
            assert sentence in plain(card)


def test_a_finding_in_nearly_all_of_the_passage_concerns_all_of_it():
    results = made_up_results(length_s=24.0)
    for seconds, whole in ((22.7, False), (22.9, True)):  # 95 % of 24 s are 22.8 s
        spread = replace(results.findings[0], spans_s=((0.0, 10.0), (11.0, 1.0 + seconds)))
        card = cards(render(replace(results, findings=(spread,)), {}))[1]
        assert ("the whole passage" in card) == whole
        assert ('class="course"' in card) != whole


def test_many_places_are_counted_and_bars_named():
    results = made_up_results(length_s=48.0)
    spans = tuple((float(start), start + 0.5) for start in range(15))
    many = replace(results.findings[0], spans_s=spans, bars=((5, 12),))
    card = cards(render(replace(results, findings=(many,)), {}))[1]
    assert len(re.findall("Loop this place", card)) == 12
    assert "and 3 more" in card
    assert "bars 5\N{EN DASH}12" in card


def facts(page):
    (block,) = re.findall(r'<dl class="facts">(.*?)</dl>', page, re.DOTALL)
    return {
        plain(name): plain(words).replace(f"{SPACE}%", " %")
        for name, words in re.findall(r"<dt>(.*?)</dt><dd>(.*?)</dd>", block, re.DOTALL)
    }


def test_the_facts_of_the_alignment(shown):
    results, page = shown
    alignment = results.alignment
    told = facts(page)
    assert told["Relation"].startswith(wording.RELATIONS[alignment.relation])
    sure = int(re.search(r"about (\d+) of 100", told["Relation"])[1])
    assert sure == min(round(100 * alignment.confidence), 99)
    level = results.level
    assert told["Level taken out"].startswith(
        f"{units.quantity(level.gain_db, 'dB', signed=True)} (95 %: "
    )
    assert told["Level taken out"].endswith("most of the sound is at one level after that")
    assert level.method in page  # among the settings
    if alignment.same_take:
        assert told["Offset"] == "none"
        assert "Tempo" not in told
    else:
        found = re.fullmatch(r"the candidate is ([\d.]+) % (\w+)|the same", told["Tempo"])
        percent = 100 * (1 / alignment.tempo_ratio - 1)
        assert float(found[1] or 0) == pytest.approx(abs(percent), abs=0.051)
        assert found[2] == (("slower" if percent < 0 else "faster") if found[1] else None)
        assert f"about {alignment.uncertainty_ms:.0f} ms" in told["Places"]


@pytest.mark.parametrize(
    ("changes", "name", "words"),
    [
        ({"offset_s": 0.0125}, "Offset", "the candidate lies 12.500 ms later"),
        ({"offset_s": -0.0125}, "Offset", "the candidate lies 12.500 ms earlier"),
        ({"offset_s": 4e-7}, "Offset", "none"),
        ({"drift_ppm": -12.0}, "Clock drift", f"{MINUS}12.0{SPACE}ppm"),
        ({"polarity": -1}, "Polarity", "inverted in the candidate"),
        ({"channels_swapped": True}, "Channels", "left and right are exchanged in the candidate"),
        ({"transposition_semitones": -2}, "Transposition", f"{MINUS}2 semitones"),
        ({"tuning_cents": -3.44}, "Tuning", f"{MINUS}3.4{SPACE}cents"),
        ({"confidence": 1.0}, "Relation", "99 of 100"),
    ],
)
def test_facts_in_words(changes, name, words):
    results = made_up_results(SAME_TAKE, length_s=6.0)
    rest = {name: one for name, one in results.measurements.items() if name != "tuning"}
    results = replace(results, measurements=rest)
    changed = replace(results, alignment=replace(results.alignment, **changes))
    assert words in facts(render(changed, {}))[name]
    quiet = replace(results.alignment, polarity=1, tuning_cents=0.04, channels_swapped=False)
    assert not facts(render(replace(results, alignment=quiet), {})).keys() & {
        "Polarity", "Tuning", "Channels", "Transposition",
    }  # fmt: skip


def test_the_tuning_is_told_by_one_figure():
    """The aspect's own, where it has one, whatever the alignment took for it."""
    results = made_up_results()
    aligned = replace(results.alignment, tuning_cents=7.7)
    for told, cents in ((-3.44, f"{MINUS}3.4"), (None, "+7.7")):
        measured = results.measurements["tuning"]
        difference = replace(measured.difference, tuning_cents=told)
        changed = {**results.measurements, "tuning": replace(measured, difference=difference)}
        page = render(replace(results, alignment=aligned, measurements=changed), {})
        assert facts(page)["Tuning"] == f"{cents}{SPACE}cents"


def test_a_shorter_candidate_is_called_faster_by_the_figure_of_its_tempo():
    results = made_up_results(length_s=6.0)
    changed = replace(results, alignment=replace(results.alignment, tempo_ratio=0.9))
    told = facts(render(changed, {}))["Tempo"]
    assert told == "the candidate is 11.1 % faster"


def test_both_sources_are_described_each_at_its_own_name(shown):
    results, page = shown
    blocks = re.findall(r'<div class="source">(.*?)</div>', page, re.DOTALL)
    for block, role, source in zip(
        blocks, ("Reference", "Candidate"), (results.reference, results.candidate), strict=True
    ):
        text = plain(block)
        assert text.startswith(role)
        assert f"{source.sample_rate_hz / 1000:g}{SPACE}kHz, stereo" in text
        assert f"{findings.moment(source.duration_s)} long" in text
        assert source.path.rpartition("/")[2] in text
        assert "compared" not in text
    part = replace(results.candidate, span_s=(2.0, 9.5), channels=8)
    second = re.findall(
        r'<div class="source">(.*?)</div>', render(replace(results, candidate=part), {}), re.DOTALL
    )[1]
    assert "compared 0:02.0 to 0:09.5" in plain(second)
    assert "8 channels" in plain(second)


def passage(reference_gain_db, candidate_gain_db):
    gains = {"reference": reference_gain_db, "candidate": candidate_gain_db}
    return {name: CodedVoice((0, 1), b"", gain) for name, gain in gains.items()}


def test_gains_are_told_in_words():
    assert _gains([]) == ""
    assert _gains([passage(0.0, -2.13)]) == (
        "the reference plays as it is, the candidate is turned down by 2.1 dB"
    )
    assert _gains([passage(-3.0, -1.0), passage(-3.04, -4.5)]) == (
        "the reference is turned down by 3.0 dB, the candidate is turned down by 1.0 to 4.5 dB"
    )
    three = {**passage(0.0, -1.0), "preview": CodedVoice((0, 1), b"", -2.5)}
    assert _gains([three]).endswith("the candidate with the trims is turned down by 2.5 dB")


def player(page):
    (text,) = re.findall(r'id="comparison">(.*?)</script>', page, re.DOTALL)
    return json.loads(text)


def test_the_player_has_both_clocks_the_sound_and_the_gains():
    """A candidate that plays at 1.06 times the length: its spans lie on its own clock."""
    results = made_up_results(length_s=12.0)
    time_map = TimeMap.linear(0.7, 1.06, 0.0, 12.0, 20.0)
    results = replace(
        results,
        alignment=replace(results.alignment, time_map=time_map),
        findings=results.findings[:1],
    )
    pair = gliding_pair(results, 12.0, 22_050)
    sound = page_sound(pair, results.findings)
    page = render(results, {}, sound)
    data = player(page)
    assert data["span"] == [0.0, 12.0]
    reference, candidate = np.array(data["map"]).T
    np.testing.assert_allclose(candidate, 0.7 + 1.06 * reference, atol=1e-4)
    (segment,) = data["segments"]
    assert segment["reference"] == pytest.approx([0.0, 12.0])
    assert segment["candidate"] == pytest.approx([0.7, 0.7 + 1.06 * 12.0])
    assert data["loudness"] == [{name: list(voice.block_lufs) for name, voice in sound[0].items()}]
    # ITU-R BS.1770-5 Annex 1: blocks of 0.4 s that overlap by 75 %, gates of -70 LUFS and -10 LU.
    meter = {"block": 0.4, "hop": 0.1, "absolute": -70.0, "relative": -10.0}
    assert data["meter"] == pytest.approx(meter)
    (finding,) = data["findings"]
    assert finding["spans"] == [list(span) for span in results.findings[0].spans_s]
    assert finding["band"] == [2000.0, 5000.0]
    assert finding["rank"] == 1
    for role, seconds in (("reference", 12.0), ("candidate", 12.72)):
        (text,) = re.findall(f'id="sound-{role}-0">([^<]*)<', page)
        samples_, rate = soundfile.read(io.BytesIO(base64.b64decode(text)))
        assert len(samples_) / rate == pytest.approx(seconds, abs=0.1)
    # The candidate is 2.1 dB louder, and neither comes near the ceiling.
    assert "the reference plays as it is, the candidate is turned down by 2.1 dB" in page


def test_the_player_knows_the_gaps():
    results = made_up_results(length_s=24.0)
    time_map = TimeMap(
        np.array([0.0, 10.0, 12.0, 24.0]),
        np.array([0.0, 10.0, 10.01, 22.0]),
        np.array([5.0, np.inf, np.inf, 5.0]),
    )
    assert isinstance(results.alignment, Alignment)
    results = replace(results, alignment=replace(results.alignment, time_map=time_map))
    assert gaps(time_map) == ((10.0, 12.0),)
    page = render(results, {}, [passage(0.0, 0.0)])
    assert player(page)["gaps"] == [[10.0, 12.0]]


def rectangles(markup, name):
    out = []
    for element in re.findall(f'<rect class="{name}"[^>]*>', markup):
        values = dict(re.findall(r'(\w+)="([-\d.]+)"', element))
        out.append([float(values[key]) for key in ("x", "y", "width")])
    return out


def test_the_findings_lane_is_to_scale(shown):
    results, _ = shown
    start, end = results.alignment.time_map.span_s
    lane = timeline.lanes(results, None, None, (start, end))[0]
    assert lane.kind == "findings"
    drawn = {side: rectangles(str(lane.drawing), f"bar {side}") for side in ("more", "less")}
    for row, finding in enumerate(results.findings):
        bars = drawn["more" if finding.difference > 0 else "less"]
        for first, last in finding.spans_s:
            width = max(1000 * (last - first) / (end - start), 2)
            wanted = [1000 * (first - start) / (end - start), 14 * row + 2, width]
            assert bars.pop(0) == pytest.approx(wanted, abs=0.11)
    assert drawn == {"more": [], "less": []}
    assert [label.text for label in lane.labels] == [str(f.rank) for f in results.findings]


def test_the_loudness_lane_shows_both_at_equal_level(shown):
    results, _ = shown
    contours = loudness_contours(results)
    span_s = results.alignment.time_map.span_s
    (lane,) = timeline.lanes(replace(results, findings=()), contours, None, span_s)
    markup = str(lane.drawing)
    scale = [(float(label.text.replace(MINUS, "-")), label.percent) for label in lane.labels]
    (top, at_top), (bottom, at_bottom) = scale[-1], scale[0]
    for name, levels in (
        ("reference", contours.reference_lufs),
        ("candidate", contours.candidate_lufs - results.level.gain_db),
    ):
        (data,) = re.findall(f'class="line {name}" d="([^"]+)"', markup)
        x, y = np.array(re.findall(r"[ML]([\d.]+) ([\d.]+)", data), float).T
        times = span_s[0] + x / 1000 * (span_s[1] - span_s[0])
        drawn = top + (y - at_top) * (bottom - top) / (at_bottom - at_top)
        known = np.isfinite(levels)
        np.testing.assert_allclose(times, contours.times_s[known], atol=0.01)
        inside = levels[known] > bottom
        assert inside.sum() > 100
        np.testing.assert_allclose(drawn[inside], levels[known][inside], atol=0.03)


def test_the_field_lane_has_its_frequencies_at_their_height(shown):
    results, _ = shown
    field = balance_field(results)
    span_s = results.alignment.time_map.span_s
    (lane,) = timeline.lanes(replace(results, findings=()), None, field, span_s)
    centres = np.log2(field.band_centre_hz)
    half = (centres[-1] - centres[0]) / (2 * (len(centres) - 1))
    wanted = {"100": 100, "300": 300, "1k": 1000, "3k": 3000, "10k": 10000}
    for label in lane.labels:
        place = (centres[-1] + half - np.log2(wanted[label.text])) / (np.ptp(centres) + 2 * half)
        assert label.percent == pytest.approx(100 * place)
        assert 0 <= label.percent <= 100
    assert {"100", "300", "1k", "3k"} <= {label.text for label in lane.labels}
    light, dark = (base64.b64decode(image.partition(",")[2]) for image in lane.images)
    for picture in (light, dark):
        width, height = struct.unpack(">II", picture[16:24])
        assert height == len(field.band_centre_hz)
        assert width == min(900, len(field.times_s))
    assert zlib.crc32(light) != zlib.crc32(dark)


def test_ticks_are_round_and_at_their_place():
    ticks = timeline.ticks((2.5, 62.5))
    assert [tick.text for tick in ticks] == ["0:10", "0:20", "0:30", "0:40", "0:50", "1:00"]
    assert ticks[0].percent == pytest.approx(12.5)
    assert ticks[-1].percent == pytest.approx(100 * 57.5 / 60)
    assert len(timeline.ticks((0.0, 8.0))) == 9
    assert [tick.text for tick in timeline.ticks((0.0, 8.1))][:3] == ["0:00", "0:02", "0:04"]
