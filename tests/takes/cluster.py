"""A scheduler and two workers of Dask's distributed, in processes of their own."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

PROJECT = Path(__file__).parents[2]


class Cluster:
    """Both on this machine; a pair that ends its worker twice is given up."""

    def __init__(self, folder: Path, memory: str, workers: int = 2) -> None:
        path = os.pathsep.join([str(PROJECT), os.environ.get("PYTHONPATH", "")])
        self._settings = {
            **os.environ,
            "PYTHONPATH": path,
            "OMP_NUM_THREADS": "1",
            "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "1",
            "DASK_LOGGING__DISTRIBUTED": "critical",
        }
        self._folder = folder
        said = folder / "scheduler.json"
        said.unlink(missing_ok=True)
        self.scheduler = self._start("scheduler", "--port", "0", "--scheduler-file", str(said))
        self._wait(said.exists)
        self.address = str(json.loads(said.read_text(encoding="utf-8"))["address"])
        limits = ("--nthreads", "1", "--memory-limit", memory, "--death-timeout", "30")
        self._workers = [self._start("worker", self.address, *limits) for _ in range(workers)]

    def begun(self) -> None:
        """Wait until all workers are there."""
        from distributed import Client

        with Client(self.address, set_as_default=False) as client:
            client.wait_for_workers(len(self._workers), timeout=30)

    def _start(self, what: str, *arguments: str) -> subprocess.Popen[bytes]:
        module = f"distributed.cli.dask_{what}"
        return subprocess.Popen(
            [sys.executable, "-W", "ignore", "-m", module, *arguments, "--no-dashboard"],
            env=self._settings,
            cwd=self._folder,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )

    @staticmethod
    def _wait(ready: Callable[[], bool]) -> None:
        for _ in range(600):
            if ready():
                return
            time.sleep(0.05)
        raise AssertionError("the cluster does not start")

    def cpu_s(self) -> float:
        """CPU seconds that the workers' processes have used."""
        from distributed import Client

        with Client(self.address, set_as_default=False) as client:
            return float(sum(client.run(time.process_time).values()))

    def kill_one_at_work(self) -> int:
        """Kill a worker a second after it began something; its process's number."""
        from distributed import Client

        with Client(self.address, set_as_default=False) as client:
            at_work: list[str] = []
            while not at_work:
                time.sleep(0.1)
                at_work = [worker for worker, keys in client.processing().items() if keys]
            pid = int(client.run(os.getpid, workers=at_work[:1])[at_work[0]])
            time.sleep(1.0)
            assert client.processing()[at_work[0]], "it was done before it could be killed"
        os.kill(pid, signal.SIGKILL)
        return pid

    def close(self) -> None:
        """End all of them, at once: nobody waits for a scheduler that may be gone."""
        for process in (*self._workers, self.scheduler):
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
