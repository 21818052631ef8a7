"""Who does the work: this process, processes beside it, or the workers of a cluster.

Each engine takes tasks and yields every one of them once, with what came of it, in the order in
which they are done. A worker that goes away takes nothing with it but the pair in its hands, and
that is tried again.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures.process import BrokenProcessPool
from typing import TYPE_CHECKING, Any

from mixcompare.errors import ClusterError
from mixcompare.takes.pairs import Task, out_of_memory
from mixcompare.takes.values import Take

if TYPE_CHECKING:
    from distributed import Client

Work = Callable[[Task], Take]
Done = tuple[Task, Take]

_ANSWER_S = 15.0
"""How long a scheduler may take to answer, and to come back after it went (our choice)."""

_AT_ONCE = 1000
"""Tasks that are sent to a scheduler in one message (our choice)."""


def here(work: Work, tasks: Sequence[Task], jobs: int) -> Iterator[Done]:
    """Do the work on this machine, in ``jobs`` processes; in this one where it is one."""
    if jobs == 1:
        for task in tasks:
            yield task, work(task)
        return
    left = list(tasks)
    while left:
        begun: list[Task] = []
        done: set[str] = set()
        with contextlib.suppress(BrokenProcessPool):
            for task, take in _in_processes(work, left, jobs, begun):
                done.add(task.name)
                yield task, take
            return
        # A process was ended from outside, and the others with it. Which pair it had is not known:
        # all that were begun are tried once more, alone.
        suspects = [task for task in begun if task.name not in done]
        for task in suspects:
            yield task, _alone(work, task)
        done.update(task.name for task in suspects)
        left = [task for task in left if task.name not in done]


def _in_processes(
    work: Work, tasks: Sequence[Task], jobs: int, begun: list[Task]
) -> Iterator[Done]:
    from joblib import Parallel, delayed

    def handed_out() -> Iterator[Any]:
        for task in tasks:
            begun.append(task)
            yield delayed(_with_task)(work, task)

    pool = Parallel(n_jobs=jobs, return_as="generator_unordered", batch_size=1)
    yield from pool(handed_out())


def _with_task(work: Work, task: Task) -> Done:
    return task, work(task)


def _alone(work: Work, task: Task) -> Take:
    """One pair in a process of its own."""
    try:
        return next(take for _, take in _in_processes(work, [task], 2, []))
    except BrokenProcessPool:
        return task.failed(out_of_memory(task))


def on_cluster(work: Work, tasks: Sequence[Task], address: str) -> Iterator[Done]:
    """Do the work on the workers of a scheduler.

    Raises
    ------
    ClusterError
        If there is no scheduler, no worker, or the scheduler went away.
    """
    if not tasks:
        return
    with _client(address) as client:
        from distributed import as_completed

        futures = client.map(work, tasks, pure=False, batch_size=_AT_ONCE)
        waiting = {future.key: task for future, task in zip(futures, tasks, strict=True)}
        for future in as_completed(futures):
            if future.status not in ("finished", "error"):
                raise _gone(address, len(waiting))
            task = waiting.pop(future.key)
            if future.status == "finished":
                yield task, future.result()
            else:
                yield task, task.failed(_trouble(task, future.exception()))
            future.release()


@contextlib.contextmanager
def _client(address: str) -> Iterator[Client]:
    try:
        from distributed import Client
    except ImportError:
        raise ClusterError(
            "Sharing the work among machines needs an extra: pip install 'mixcompare[cluster]'."
        ) from None
    try:
        client = Client(address, timeout=_ANSWER_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise ClusterError(
            f"{address}: no scheduler answers there ({_first_line(error)}); start one with 'dask"
            " scheduler' and give its address."
        ) from None
    try:
        if not client.scheduler_info()["workers"]:
            raise ClusterError(
                f"{address}: the scheduler has no workers; start some with 'dask worker {address}"
                " --nthreads 1'."
            )
        yield client
    finally:
        with contextlib.suppress(Exception):  # a scheduler that is gone can't be taken leave of
            client.close(timeout=2)


def _gone(address: str, left: int) -> ClusterError:
    return ClusterError(
        f"{address}: the scheduler went away with {left} pairs not done; start it and run again:"
        " what was done is kept."
    )


def _trouble(task: Task, error: BaseException | None) -> str:
    """Why a worker gave no result, in a sentence."""
    if type(error).__name__ == "KilledWorker" or isinstance(error, MemoryError):
        return out_of_memory(task)
    if isinstance(error, ImportError):
        return f"{task.candidate}: a worker lacks mixcompare ({error}); install it there."
    return f"{task.candidate}: a worker failed ({type(error).__name__}: {_first_line(error)})."


def _first_line(error: object) -> str:
    return str(error).strip().partition("\n")[0] or type(error).__name__
