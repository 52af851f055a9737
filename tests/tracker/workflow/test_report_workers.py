"""Is all that a report needs loaded before the first one, and is only a process of our own set up so?"""

from __future__ import annotations

import gc
import json
import subprocess
import sys
from pathlib import Path

from tracker.workflow import report_workers
from tracker.workflow.report_many import Wish, report_many

BEGIN = """
import gc, json, os, sys
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.pop(name, None)
os.environ["MKL_NUM_THREADS"] = "2"
from tracker.workflow import report_workers
report_workers.NEEDED = ("not_installed_here", *report_workers.NEEDED)
report_workers.begin_worker()
told = {"threads": [os.environ[n] for n in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")]}
told |= {"looks": gc.isenabled(), "each": gc.get_threshold()[0], "kept": gc.get_freeze_count() > 100_000}
json.dump(told | {"modules": sorted(sys.modules)}, sys.stdout)
"""


def test_a_worker_is_ready() -> None:
    ended = subprocess.run([sys.executable, "-c", BEGIN], capture_output=True, text=True, check=True)
    told = json.loads(ended.stdout)
    assert told["threads"] == ["1", "1", "2"]  # what the baker set stands
    assert told["looks"]
    assert told["kept"]
    assert told["each"] == report_workers.LOOK_EACH
    assert set(report_workers.NEEDED) <= set(told["modules"])
    # The greater part of what the very first report loads; its own kind of analysis may bring more.
    assert {"scipy.optimize", "reports.kinds", "tracker.store", "matplotlib.figure"} <= set(told["modules"])


def test_the_caller_is_left_as_it_is(tmp_path: Path) -> None:
    before = gc.get_threshold(), gc.get_freeze_count(), gc.isenabled()
    outcomes = report_many(str(tmp_path / "none.db"), ["soda", "acid"], tmp_path, Wish(), jobs=2)
    assert [outcome.exit_code for outcome in outcomes] == [4, 4]  # no such kitchen: two processes said so
    assert (gc.get_threshold(), gc.get_freeze_count(), gc.isenabled()) == before
