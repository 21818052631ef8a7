"""Figures made fit for the page: SVG that takes the page's colours and asks for nothing.

The page forbids inline styles, so style declarations become presentation attributes; names are
made unique, and addresses of name spaces, which the page does not need, go.
"""

from __future__ import annotations

import re
from html import escape

from markupsafe import Markup

_DROPPED = (
    re.compile(r"<\?xml.*?\?>", re.DOTALL),
    re.compile(r"<!DOCTYPE.*?>", re.DOTALL),
    re.compile(r"<metadata>.*?</metadata>", re.DOTALL),
    re.compile(r"<style[^>]*>.*?</style>", re.DOTALL),
    re.compile(r'\sxmlns(:\w+)?="[^"]*"'),
    re.compile(r"<!--.*?-->", re.DOTALL),
)
_STYLE = re.compile(r'\sstyle="([^"]*)"')
_FONT = re.compile(r"^(?:[a-z]+ )*([\d.]+)px\b")
_BROAD = 500.0
"""Breadth of a drawing from which on it may take the page's whole width, points."""
_ROOT = re.compile(r"<svg\b[^>]*>")


def inline_svg(svg: str, name: str, words: str) -> Markup:
    """A figure as part of the page.

    Parameters
    ----------
    svg : str
        As written by :func:`mixcompare.plots.style.to_svg`.
    name : str
        Unique within the page; letters, digits and hyphens.
    words : str
        What the figure shows, for those who don't see it.

    Returns
    -------
    Markup
        An ``svg`` element without style elements or attributes, name spaces or outside addresses.
    """
    for pattern in _DROPPED:
        svg = pattern.sub("", svg)
    svg = svg.replace("xlink:href=", "href=")
    svg = _STYLE.sub(lambda match: _attributes(match.group(1)), svg)
    svg = re.sub(r'\bid="([^"]+)"', rf'id="{name}-\1"', svg)
    svg = re.sub(r"url\(#([^)]+)\)", rf"url(#{name}-\1)", svg)
    svg = re.sub(r'\bhref="#([^"]+)"', rf'href="#{name}-\1"', svg)
    box = re.search(r'viewBox="([^"]*)"', svg)
    broad = box is not None and float(box.group(1).split()[2]) > _BROAD
    root = (
        f'<svg class="figure{" broad" * broad}" role="img" aria-label="{escape(words)}"'
        f' viewBox="{box.group(1) if box else "0 0 425 226"}"'
        ' stroke-linejoin="round" stroke-linecap="butt">'
    )
    svg = _ROOT.sub(lambda _: root, svg, count=1)
    return Markup(re.sub(r">\s+<", "><", svg).strip())


def _attributes(declarations: str) -> str:
    """Style declarations as attributes, the font left to the page but for its size."""
    out = []
    for declaration in declarations.split(";"):
        name, _, value = (part.strip() for part in declaration.partition(":"))
        if not value or name == "font-family":
            continue
        if name == "font":
            found = _FONT.match(value)
            if found is None:
                continue
            name, value = "font-size", found.group(1)
        out.append(f' {name}="{escape(value)}"')
    return "".join(out)
