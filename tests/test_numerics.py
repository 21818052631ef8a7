"""Threads: the library computes with one numeric thread, and gives the user's back."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import matplotlib
import numpy as np
import pytest
from threadpoolctl import threadpool_info, threadpool_limits

import mixcompare
from mixcompare import plots
from mixcompare.numerics import one_numeric_thread
from mixcompare.plots import style
from tests import synthetic
from tests.report.builders import made_up_results


def threads() -> list[int]:
    return [pool["num_threads"] for pool in threadpool_info() if pool["user_api"] == "blas"]


def test_one_thread_inside_and_the_users_own_afterwards() -> None:
    with threadpool_limits(limits=2):
        before = threads()
        assert one_numeric_thread(threads)() == [1] * len(before)
        assert threads() == before
        with pytest.raises(ZeroDivisionError):
            one_numeric_thread(lambda: 1 / 0)()
        assert threads() == before


def test_a_comparison_computes_with_one_thread() -> None:
    seen: list[list[int]] = []
    music = synthetic.play(3)[: 9 * synthetic.RATE_HZ]
    with threadpool_limits(limits=2):
        mixcompare.compare(
            (music, synthetic.RATE_HZ),
            (music, synthetic.RATE_HZ),
            progress=lambda _: seen.append(threads()),
        )
    assert seen
    assert np.max(seen) == 1


def test_figures_drawn_from_several_threads_are_those_of_one() -> None:
    """Settings of the process are set and restored by one thread at a time."""
    whole = made_up_results(length_s=6.0)
    few = {aspect: whole.measurements[aspect] for aspect in ("tone", "balance")}
    results = replace(whole, measurements=few)
    before = dict(matplotlib.rcParams)

    def drawn(_: Any) -> dict[str, str]:
        return {aspect: style.to_svg(one.figure) for aspect, one in plots.draw_all(results).items()}

    alone = drawn(None)
    with ThreadPoolExecutor(4) as pool:
        together = list(pool.map(drawn, range(4)))
    assert all(one == alone for one in together)
    assert dict(matplotlib.rcParams) == before
