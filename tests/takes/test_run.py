"""Many candidates against one reference: each once, resumed, the bad ones told."""

from __future__ import annotations

import csv
import io
import json
import os
import shutil
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

import mixcompare
from mixcompare.cli.main import main
from mixcompare.errors import AudioFileError, ClusterError, OutputError, ParameterError
from mixcompare.features import Features
from mixcompare.takes import engines, run
from mixcompare.takes.pairs import compare_pair
from mixcompare.takes.run import _named, compare_all, memory_of_pair_mb
from mixcompare.takes.store import fingerprint, is_whole, load_features
from mixcompare.takes.task import Task
from mixcompare.takes.values import Take
from tests.takes import clips, workers
from tests.takes.cluster import Cluster
from tests.takes.conftest import Run

needs_cluster = pytest.mark.skipif(
    find_spec("distributed") is None and "CI" not in os.environ,
    reason="needs the distributed package",
)


def take(local: Run, name: str) -> Take:
    return next(one for one in local.result.takes if one.name == name)


def test_the_nearest_comes_first_and_what_could_not_be_compared_last(local: Run) -> None:
    """A figure 4 dB up is nearer than one 8 dB up; that follows from how they were made."""
    nearest = [one.name for one in local.result.nearest]
    assert nearest.index("near") < nearest.index("far") < nearest.index("broken")
    assert take(local, "near").findings[0].difference == pytest.approx(4.0, abs=0.5)
    assert take(local, "far").findings[0].difference == pytest.approx(8.0, abs=0.5)


def test_a_bad_file_is_told_in_a_sentence_and_the_others_are_compared(local: Run) -> None:
    assert [one.name for one in local.result.failed] == ["broken"]
    problem = take(local, "broken").problem
    assert "broken.flac" in problem
    assert problem.endswith(".")
    assert local.result.done_now == 2


def test_a_pair_is_what_the_command_for_one_pair_gives(local: Run, tmp_path: Path) -> None:
    """To the byte: report, page, figures and excerpts."""
    candidate = local.music / "near.flac"
    out = tmp_path / "one"
    code = main(["compare", str(local.reference), str(candidate), "--out", str(out), "--quiet"])
    assert code == 0
    alone = clips.files(out)
    assert len(alone) > 5
    assert clips.files(local.result.folder / "pairs" / "near") == alone


def test_memory_is_told_beforehand(local: Run) -> None:
    assert "2 to compare in 2 processes" in local.beforehand
    assert f"{memory_of_pair_mb(6.3, 6.3):.0f} MB" in local.beforehand


def test_a_long_pair_needs_what_was_measured() -> None:
    """Regression: with report and sound, 658 MB at 10.1 minutes, 1394 MB at 30.3."""
    assert 658 < memory_of_pair_mb(606, 606) < 1.15 * 658
    assert 1394 < memory_of_pair_mb(1818, 1818) < 1.15 * 1394


def test_again_nothing_is_compared_and_all_is_there(local: Run) -> None:
    before = clips.files(local.result.folder)
    again = compare_all(local.reference, local.candidates, local.result.folder, jobs=1)
    assert again.done_now == 0
    assert again.takes == local.result.takes
    assert clips.files(local.result.folder) == before


