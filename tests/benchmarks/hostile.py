"""Bad input, kills and full disks, counted: nothing may be destroyed, hang or end in a traceback.

``python -m tests.benchmarks.hostile [--cases N] [--seed S]`` breaks recordings, scores, tables and
maps, asks with odd arguments, kills runs at every step of writing, and lets disks fill up. Each
case is a process of its own with 10 s of computing (a minute by the clock) and 2 GB. It counts what
came out and ends with 1 where anything did that should not.
"""

from __future__ import annotations

import argparse
import collections
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from tests.benchmarks import hostile_inputs
from tests.benchmarks.hostile_inputs import LIMITS, NAMES, SPANS

COMPUTING_S, TIME_S, MEMORY_BYTES = 10, 60.0, 2 * 2**30
ANSWERS = {
    0: "answered", 1: "over a limit", 2: "refused", 3: "not the same passage", 4: "some refused",
}  # fmt: skip
_SCORES = (".mid", ".musicxml", ".mxl")


@dataclass(frozen=True)
class Outcome:
    """What a case came to.

    Attributes
    ----------
    kind : str
        What was done.
    what : str
        One of the answers, or what is wrong: ``"hang"``, ``"defect"``, ``"traceback"``, ...
    is_wrong : bool
    seconds : float
    told : str
        The last line on the error stream, or what else is known.
    """

    kind: str
    what: str
    is_wrong: bool
    seconds: float
    told: str = ""


def in_child(act: Callable[[], int | None], folder: Path) -> tuple[int | None, bytes, float]:
    """Fork, act with limits; exit code (negative for a signal, None for a hang), errors, time."""
    errors = folder.parent / "stderr"
    begin = time.monotonic()
    child = os.fork()
    if child == 0:
        code = 99
        try:
            os.chdir(folder)
            os.setsid()
            for number, path in ((1, folder.parent / "stdout"), (2, errors)):
                handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
                os.dup2(handle, number)
            sys.stdout = os.fdopen(os.dup(1), "w", encoding="utf-8")
            sys.stderr = os.fdopen(os.dup(2), "w", encoding="utf-8", errors="backslashreplace")
            resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
            resource.setrlimit(resource.RLIMIT_CPU, (COMPUTING_S, COMPUTING_S + 1))
            code = act() or 0
        except SystemExit as left:
            code = left.code if isinstance(left.code, int) else 98
        except BaseException:
            import traceback

            traceback.print_exc()
        finally:
            sys.stderr.flush()
            os._exit(code & 255)
    while time.monotonic() - begin < TIME_S:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            code = os.waitstatus_to_exitcode(status)
            took_s = time.monotonic() - begin
            return None if code == -signal.SIGXCPU else code, errors.read_bytes(), took_s
        time.sleep(0.002)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None, errors.read_bytes(), time.monotonic() - begin


def command(*arguments: str | bytes) -> Callable[[], int | None]:
    """The command line as the process's own."""

    def act() -> None:
        from mixcompare.__main__ import run

        sys.argv = ["mixcompare", *(os.fsdecode(each) for each in arguments)]
        run()

    return act


def judged(kind: str, code: int | None, errors: bytes, seconds: float) -> Outcome:
    """Whether a command ended as it may."""
    lines = errors.decode("utf-8", "replace").splitlines()
    told = lines[-1] if lines else ""
    if code is None:
        return Outcome(kind, "hang", True, seconds, told)
    if b"Traceback" in errors or code not in (*ANSWERS, 70):
        return Outcome(kind, "traceback", True, seconds, f"{code}: {told}")
    if code == 70:
        return Outcome(kind, "defect", True, seconds, told)
    if code == 2 and not told.startswith("mixcompare"):
        return Outcome(kind, "no sentence", True, seconds, told)
    if code == 2 and lines[0].startswith("mixcompare: ") and len(lines) > 1:
        return Outcome(kind, "more than a line", True, seconds, told)
    if "memory does not suffice" in told:
        return Outcome(kind, "too much memory", True, seconds, told)
    return Outcome(kind, ANSWERS[code], False, seconds, told)


def seen(folder: Path) -> dict[str, tuple[int, int, bytes]]:
    """Everything in a folder: mode, file, content."""
    out = {}
    for path in sorted(folder.rglob("*")):
        found = path.lstat()
        plain = path.is_file() and not path.is_symlink()
        out[str(path)] = (found.st_mode, found.st_ino, path.read_bytes() if plain else b"")
    return out


