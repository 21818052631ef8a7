"""What every page of ours stands in: templates that escape, files of the package, the policy."""

from __future__ import annotations

import base64
import hashlib
from importlib import resources

import jinja2

from mixcompare import units
from mixcompare.findings import moment

_HERE = "mixcompare.report"


def environment(package: str = _HERE) -> jinja2.Environment:
    """Templates of a package and of the report: every text is escaped, no name may be missing."""
    made = jinja2.Environment(
        loader=jinja2.ChoiceLoader(
            [jinja2.PackageLoader(*place.rsplit(".", 1)) for place in (package, _HERE)]
        ),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["moment"] = moment
    made.filters["in_print"] = units.in_print
    return made


def packaged(name: str, package: str = _HERE) -> str:
    """Text of a file that comes with a package."""
    return resources.files(package).joinpath(name).read_text("utf-8")


def policy(style: str, script: str, media: str = "data:") -> str:
    """Content security policy: the page's own style and script, pictures and sound in it.

    ``media`` says where its sound may come from.
    """
    hashes = []
    for text in (style, script):
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        hashes.append(f"'sha256-{digest}'")
    return (
        f"default-src 'none'; img-src data:; media-src {media}; style-src {hashes[0]};"
        f" script-src {hashes[1]}; base-uri 'none'; form-action 'none'"
    )
