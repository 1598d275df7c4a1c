"""Every kind of executor that work may be spread over, those that are not installed skipped."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager

import pytest

EXECUTORS = ("threads", "processes", "loky", "dask")
NO_CLUSTER = (*EXECUTORS[:-1], pytest.param("dask", marks=pytest.mark.long))
"""For what no command hands to a cluster: a sweep has a test with one in every run."""


@contextmanager
def an_executor(kind: str, workers: int = 2) -> Iterator[Executor]:
    """An executor of that kind, closed at the end; skips the test where it is not installed."""
    if kind == "threads":
        with ThreadPoolExecutor(workers) as executor:
            yield executor
    elif kind == "processes":
        with ProcessPoolExecutor(workers) as executor:
            yield executor
    elif kind == "loky":
        loky = pytest.importorskip("joblib.externals.loky")
        executor = loky.ProcessPoolExecutor(workers)
        try:
            yield executor
        finally:
            executor.shutdown(kill_workers=True)
    else:
        distributed = pytest.importorskip("distributed")
        cluster = distributed.LocalCluster(
            n_workers=workers, threads_per_worker=1, processes=False, dashboard_address=":0"
        )
        with cluster, distributed.Client(cluster) as client:
            yield client.get_executor()
