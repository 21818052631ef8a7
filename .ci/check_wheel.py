"""Compare the samples with the installed package, away from its sources, and look at the report.

``python -I check_wheel.py SAMPLE_AUDIO OUT``: ends with an error where the package was not
installed whole (schema, page, script and style files are no Python files and easily left out).
"""

from __future__ import annotations

import json
import subprocess
import sys
import sysconfig
from importlib import resources
from pathlib import Path

import mixcompare

samples, out = (Path(argument).resolve() for argument in sys.argv[1:])
home = Path(mixcompare.__file__).resolve()
if Path(sysconfig.get_paths()["purelib"]).resolve() not in home.parents:
    sys.exit(f"mixcompare comes from {home}, not from the wheel")

command = [
    str(Path(sys.executable).with_name("mixcompare")), "compare",
    str(samples / "reference.flac"), str(samples / "candidate_figure_louder.flac"),
    "--out", str(out),
]  # fmt: skip
printed = subprocess.run(command, cwd=out.parent, capture_output=True, text=True, check=False)
sys.stdout.write(printed.stdout)
sys.stderr.write(printed.stderr)
if printed.returncode != 0:
    sys.exit(f"the comparison ended with {printed.returncode}")

report = json.loads((out / "report.json").read_text(encoding="utf-8"))
first = report["findings"][0]
if (first["rank"], first["kind"]) != (1, "repeating_figure_louder"):
    sys.exit(f"the first finding is {first['kind']}, not the louder figure")
empty = [name for name in report["files"] if (out / name).stat().st_size == 0]
if empty or "report.html" not in report["files"]:
    sys.exit(f"the report lacks something: {empty or report['files']}")
page = (out / "report.html").read_text(encoding="utf-8")
package = resources.files("mixcompare.report")
for name in ("page.css", "player.js"):
    if package.joinpath(name).read_text("utf-8").strip()[:200] not in page:
        sys.exit(f"the page does not hold {name}")
if json.loads(package.joinpath("report.schema.json").read_text("utf-8"))["type"] != "object":
    sys.exit("the schema is not the report's")
print("The wheel is whole.")
