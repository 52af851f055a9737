"""What do processes that make nothing but reports do before their first one?

Each loads at once all that a report needs, so that it waits for nothing later, and sets itself up for
a life of one kind of work. Only a process of our own may be set up so, never the caller's.
"""

from __future__ import annotations

import gc
import importlib
import os
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager, suppress

THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
NEEDED = (
    "tracker.workflow.kitchens",
    "tracker.workflow.analysing",
    "tracker.workflow.provenance",
    "analysis.engine",
    "analysis.linear",
    "analysis.dose_response.model",
    "matplotlib.backends.backend_svg",
    "seaborn",
    "reports.page",
)
# Every picture leaves some rings of objects behind; looking for them each 700 objects costs a tenth of
# a report, and a hundredth of the memory is saved by it (measured: 286 MB against 296 MB).
LOOK_EACH = 5000


def begin_worker() -> None:
    """Run once in each process that ``report_many`` starts, before its first job."""
    for name in THREADS:  # processes share the cores already; threads would only wait for each other
        os.environ.setdefault(name, "1")
    gc.disable()  # nothing that is loaded is ever rubbish, so nobody looks for any
    try:
        for name in NEEDED:
            with suppress(ImportError):  # the job that needs it says what is missing
                importlib.import_module(name)
    finally:
        gc.freeze()
        gc.enable()
    gc.set_threshold(LOOK_EACH, 10, 10)


@contextmanager
def begun_workers(count: int) -> Iterator[Executor]:
    """``count`` processes that load already while the caller still finds out what there is to do.

    Started anew everywhere: a copy of this process would share its open kitchen and its locks.
    """
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    with ProcessPoolExecutor(count, mp_context=get_context("spawn"), initializer=begin_worker) as pool:
        try:
            for _ in range(count):  # a process is started by the first work it may take
                pool.submit(os.getpid)
            yield pool
        except BaseException:  # interrupted: what has not begun is not begun
            pool.shutdown(wait=False, cancel_futures=True)
            raise
