"""The page: everything inside, nothing from outside, every name escaped, readable colours."""

import base64
import hashlib
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

import mixcompare.report
from mixcompare.alignment.result import SAME_TAKE, UNRELATED
from mixcompare.aspects import JUST_NOTICEABLE
from mixcompare.report import wording
from mixcompare.report.inline import inline_svg
from mixcompare.report.page import render
from mixcompare.units import in_print
from tests.report.builders import made_up_results

VOID = [
    "area",
    "base",
    "br",
    "col",
    "embed",
    "hr",
    "img",
    "input",
    "link",
    "meta",
    "source",
    "track",
    "wbr",
]


class Outline(HTMLParser):
    """Collects elements with their attributes and text, and checks that tags are balanced."""

    def __init__(self):
        super().__init__()
        self.elements = []
        self.text = []
        self.open = []
        self.problems = []

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.problems.append(f"</{tag}> at {self.getpos()}")

    def handle_data(self, data):
        if not self.open or self.open[-1] not in ("script", "style"):
            self.text.append(data)


def outline(html):
    parser = Outline()
    parser.feed(html)
    parser.close()
    assert not parser.problems
    assert not parser.open
    return parser


@pytest.fixture(scope="module")
def html(saved):
    return (saved / "report.html").read_text("utf-8")


@pytest.fixture(scope="module")
def page(html):
    return outline(html)


def test_nothing_leads_outside(html, page):
    assert not re.search(r"https?:|//[a-z]+\.[a-z]", html)
    for tag, attributes in page.elements:
        for name in ("src", "href", "srcset", "xlink:href"):
            address = attributes.get(name)
            if address is None or address.startswith(("data:", "#")):
                continue
            assert tag == "a", (tag, address)
            assert re.fullmatch(r"listening/[\w-]+\.flac", address)


