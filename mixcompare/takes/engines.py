"""Who does the work: this process, processes beside it, or the workers of a cluster.

Each engine takes tasks and yields every one of them once, with what came of it, in the order in
which they are done. A worker that goes away takes nothing with it but the pair in its hands, and
that is tried again.
"""

from __future__ import annotations

import contextlib
import logging
import queue
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures.process import BrokenProcessPool
from typing import TYPE_CHECKING, Any

from mixcompare.errors import ClusterError
from mixcompare.takes.task import Task
from mixcompare.takes.values import Take

if TYPE_CHECKING:
    from distributed import Client, Future

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
        return task.out_of_memory()


def on_cluster(work: Work, tasks: Sequence[Task], address: str) -> Iterator[Done]:
    """Do the work on the workers of a scheduler.

    Raises
    ------
    ClusterError
        If there is no scheduler, no worker, or the scheduler went away.
    """
    if not tasks:
        return
    ready: queue.SimpleQueue[Future] = queue.SimpleQueue()
    with _client(address) as client:
        futures = client.map(work, tasks, pure=False, batch_size=_AT_ONCE)
        waiting = {future.key: task for future, task in zip(futures, tasks, strict=True)}
        for future in futures:
            future.add_done_callback(ready.put)
        while waiting:
            done = _next(ready, client, address, len(waiting))
            task = waiting.pop(done.key)
            if done.status == "finished":
                yield task, done.result()
            else:
                yield task, _trouble(task, done.exception())
            done.release()


def _next(ready: queue.SimpleQueue[Future], client: Client, address: str, left: int) -> Future:
    """The next task that is done; an error where none can be done any more."""
    while True:
        try:
            done = ready.get(timeout=_ANSWER_S)
        except queue.Empty:
            if not client.nthreads():
                raise ClusterError(
                    f"{address}: all workers are gone, {left} pairs are not done; start workers and"
                    " run again: what was done is kept."
                ) from None
            continue
        if done.status not in ("finished", "error"):
            raise ClusterError(
                f"{address}: the scheduler went away with {left} pairs not done; start it and run"
                " again: what was done is kept."
            )
        return done


@contextlib.contextmanager
def _client(address: str) -> Iterator[Client]:
    try:
        from distributed import Client
    except ImportError:
        raise ClusterError(
            "Sharing the work among machines needs an extra: pip install 'mixcompare[cluster]'."
        ) from None
    log = logging.getLogger("distributed.client")
    level = log.level
    log.setLevel(logging.CRITICAL)  # what it has to say is said in a sentence
    try:
        client = Client(address, timeout=_ANSWER_S, set_as_default=False)
    except (OSError, ValueError) as error:
        log.setLevel(level)
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
        log.setLevel(level)


def _trouble(task: Task, error: BaseException | None) -> Take:
    """The take of a worker that gave no result."""
    if type(error).__name__ == "KilledWorker" or isinstance(error, MemoryError):
        return task.out_of_memory()
    if isinstance(error, ImportError):
        words = f"a worker lacks mixcompare ({error}); install it there"
    else:
        words = f"a worker failed ({type(error).__name__}: {_first_line(error)})"
    return task.failed(f"{task.candidate}: {words}.")


def _first_line(error: object) -> str:
    return str(error).strip().partition("\n")[0] or type(error).__name__
