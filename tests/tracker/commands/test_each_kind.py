"""Each kind of design: planned, baked from a known truth and analysed by the command, as the plan promised.

The truth is made up here. What the analysis finds has to have the strata, the error degrees of
freedom and the aliases that the plan told before baking, and has to come near the truth.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from analysis.designs.catalogue import KINDS

SCHEMA = json.loads(files("analysis").joinpath("schema/plan.schema.json").read_text(encoding="utf-8"))
ACIDS = ["yogurt", "lemon juice", "cream of tartar", "vinegar", "buttermilk", "sumac", "cider"]


@dataclass(frozen=True)
class Case:
    """A plan: ``amounts`` run from 10 to 30, ``categories`` are (name, levels), ``shares`` of 100."""

    kind: str
    amounts: tuple[str, ...] = ()
    categories: tuple[tuple[str, int], ...] = ()
    shares: tuple[str, ...] = ()
    hard: tuple[str, ...] = ()
    design: str = ""

    @property
    def text(self) -> str:
        parts = ['title = "A made-up trial"\nname = "made-up"\n']
        parts += [_factor(name, "amount", self.hard, "low = 10\nhigh = 30") for name in self.amounts]
        parts += [_factor(n, "category", self.hard, f"levels = {json.dumps(ACIDS[:k])}") for n, k in self.categories]
        parts += [_factor(name, "share", self.hard, 'of = "flour"\nunit = "%"') for name in self.shares]
        parts.append('[[response]]\nname = "rise height"\nunit = "mm"\nspread = 0.5\nmatters = 2')
        parts.append(f'[design]\nkind = "{self.kind}"\nseed = 20261125\n{self.design}')
        return "\n".join(parts)


def _factor(name: str, kind: str, hard: tuple[str, ...], more: str) -> str:
    told = "hard_to_change = true\n" if name in hard else ""
    return f'[[factor]]\nname = "{name}"\nkind = "{kind}"\n{told}{more}\n'


CASES = [
    Case("dose ladder", amounts=("soda",), design="levels = 5\nreplicates = 3"),
    Case("full factorial", amounts=("soda",), categories=(("acid", 3),), design="levels = 2\nreplicates = 2"),
    Case("fractional factorial", amounts=tuple("abcde"), design='runs = 16\nreplicates = 2\nblock = "day"'),
    Case("complete blocks", categories=(("acid", 4),), design='block = "day"\nreplicates = 3'),
    Case("complete blocks", categories=(("acid", 3),), design='block = "day"\nblock_size = 9\nreplicates = 5'),
    Case("dose ladder", amounts=("soda",), design='levels = 5\nblock = "day"\nblock_size = 10\nreplicates = 3'),
    Case("completely randomised", categories=(("acid", 3),), design="replicates = 4"),
    Case("incomplete blocks", categories=(("acid", 7),), design='block = "day"\nblock_size = 3\nreplicates = 3'),
    Case("latin square", categories=(("acid", 5),), design='rows = "shelf"\ncolumns = "turn"'),
    Case(
        "graeco-latin square",
        categories=(("acid", 5), ("tin", 5)),
        design='rows = "shelf"\ncolumns = "turn"',
    ),
    Case("plackett-burman", amounts=tuple("abcdefg"), design="runs = 12"),
    Case("definitive screening", amounts=tuple("abcdef"), design="centre_points = 3"),
    Case("central composite", amounts=("soda", "acid"), design="centre_points = 5"),
    Case("central composite", amounts=("soda", "acid", "fat"), design='axial = "face"\ncentre_points = 4'),
    Case("box-behnken", amounts=("soda", "acid", "fat"), design="centre_points = 4"),
    Case("doehlert", amounts=("soda", "acid"), design="centre_points = 3"),
    Case("mixture lattice", shares=("wheat", "rye", "oat"), design="degree = 2\nreplicates = 2"),
    Case("mixture centroid", shares=("wheat", "rye", "oat"), design="replicates = 2"),
    Case("constrained mixture", shares=("wheat", "rye", "oat"), design="replicates = 2"),
    Case(
        "split-plot",
        categories=(("oven", 2), ("acid", 3)),
        hard=("oven",),
        design="whole_plots = 8",
    ),
    Case(
        "strip-plot",
        categories=(("batter", 3), ("oven", 3)),
        hard=("batter", "oven"),
        design='rows = "batter batch"\ncolumns = "oven load"\nblock = "day"\nreplicates = 3',
    ),
    Case("optimal", amounts=("soda", "fat"), categories=(("acid", 2),), design="runs = 18\nlevels = 3\nstarts = 20"),
    Case("optimal", amounts=("soda",), categories=(("oven", 2),), hard=("oven",), design="runs = 20\nwhole_plots = 8"),
]


def truth(settings: dict[str, Any]) -> float:
    """40 mm, and 0.2 mm for each unit of an amount or share, 3 mm for each step of a category."""
    height = 40.0
    for place, (_, setting) in enumerate(sorted(settings.items())):
        value = setting["value"]
        height += (-1) ** place * (3.0 * ACIDS.index(value) if isinstance(value, str) else 0.2 * value)
    return height


def typed(runs: list[dict[str, Any]], errors: list[str]) -> str:
    """What is typed at the bench: the truth with an error for every bake and every group that has one."""
    rng = np.random.Generator(np.random.PCG64(41))
    shared: dict[tuple[str, str], float] = {}
    lines = []
    for run in sorted(runs, key=lambda each: each["bake_order"]):
        common = sum(shared.setdefault((g, run["groups"][g]), rng.normal(0, 0.5)) for g in errors)
        lines.append(f"{truth(run['settings']) + common + rng.normal(0, 0.5):.4f}")
    return "\n".join(lines) + "\n"


def test_every_kind_has_a_case() -> None:
    assert {case.kind for case in CASES} == set(KINDS)


@pytest.mark.parametrize(
    "case",
    CASES,
    ids=lambda case: f"{case.kind}, {len(case.amounts)} amounts{case.design.count('block_size') * ' in days'}",
)
def test_a_kind_is_planned_baked_and_analysed_as_promised(
    case: Case, crumbwise: Callable[..., Any], tmp_path: Path
) -> None:
    (tmp_path / "plan.toml").write_text(case.text)
    plan = crumbwise("trial", "plan", "plan.toml", "--json")
    assert plan.code == 0, plan.err
    jsonschema.validate(plan.document, SCHEMA)
    design = plan.document["design"]
    assert len(plan.document["runs"]) == design["n_runs"]
    assert crumbwise("trial", "record", "made-up", stdin=typed(plan.document["runs"], design["error_groups"])).code == 0
    ran = crumbwise("trial", "analyse", "made-up", "--json", "--kind", *_asked(case))
    assert ran.code == 0, ran.err
    answer = ran.document["responses"][0]

    promised = {stratum["group"]: stratum for stratum in design["strata"]}
    lenth = "Lenth" in design["judged_by"]
    assert answer["residual"]["df"] == design["df_error"]
    tested = {test["term"]: test for test in answer["tests"]}
    for stratum in promised.values():
        for term in stratum["terms"]:
            found = tested.get(term)
            if found is not None and not lenth:
                uneven = answer["model"]["estimation"] == "REML"  # Kenward and Roger's df need not be whole
                assert found["df_error"] == pytest.approx(stratum["df_error"], rel=0.2 if uneven else 0), term
    told = {term for stratum in promised.values() for term in stratum["terms"]}
    assert told <= set(tested) | _blends(design) or lenth
    if design["aliases"]:
        assert {frozenset(chain) for chain in answer["aliases"]} <= {frozenset(chain) for chain in design["aliases"]}

    for name in [*case.amounts, *(category for category, _ in case.categories)]:
        finding = next(f for f in answer["findings"] if f["variables"] == [name])
        assert finding["low"] is None or finding["low"] < finding["high"]
        assert finding["matters"] in ("yes", "unsure"), name


def _asked(case: Case) -> list[str]:
    """A ladder's curve may take fewer terms than the plan allows for; the surface takes all of them."""
    return ["surface"] if case.kind == "dose ladder" else ["auto"]


def _blends(design: dict[str, Any]) -> set[str]:
    """The single shares are tested together, as linear blending."""
    return set(design["factors"]) if design["model"].startswith("mixture") else set()