class Ground:
    """A folder with files that must stay, made anew when something went wrong."""

    def __init__(self, home: Path) -> None:
        self.folder = home / "ground"
        self.folder.mkdir()
        self.seeds = hostile_inputs.seeds(self.folder)
        os.mkfifo(self.folder / "pipe")
        (self.folder / "loop").symlink_to("loop")
        (self.folder / "folder").mkdir()
        (self.folder / "folder" / "mine.txt").write_text("mine")
        (self.folder / "closed").mkdir(mode=0)
        # Nothing is closed to the superuser but a disk that can't be written.
        is_open = os.geteuid() == 0
        self.disk = mounted(self.folder / "closed", "ro,size=4k") if is_open else None
        self.before = seen(self.folder)

    def remove(self) -> None:
        """Take it away, with all that is in it."""
        unmounted(self.disk)
        shutil.rmtree(self.folder, ignore_errors=True)

    def is_whole(self) -> bool:
        """Whether nothing that was there was touched; what came is removed."""
        for path in [*self.folder.iterdir(), *(self.folder / "folder").iterdir()]:
            if str(path) in self.before:
                continue
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path)
            else:
                path.unlink()
        return seen(self.folder) == self.before


def broken_input(ground: Ground, chance: random.Random) -> Outcome:
    """One file, broken, given to the command that reads it."""
    name, seed = chance.choice(list(ground.seeds.items()))
    data = hostile_inputs.broken(seed.read_bytes(), name.endswith((".csv", ".musicxml")), chance)
    (ground.folder / "broken").mkdir()
    path = ground.folder / "broken" / name
    path.write_bytes(data)
    reference = "reference.wav"
    if name == "taps.csv":
        arguments = ["align", reference, "music.flac", "--map-from", str(path)]
    elif name == "notes.csv" or name.endswith(_SCORES):
        arguments = ["compare", reference, reference, "--score", str(path), "--no-audio", "--quiet"]
        arguments += ["--out", "out"]
    elif chance.random() < 0.3:
        arguments = ["measure", str(path)]
    else:
        arguments = ["align", *chance.choice(([reference, str(path)], [str(path), reference]))]
        arguments += ["--map", "out.csv"]
    outcome = judged(
        f"broken {name.rpartition('.')[2]}", *in_child(command(*arguments), ground.folder)
    )
    return outcome


def odd_arguments(ground: Ground, chance: random.Random) -> Outcome:
    """Names, spans, limits and outputs that nobody should give."""
    files: list[str | bytes] = [*ground.seeds, *NAMES]
    kind = chance.choice(("compare", "align", "align", "measure", "takes"))
    arguments: list[str | bytes] = [kind, chance.choice(files)]
    span = chance.choice(SPANS)
    if kind == "measure":
        arguments += [f"--span={span}"] if chance.random() < 0.5 else []
    else:
        arguments.append(chance.choice(files) if chance.random() < 0.5 else "music.flac")
        arguments += [f"--reference-span={span}"] if chance.random() < 0.4 else []
    if kind in ("align", "compare"):
        arguments += [b"--map-from", chance.choice(files)] if chance.random() < 0.2 else []
    if kind == "align":
        for option in ("--map", "--figure"):
            target = chance.choice([*files, "out.csv", "out.svg", "taps.csv", "/dev/full"])
            arguments += [option, target] if chance.random() < 0.5 else []
    if kind == "compare":
        arguments += ["--no-audio", "--out", chance.choice([*files, "out", "folder/../out"])]
        arguments += [f"--limit={chance.choice(LIMITS)}"] if chance.random() < 0.5 else []
        arguments += ["--stems", chance.choice(files)] if chance.random() < 0.2 else []
        arguments += ["--score", chance.choice(files)] if chance.random() < 0.2 else []
    if kind == "takes":
        arguments += ["--no-audio", "--jobs=1", "--out", chance.choice([*files, "out", "out/../o"])]
        arguments += ["--score", chance.choice(files)] if chance.random() < 0.2 else []
        arguments += ["--cache", chance.choice([*files, "kept"])] if chance.random() < 0.2 else []
        arguments += ["--versions"] if chance.random() < 0.2 else []
    if chance.random() < 0.2:
        arguments.pop(chance.randrange(len(arguments)))
    try:
        [os.fsencode(each) for each in arguments]
    except UnicodeEncodeError:
        return odd_arguments(ground, chance)
    outcome = judged("odd arguments", *in_child(command(*arguments), ground.folder))
    return replace(outcome, told=f"{outcome.told}  <- {arguments!r:.300}")


