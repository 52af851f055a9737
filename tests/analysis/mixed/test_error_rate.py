"""Do tests at 5 % claim too much in 5 % of the trials?

Split-plots of six whole plots (a treatment between them, another within), a fifth of the bakes lost, variance
ratios of 0.5, 1 and 3. 2,000 draws each with CRUMBWISE_LARGE=1, rate 5 % ± 1.5; else fewer, with the room that
so few draws need.
"""

import os

import numpy as np
import pytest

from analysis.linear.distributions import f_tail
from analysis.mixed.reml import fit_reml
from analysis.mixed.terms import RandomTerm

DRAWS = 2000 if os.environ.get("CRUMBWISE_LARGE") else 120
ROOM = 0.015 if DRAWS == 2000 else 3.5 * np.sqrt(0.05 * 0.95 / DRAWS)


def split_plot(rng):
    """Six whole plots of four bakes less what was lost; every plot and every treatment keeps a bake."""
    plot = np.repeat(np.arange(6), 4)
    while True:
        keep = rng.random(24) > 0.2
        dose, kept = np.tile(np.arange(4), 6)[keep], plot[keep]
        if len(set(kept)) == 6 and len(set(dose)) == 4:
            break
    x = np.column_stack([np.ones(len(kept)), kept % 2, np.eye(4)[dose][:, 1:]])
    return kept, x


@pytest.mark.parametrize("ratio", [0.5, 1.0, 3.0])
def test_kenward_roger_keeps_five_percent(ratio):
    rng = np.random.default_rng(int(ratio * 10))
    wrong = np.zeros(2)
    for _ in range(DRAWS):
        plot, x = split_plot(rng)
        y = np.sqrt(ratio) * rng.normal(size=6)[plot] + rng.normal(size=len(plot))
        fit = fit_reml(y, x, [RandomTerm("plot", plot)])
        for place, rows in enumerate((np.eye(5)[1:2], np.eye(5)[2:])):
            f, ndf, ddf = fit.f_test(rows)
            wrong[place] += f_tail(f, ndf, ddf) < 0.05
    between, within = wrong / DRAWS
    print(f"\nvariance ratio {ratio}: {100 * between:.1f} % between whole plots, {100 * within:.1f} % within")
    assert abs(between - 0.05) <= ROOM
    assert abs(within - 0.05) <= ROOM