@pytest.fixture
def copied(local: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """The same run to be changed; what is compared in it is told by name, not computed."""
    music, out = tmp_path / "music", tmp_path / "takes"
    shutil.copytree(local.result.folder, out)
    begun: list[str] = []

    def pretended(task: Task) -> Take:
        begun.append(task.name)
        return task.failed("only pretended.")

    monkeypatch.setattr(run, "compare_pair", pretended)
    result = run.Takes(out, str(local.reference), local.result.takes)
    return Run(music, local.reference, local.candidates, result, " ".join(begun))


@pytest.mark.parametrize(
    ("change", "due"),
    [
        ("nothing", 0),
        ("a report is gone", 1),
        ("a sound is gone", 1),
        ("the audio option", 2),
        ("the span", 2),
        ("the program", 2),
        ("a kept result is no JSON", 1),
    ],
)
def test_only_what_changed_is_done_again(
    change: str, due: int, copied: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = copied.result.folder
    options: dict[str, object] = {}
    if change == "a report is gone":
        (out / "pairs/near/report.html").unlink()
    elif change == "a sound is gone":
        (out / "sound/far-candidate.mp3").unlink()
    elif change == "the audio option":
        options["audio"] = False
    elif change == "the span":
        options["reference_span_s"] = (0.0, 5.0)
    elif change == "the program":
        monkeypatch.setattr("mixcompare.takes.store._code", lambda: "another")
    elif change == "a kept result is no JSON":
        (out / "kept/near.json").write_text("no JSON", encoding="utf-8")
    again = compare_all(copied.reference, copied.candidates, out, jobs=1, **options)
    assert again.done_now == due


def test_other_bytes_in_a_file_are_another_recording(local: Run, tmp_path: Path) -> None:
    one, other = tmp_path / "one", tmp_path / "other"
    one.write_bytes(b"a" * 5_000_000)
    other.write_bytes(b"a" * 4_999_999 + b"b")
    assert fingerprint(one) != fingerprint(other)
    with pytest.raises(AudioFileError, match="no such file"):
        fingerprint(tmp_path / "none")


def kept(local: Run) -> Path:
    return next((local.result.folder / "kept").glob("features-*.npz"))


def test_the_features_kept_are_those_of_the_reference(local: Run) -> None:
    stored = load_features(kept(local))
    fresh = Features.of(mixcompare.load(local.reference))
    for name, value in vars(fresh).items():
        if not name.startswith("_"):
            np.testing.assert_array_equal(value, getattr(stored, name), err_msg=name)


def test_damaged_or_foreign_features_are_never_run(local: Run, tmp_path: Path) -> None:
    """A pickled object in their place is refused: a file is data."""
    path = tmp_path / kept(local).name
    shutil.copy(kept(local), path)
    shutil.copy(kept(local).with_suffix(".json"), path.with_suffix(".json"))
    assert is_whole(path)
    np.savez(path, name=np.array([object()], dtype=object))
    assert not is_whole(path)
    with pytest.raises(AudioFileError, match="damaged"):
        load_features(path)
    path.unlink()
    assert not is_whole(path)
    with pytest.raises(AudioFileError, match="not seen"):
        load_features(path)


def test_features_of_another_recording_are_refused(local: Run) -> None:
    with pytest.raises(ParameterError, match="another recording"):
        mixcompare.compare(
            local.music / "far.flac",
            local.music / "near.flac",
            reference_features=load_features(kept(local)),
        )


def test_names_are_short_their_own_and_harmless() -> None:
    paths = ["/a/Take 1.wav", "/b/take_1.wav", "/b/Take 1.flac", "/a/Take 1.wav", "/c/../..", "/ö"]
    assert list(_named(paths)) == ["Take-1", "take_1", "Take-1-2", "take", "take-2"]


def test_what_a_worker_does_not_see_is_told_with_its_name(local: Run) -> None:
    task = Task(
        "gone", str(local.reference), "/nowhere/gone.wav", str(kept(local)), str(local.music)
    )
    told = compare_pair(task).problem
    assert "does not see /nowhere/gone.wav" in told
    other = Task(**{**vars(task), "version": "0.0"})
    assert "not 0.0" in compare_pair(other).problem


def test_errors_of_one_pair_are_told(local: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    task = Task(
        "near", str(local.reference), str(local.reference), str(kept(local)), str(local.music)
    )
    for error, words in ((MemoryError(), "out of memory"), (TypeError("odd"), "TypeError: odd")):

        def fails(task: Task, error: BaseException = error) -> Take:
            raise error

        monkeypatch.setattr("mixcompare.takes.pairs._compared", fails)
        assert words in compare_pair(task).problem


def test_other_peoples_files_are_not_touched(local: Run, tmp_path: Path) -> None:
    (tmp_path / "takes.csv").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="not from a former run"):
        compare_all(local.reference, local.candidates, tmp_path)
    with pytest.raises(OutputError, match="is a file"):
        compare_all(local.reference, local.candidates, local.reference)
    assert [path.name for path in tmp_path.iterdir()] == ["takes.csv"]


def test_a_link_in_the_folder_is_replaced_and_not_followed(copied: Run, tmp_path: Path) -> None:
    mine = tmp_path / "mine.txt"
    mine.write_text("mine", encoding="utf-8")
    for name in ("takes.html", "takes.csv"):
        (copied.result.folder / name).unlink()
        (copied.result.folder / name).symlink_to(mine)
    compare_all(copied.reference, copied.candidates, copied.result.folder, jobs=1)
    assert mine.read_text(encoding="utf-8") == "mine"
    assert not (copied.result.folder / "takes.html").is_symlink()


def test_the_table_of_versions_goes_where_it_is_ours(copied: Run) -> None:
    def once_more(versions: bool) -> bool:
        folder = copied.result.folder
        compare_all(copied.reference, copied.candidates, folder, versions=versions, jobs=1)
        return (folder / "versions.csv").exists()

    assert once_more(versions=True)
    assert not once_more(versions=False)
    (copied.result.folder / "versions.csv").write_text("mine", encoding="utf-8")
    assert once_more(versions=False)


def test_arguments_without_sense(local: Run, tmp_path: Path) -> None:
    with pytest.raises(ParameterError, match="at least one"):
        compare_all(local.reference, [], tmp_path)
    for jobs in (0, "2", 1.5):
        with pytest.raises(ParameterError, match="1 or more"):
            compare_all(local.reference, local.candidates, tmp_path, jobs=jobs)
    with pytest.raises(ParameterError, match="must be a list of paths, not 'one.wav'"):
        compare_all(local.reference, "one.wav", tmp_path)
    for reference, candidates, out in (
        (None, local.candidates, tmp_path),
        (local.reference, [3], tmp_path),
        (local.reference, local.candidates, None),
    ):
        with pytest.raises(ParameterError, match="must be named by a path"):
            compare_all(reference, candidates, out)
    with pytest.raises(ParameterError, match="the cache must be named by a path"):
        compare_all(local.reference, local.candidates, tmp_path / "new", cache_dir=3)
    with pytest.raises(AudioFileError, match="no such file"):
        compare_all(tmp_path / "none.wav", local.candidates, tmp_path)


def test_the_table_holds_every_candidate_and_what_sticks_out(local: Run) -> None:
    text = (local.result.folder / "takes.csv").read_text(encoding="utf-8")
    rows = {row["candidate"]: row for row in csv.DictReader(io.StringIO(text))}
    assert list(rows) == [one.name for one in local.result.nearest]
    assert "+8." in rows["far"]["balance"] or "+7." in rows["far"]["balance"]
    assert rows["broken"]["problem"] == take(local, "broken").problem
    assert (local.result.folder / rows["far"]["report"]).is_file()
    document = json.loads((local.result.folder / "takes.json").read_text(encoding="utf-8"))
    assert [entry["name"] for entry in document["takes"]] == [x.name for x in local.result.takes]


def test_the_command_tells_by_its_exit_code(
    local: Run, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    out = str(shutil.copytree(local.result.folder, tmp_path / "takes"))
    names = [str(path) for path in local.candidates]
    assert main(["takes", str(local.reference), *names, "--out", out]) == 4
    printed = capsys.readouterr()
    assert "broken.flac" in printed.err
    assert printed.out.index("near") < printed.out.index("far")
    good = [name for name in names if "broken" not in name]
    assert main(["takes", str(local.reference), *good, "--out", out, "--quiet"]) == 0
    printed = capsys.readouterr()
    assert printed.out + printed.err == ""
    command = ["takes", str(local.reference), *good, "--out", out, "--limit", "2"]
    assert main([*command, "--quiet"]) == 1
    over = [
        f"mixcompare: {take.name}: over the limit of 2: {told.rank} {told.subject}"
        f" ({told.amount}): {told.jnd:.1f} x just noticeable"
        for take in local.result.takes
        for told in take.findings
        if told.jnd > 2
    ]
    assert over
    assert capsys.readouterr().err.splitlines() == over
    assert main(["takes", "none.wav", *good, "--out", str(tmp_path / "no")]) == 2


def test_an_interrupted_command_says_how_to_go_on(
    local: Run, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*args: object, **options: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(run, "compare_all", interrupted)
    assert main(["takes", str(local.reference), str(local.reference)]) == 130
    assert "run it again" in capsys.readouterr().err


@pytest.fixture(scope="module")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Cluster]:
    running = Cluster(tmp_path_factory.mktemp("cluster"), "1200MB")
    try:
        running.begun()
        yield running
    finally:
        running.close()


@needs_cluster
@pytest.mark.clock
def test_two_workers_one_killed_in_the_middle_give_what_one_machine_gives(
    cluster: Cluster, local: Run, tmp_path: Path
) -> None:
    """To the byte, but for the folder's own address, which no file holds."""
    out = tmp_path / "takes"
    with ThreadPoolExecutor(1) as beside:
        killed = beside.submit(cluster.kill_one_at_work)
        result = compare_all(local.reference, local.candidates, out, cluster=cluster.address)
        assert not Path(f"/proc/{killed.result()}/exe").exists()
    assert result.done_now == 2
    assert result.takes == local.result.takes
    assert clips.files(out) == clips.files(local.result.folder)


@needs_cluster
def test_a_file_that_a_worker_does_not_see_is_told(
    cluster: Cluster, local: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """``/proc/self/cwd`` is another folder in every process."""
    if not Path("/proc/self/cwd").exists():
        pytest.skip("needs /proc")
    monkeypatch.chdir(local.music)
    path = "/proc/self/cwd/far.flac"
    result = compare_all(local.reference, [path], tmp_path / "takes", cluster=cluster.address)
    assert f"does not see {path}" in result.takes[0].problem


@needs_cluster
def test_a_worker_out_of_memory_is_told_and_the_others_are_done(
    cluster: Cluster, tmp_path: Path
) -> None:
    given = workers.tasks(tmp_path)
    done = {
        task.name: take for task, take in engines.on_cluster(workers.eats, given, cluster.address)
    }
    assert [name for name, take in done.items() if take.problem] == ["bad"]
    assert len(done) == 4
    assert "ran out of memory" in done["bad"].problem


@needs_cluster
def test_a_scheduler_that_goes_away_is_told(
    cluster: Cluster, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last test with this cluster: it kills the scheduler."""
    monkeypatch.setattr(engines, "_ANSWER_S", 1.0)
    done = engines.on_cluster(workers.slow, workers.tasks(tmp_path), cluster.address)
    next(done)
    cluster.scheduler.kill()
    with pytest.raises(ClusterError, match=r"went away with \d pairs not done"):
        list(done)
    with pytest.raises(ClusterError, match="no scheduler answers"):
        list(engines.on_cluster(workers.said, workers.tasks(tmp_path), cluster.address))