class Reports:
    """An old and a new report, and a place where one takes the other's."""

    def __init__(self, home: Path) -> None:
        from mixcompare.report.writer import save
        from tests.report.builders import made_up_results

        self.home = home / "reports"
        self.home.mkdir()
        made_up = made_up_results(length_s=6.0)
        kept = {"tuning": made_up.measurements["tuning"]}
        self.old = replace(made_up, measurements=kept, findings=made_up.findings[:1])
        self.new = replace(made_up, measurements=kept, findings=(), verdict="Nothing sticks out.")
        save(self.old, self.home / "old")
        save(self.new, self.home / "new")
        self.wanted = [self._held(self.home / name) for name in ("old", "new")]

    def _held(self, folder: Path) -> dict[str, bytes]:
        files = (path for path in folder.rglob("*") if path.is_file())
        return {
            path.relative_to(folder).as_posix(): path.read_bytes()
            for path in files
            if path.name != "mine.txt"
        }

    def broken_off(self, chance: random.Random, disk: Path | None) -> Outcome:
        """Save over the old one; end at some step, by a signal or for want of room."""
        from mixcompare.outputs import placing, steps
        from mixcompare.report.writer import check_writable, save

        home = disk if disk is not None else self.home
        target = home / "out"
        shutil.rmtree(target, ignore_errors=True)
        shutil.copytree(self.home / "old", target)
        beside, exchanging = chance.random() < 0.4, chance.random() < 0.5
        if beside:
            (target / "mine.txt").write_text("mine")
        sent = chance.choice((signal.SIGKILL, signal.SIGINT, signal.SIGTERM, signal.SIGHUP))
        at = chance.randrange(1, 22)
        room = chance.choice((0, 4_096, 20_000, 60_000, 150_000, 400_000))

        def act() -> int:
            from mixcompare.cli.guard import guarded

            count = 0

            def hook(name: str) -> None:
                nonlocal count
                count += 1
                if count == at and disk is None:
                    os.kill(os.getpid(), sent)

            steps.hook = hook
            if not exchanging:
                placing._of_libc = lambda name: None
            if disk is not None:
                _filled(disk, room)
            return guarded(lambda: save(self.new, target) and 0, [target])

        code, errors, seconds = in_child(act, self.home)
        (home / "filler").unlink(missing_ok=True)
        kind = "full disk" if disk is not None else f"killed by {sent.name}"
        at_once = self._held(target) in self.wanted if target.is_dir() else False
        check_writable(target)
        after = self._held(target)
        left = [path.name for path in home.glob(".*")]
        whole_at_once = at_once or (sent == signal.SIGKILL and (beside or not exchanging))
        told = f"{code} {errors.decode()[-200:]}"
        if after not in self.wanted or not whole_at_once:
            return Outcome(kind, "neither old nor new", True, seconds, told)
        if left or (beside and (target / "mine.txt").read_text() != "mine"):
            return Outcome(kind, f"left behind {left}", True, seconds, told)
        told_new = b"written before that" in errors
        if code == 130 and told_new != (after == self.wanted[1]):
            return Outcome(kind, "not what it said", True, seconds, told)
        if code not in (0, 2, 130, -9) or errors.count(b"\n") > 1:
            return Outcome(kind, "traceback", True, seconds, told)
        at_first = "" if at_once else ", by the next run"
        which = "the new one" if after == self.wanted[1] else "the old one"
        return Outcome(kind, which + at_first, False, seconds, told)


def _filled(disk: Path, room: int) -> None:
    """Leave so many bytes on a disk."""
    free = shutil.disk_usage(disk).free
    with open(disk / "filler", "wb") as file:
        file.write(bytes(max(free - room, 0)))


def mounted(place: Path, options: str) -> Path | None:
    """A disk in memory at a folder, where that is allowed."""
    place.mkdir(exist_ok=True)
    try:
        done = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(place)], capture_output=True
        )
    except OSError:
        return None
    return place if done.returncode == 0 else None


def unmounted(place: Path | None) -> None:
    """Take it away again."""
    if place is not None:
        subprocess.run(["umount", str(place)], check=False)


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    options = parser.parse_args(arguments)
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    # Everything is read in once; the cases are forked from here.
    import mixcompare.aspects
    import mixcompare.cli.main
    import mixcompare.report.writer  # noqa: F401

    home = Path(tempfile.mkdtemp(prefix="hostile-"))
    tempfile.tempdir = str(home / "temporary")
    Path(tempfile.tempdir).mkdir()
    outcomes: list[Outcome] = []
    disk = mounted(home / "disk", "size=4m")
    ground = Ground(home)
    try:
        reports = Reports(home)
        for number in range(options.cases):
            chance = random.Random(f"{options.seed} {number}")
            way = chance.random()
            if way < 0.6:
                outcome = broken_input(ground, chance)
            elif way < 0.85:
                outcome = odd_arguments(ground, chance)
            else:
                outcome = reports.broken_off(chance, disk if disk and way > 0.96 else None)
            if way < 0.85 and not ground.is_whole():
                outcome = replace(outcome, what="foreign files touched", is_wrong=True)
                ground.remove()
                ground = Ground(home)
            outcomes.append(outcome)
            if outcome.is_wrong:
                print(f"{number}: {outcome.kind}: {outcome.what}: {outcome.told}", flush=True)
    finally:
        ground.remove()
        unmounted(disk)
        shutil.rmtree(home, ignore_errors=True)
    return _told(outcomes)


def _told(outcomes: Sequence[Outcome]) -> int:
    """Print the table; the exit code."""
    counts = collections.Counter((one.kind, one.what, one.is_wrong) for one in outcomes)
    for (kind, what, is_wrong), count in sorted(counts.items()):
        print(f"{'WRONG' if is_wrong else '':6s}{kind:24s}{what:34s}{count:6d}")
    slowest = max(outcomes, key=lambda one: one.seconds)
    wrong = sum(one.is_wrong for one in outcomes)
    print(f"{len(outcomes)} cases, {wrong} wrong; the slowest took {slowest.seconds:.1f} s"
          f" ({slowest.kind}, {slowest.what})")  # fmt: skip
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