def test_the_policy_lets_only_this_style_and_this_script_run(html, page):
    (policy,) = [
        attributes["content"]
        for tag, attributes in page.elements
        if attributes.get("http-equiv") == "Content-Security-Policy"
    ]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    for tag in ("style", "script"):
        (text,) = re.findall(f"<{tag}>(.*?)</{tag}>", html, re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in policy
    for tag, attributes in page.elements:
        assert "style" not in attributes, tag
        assert not [name for name in attributes if name.startswith("on")], tag


HOSTILE = '<script>alert("x")</script>\'"&{{ 7*7 }}</title>.wav'


def test_names_and_texts_are_escaped():
    results = made_up_results(name=HOSTILE, length_s=12.0)
    sly = replace(results.findings[0], subject=HOSTILE, text=HOSTILE, advice=(HOSTILE,))
    balance = results.measurements["balance"]
    element = replace(balance.difference.elements[0], name=HOSTILE)
    difference = replace(balance.difference, elements=(element,), reasons=(HOSTILE,))
    results = replace(
        results,
        findings=(sly,),
        verdict=HOSTILE,
        warnings=(HOSTILE,),
        settings={HOSTILE: HOSTILE},
        measurements={"balance": replace(balance, difference=difference)},
    )
    html = render(results, {})
    assert "<script>alert" not in html
    found = outline(html)
    assert HOSTILE in "".join(found.text)
    assert "49" not in "".join(re.findall(r"alert.{0,40}", html))
    assert [tag for tag, _ in found.elements].count("script") == 1


def test_hostile_names_do_not_break_out_of_figures():
    svg = '<svg viewBox="0 0 1 1"><text style="font: 9px x; fill: #fff">a</text></svg>'
    inlined = inline_svg(svg, "tone", '"><script>')
    assert "<script>" not in inlined
    assert 'fill="#fff"' in inlined
    assert 'font-size="9"' in inlined


def test_the_page_says_everything_in_order(page, results):
    text = re.sub(r"\s+", " ", " ".join(page.text))
    wanted = [
        "terraces reference.wav",
        results.verdict,
        "right in about 97 of 100",
        "+2.1\N{NO-BREAK SPACE}dB (95 %: +1.8 to +2.4)",
        results.warnings[0],
        "What sticks out",
        *(in_print(finding.text) for finding in results.findings),
        "Listen",
        "turned down",
        "harms hearing",
        "Blind trial",
        "Everything measured",
        *(measured.about.title for measured in results.measurements.values()),
        "How it was done, and what it cannot tell",
        *wording.LIMITS,
        JUST_NOTICEABLE["tempo"].source,
        "Settings and versions",
        "threshold jnd",
    ]
    place = 0
    for words in wanted:
        found = text.find(re.sub(r"\s+", " ", words), place)
        assert found >= 0, words
        place = found
    for finding in results.findings:
        for sentence in (*finding.advice, *finding.consequences):
            assert sentence in text


def test_everything_that_can_be_pressed_or_seen_has_a_name(page):
    ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
    assert len(ids) == len(set(ids))
    for tag, attributes in page.elements:
        if tag == "img":
            assert attributes["alt"]
        if tag == "svg":
            assert attributes.get("aria-label") or attributes.get("aria-hidden") == "true"
        if attributes.get("role") in ("slider", "region", "group"):
            assert attributes.get("aria-label")
        if tag == "a" and attributes["href"].startswith("#"):
            assert attributes["href"][1:] in ids
        if "aria-labelledby" in attributes:
            assert attributes["aria-labelledby"] in ids
    levels = [int(tag[1]) for tag, _ in page.elements if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in zip(levels, levels[1:], strict=False))


def test_a_page_without_sound_has_no_player(results):
    html = render(results, {})
    names = {attributes.get("id") for _, attributes in outline(html).elements}
    assert not names & {"dock", "comparison", "trial-start"}
    assert "This page holds no sound" in html
    assert len(html) < 1_000_000


@pytest.mark.parametrize("relation", [SAME_TAKE, UNRELATED])
def test_other_relations_have_a_page_too(relation):
    html = render(made_up_results(relation, length_s=12.0), {})
    text = " ".join(outline(html).text)
    assert wording.RELATIONS[relation] in text
    if relation == SAME_TAKE:
        assert "12.000 ms later" in text
        assert "+12.0\N{NO-BREAK SPACE}ppm" in text
    else:
        assert "nothing to compare" in text


def test_24_seconds_stay_far_under_15_megabytes(html):
    # Sound grows with length up to the budget (see test_listening); the rest hardly does.
    sound = sum(len(text) for text in re.findall(r'"text/plain" id="sound[^>]*>([^<]*)', html))
    assert sound > 24 * 2 * 96 * 125 * 4 / 3
    assert len(html) - sound < 2_000_000


def luminance(colour):
    """Relative luminance after WCAG 2.1."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(first, second):
    """Contrast ratio after WCAG 2.1."""
    light, dark = sorted((luminance(first), luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("theme", [0, 1])
def test_colours_can_be_read(theme):
    css = (Path(mixcompare.report.__file__).parent / "page.css").read_text("utf-8")
    block = re.findall(r":root \{(.*?)\}", css, re.DOTALL)[theme]
    colours = dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6})", block))
    for text in ("ink", "quiet", "reference", "candidate"):
        # WCAG 2.1, success criterion 1.4.3, level AA: 4.5 to 1 for text.
        assert contrast(colours[text], colours["paper"]) >= 4.5, text
        assert contrast(colours[text], colours["wash"]) >= 4.5, text
    assert contrast(colours["ink"], colours["warn"]) >= 4.5
    for graphic in ("players", "room", "mix"):
        # Success criterion 1.4.11: 3 to 1 for graphics.
        assert contrast(colours[graphic], colours["paper"]) >= 3, graphic


def test_no_sound_is_called_equally_loud_that_is_not(html):
    assert 'lossless, at the same gain for what did not change: <a href="listening/' in html
    assert "at the same gain for what did not change or at the same loudness" in html
    for untrue in ("equally loud", "level-matched", "matched in level"):
        assert untrue not in html.lower()
