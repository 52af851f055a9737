"""A surface with a goal leads with its best settings, several goals with the treatment that serves them all."""

from __future__ import annotations

import re
from itertools import product

import numpy as np
import pandas as pd

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.words import headline

FACTORS = (Factor(name="soda", kind="amount", unit="%"), Factor(name="oven", kind="amount", unit="°C"))


def asked(*responses: Response):
    table = pd.DataFrame(list(product((0.0, 1.0, 2.0), (160.0, 180.0, 200.0))) * 2, columns=["soda", "oven"])
    chance = np.random.Generator(np.random.PCG64(5))
    bend = 6 * (table["soda"] - 1.2) ** 2 + 0.01 * (table["oven"] - 184) ** 2
    table["rise"] = 50 - bend + chance.normal(0, 0.4, len(table))
    table["pH"] = 6.4 + 0.7 * table["soda"] + chance.normal(0, 0.03, len(table))
    return analyse(table, Question(factors=FACTORS, responses=responses, kind="surface"))


RISE = Response(name="rise", unit="mm", goal="maximise", matters=1.0)
PH = Response(name="pH", goal="target", target=7.2, matters=0.1, accept=(7.0, 7.4))


def test_the_best_settings_of_a_surface_lead():
    said = headline(asked(RISE))
    found = re.match(r"For the highest rise use soda ([\d.]+) % and oven ([\d.]+) °C: ([\d.]+) mm", said)
    assert found, said
    soda, oven, rise = map(float, found.groups())
    assert abs(soda - 1.2) < 0.2
    assert abs(oven - 184) < 5
    assert abs(rise - 50) < 1


def test_without_a_goal_no_settings_are_recommended():
    assert "use" not in headline(asked(Response(name="rise", unit="mm", matters=1.0))).split()


def test_what_serves_both_goals_leads():
    analysis = asked(RISE, PH)
    said = headline(analysis)
    assert said.startswith("To serve all goals use soda ")
    soda = float(re.search(r"soda ([\d.]+)", said).group(1))
    assert 0.85 < soda < 1.45  # between pH 7.0 and 7.4
    assert "with a sureness of" in said
