"""How fast is the acid-base account? Ratios within one run, printed; nothing here is a timed test.

    pytest -s tests/benchmarks/test_leavening_speed.py

The loop over the independent engine is timed when the extra ``engine`` is installed.
"""

import os
import subprocess
import sys
import time
from importlib.util import find_spec
from pathlib import Path
from runpy import run_path

import numpy as np

from analysis.leavening import speciation
from analysis.leavening.speciation import Mixtures, solve

COUNT = 10_000


def mixtures(count: int) -> Mixtures:
    generator = np.random.Generator(np.random.PCG64(3))
    soda = generator.uniform(0.01, 0.3, count)
    return Mixtures(
        acids={"citric": generator.uniform(0, 0.1, count), "lactic": generator.uniform(0, 0.2, count)},
        carbon=soda,
        fixed_charge=soda,
        fixed_strength=soda,
        celsius=np.full(count, 25.0),
    )


def seconds(work, times: int = 5) -> float:
    best = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        best.append(time.perf_counter() - start)
    return float(np.median(best))


def test_ten_thousand_mixtures_against_the_bare_arithmetic(monkeypatch):
    """The bare arithmetic: as many evaluations of the species' powers and sums as the solver made."""
    mixed = mixtures(COUNT)
    calls = 0
    charge_at = speciation._Balance._at

    def counted(self, ph, strength):
        nonlocal calls
        calls += 1
        return charge_at(self, ph, strength)

    monkeypatch.setattr(speciation._Balance, "_at", counted)
    solve(mixed)
    monkeypatch.undo()
    exponent = np.random.Generator(np.random.PCG64(4)).uniform(-12, 0, (COUNT, 3, 4))

    def bare():
        for _ in range(calls):
            power = 10.0**exponent
            share = power / power.sum(axis=2, keepdims=True)
            (share * exponent).sum(axis=2)
            (share * exponent**2).sum(axis=2)

    ours, floor = seconds(lambda: solve(mixed)), seconds(bare)
    print(
        f"\n{COUNT} mixtures: {1000 * ours:.0f} ms in {calls} evaluations, {ours / floor:.1f} times the bare arithmetic"
    )
    assert calls > 0


if find_spec("phreeqpython"):  # not collected without the extra, so that nothing counts as skipped

    def test_ten_thousand_mixtures_against_a_loop_over_the_engine():
        recompute = run_path(str(Path(__file__).parents[1] / "published" / "recompute_mixtures.py"))
        engine_ph, loop = recompute["engine_ph"], 20
        start = time.perf_counter()
        for _ in range(loop):
            engine_ph({"citric": 0.05, "lactic": 0.1}, carbon=0.1, ions=0.1, celsius=25.0)
        theirs = (time.perf_counter() - start) / loop * COUNT
        mixed = mixtures(COUNT)
        ours = seconds(lambda: solve(mixed))
        print(f"\n{COUNT} mixtures: {theirs / ours:.0f} times faster than a loop over the engine")
        assert theirs > 0


def test_a_balance_on_the_command_line():
    """Within twice of its own help: both load Python and the shell, and only one the chemistry.

    Processor time of both, run in turns and compared pair by pair: what else the machine does counts for neither.
    """
    balance = ["leaven", "balance", "5 g baking soda", "240 g buttermilk"]
    lines = (balance, ["leaven", "balance", "--help"], ["--help"])
    for line in lines:
        run(line)  # compiles and warms
    times = np.array([[processor_seconds(line) for line in lines] for _ in range(11)])
    whole, own_help, top_help = np.median(times, axis=0)
    ratio = float(np.median(times[:, 0] / times[:, 1]))
    print(
        f"\nleaven balance: {1000 * whole:.0f} ms, {ratio:.2f} times its own --help ({1000 * own_help:.0f} ms),"
        f" {whole / top_help:.1f} times crumbwise --help ({1000 * top_help:.0f} ms)"
    )
    assert ratio < 2.0


def processor_seconds(words: list[str]) -> float:
    before = os.times()
    run(words)
    after = os.times()
    return after.children_user + after.children_system - before.children_user - before.children_system


def run(words: list[str]) -> None:
    code = f"import sys; from tracker.commands import main; sys.exit(main({words!r}))"
    subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)
