"""What does the baker take to the bench?

Joins a stored trial with the weights of each run into a bench sheet, and writes it as
one HTML file.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from sqlmodel import Session, col, select

from analysis.words.numbers import say_level, say_setting
from tracker.audit import canonical, sha256
from tracker.current import design_as_it_stands
from tracker.errors import UsageError
from tracker.fingerprints import audit_head
from tracker.formulas import BakersFormula
from tracker.intake.plan_tables import FactorTable
from tracker.models import Factor, Formula, Kitchen, Response, Run, Trial
from tracker.workflow.files import write_whole
from tracker.workflow.formulas import as_stored
from tracker.workflow.ingredients import own_values
from tracker.workflow.lookup import find_run, find_trial, responses_of, runs_of
from tracker.workflow.weighed_runs import factor_tables, weighed_factors, weights_of_run

if TYPE_CHECKING:
    from reports.sheet import Sheet, SheetResponse, SheetRun
    from tracker.store import Store


@dataclass(frozen=True, kw_only=True)
class Papers:
    """Where to write what goes to the bench; None leaves it out."""

    sheet: Path | None = None
    labels: Path | None = None
    weighing: Path | None = None
    oven: Path | None = None


def write_papers(
    store: Store, trial: str, papers: Papers, *, address: str = "", spare_percent: float = 0.0
) -> dict[str, str]:
    """Write each paper whole; returns what was written where. ``address`` is that of the kitchen's pages."""
    from reports.labels import code_labels
    from reports.oven_map import oven_map
    from reports.sheet import bench_sheet
    from reports.weighing_list import weighing_list

    if not 0 <= spare_percent <= 100:
        raise UsageError(
            f"{say_level(spare_percent)} % to spare makes no sense.", where="--spare", try_this="--spare 5"
        )
    sheet = make_sheet(store, trial, address=address)
    made = {
        "sheet": (papers.sheet, lambda: bench_sheet(sheet)),
        "labels": (papers.labels, lambda: code_labels(sheet)),
        "weighing": (papers.weighing, lambda: weighing_list(sheet, spare_percent=spare_percent)),
        "oven": (papers.oven, lambda: oven_map(sheet)),
    }
    return {name: str(write_whole(path, page())) for name, (path, page) in made.items() if path is not None}


def make_sheet(store: Store, trial: str, *, address: str = "", only: str | None = None) -> Sheet:
    """The bench sheet of a trial, or of the one run ``only``. Raises NotFound with the nearest name."""
    from reports.sheet import Sheet, SheetDay

    with store.read() as session:
        found = find_trial(session, trial)
        runs, responses = runs_of(session, found), responses_of(session, found)
        factors = list(session.exec(select(Factor).where(Factor.trial_id == found.id).order_by(col(Factor.position))))
        formula = _formula(session, found)
        kitchen = session.exec(select(Kitchen)).first()
        design = design_as_it_stands(session, found)
        own = own_values(session, when_planned=found)
    tables = factor_tables(factors)
    entries, head = audit_head(store)

    def link(run: Run) -> str:
        return run_link(found.name, run.code, address)

    shown = runs if only is None else [find_run(runs, only, trial=found.name)]
    days = groupby(shown, key=lambda run: run.block)
    named = design.get("block") or "block"
    errors = tuple(design.get("error_groups") or ())
    return Sheet(
        trial=found.name,
        title=found.title,
        question=found.question,
        kitchen=kitchen.name if kitchen else "",
        formula=formula[1] if formula else "",
        method=formula[0].method if formula else "",
        flour_per_bake_g=found.flour_per_bake_g,
        audit_head=f"{entries}:{head[:12]}",
        plan_hash=_plan_hash(found, runs)[:12],
        made_on=found.made_at[:10],
        responses=tuple(_response(response) for response in responses),
        days=tuple(
            SheetDay(
                block=None if block is None else f"{named} {block}",
                runs=tuple(
                    _placed(_run(run, found, tables, formula, own), run, named, errors, tables, link(run))
                    for run in day
                ),
            )
            for block, day in days
        ),
    )


def run_link(trial: str, code: str, address: str = "") -> str:
    """What the printed code of a run holds: its page, or the words to look it up where no page is served."""
    if not address:
        return f"crumbwise run {trial} {code}"
    return f"{address.rstrip('/')}/run/{quote(trial)}/{code}"


def _placed(
    shown: SheetRun, run: Run, block: str, errors: Sequence[str], tables: Sequence[FactorTable], link: str
) -> SheetRun:
    """With its groups: what is set once for its whole plot stands over the runs of that plot, not on each."""
    groups = json.loads(run.groups)
    plot = next((name for name in errors if name in groups), None)
    hard = {factor.name for factor in tables if factor.hard_to_change}
    once = tuple((name, value) for name, value in shown.settings if name in hard) if len(errors) == 1 else ()
    return replace(
        shown,
        places=tuple(
            (name, str(label))
            for name, label in groups.items()
            if name not in (block, plot, "stage") or len(errors) > 1
        ),
        plot=f"{plot} {groups[plot]}" if plot is not None and len(errors) == 1 else "",
        set_once=once,
        settings=tuple(pair for pair in shown.settings if pair not in once),
        link=link,
    )


def write_sheet(store: Store, trial: str, path: str | Path) -> Path:
    """Write the sheet as HTML, whole or not at all; returns where it lies."""
    from reports.sheet import bench_sheet

    return write_whole(path, bench_sheet(make_sheet(store, trial)))


def _plan_hash(trial: Trial, runs: Sequence[Run]) -> str:
    """Of what the sheet was made from: the plan's words and the runs it led to."""
    laid = [[run.bake_order, run.code, run.block, json.loads(run.settings)] for run in runs]
    return sha256(canonical({"plan": trial.plan, "runs": laid}))


def _formula(session: Session, trial: Trial) -> tuple[BakersFormula, str] | None:
    row = session.get(Formula, trial.formula_id) if trial.formula_id else None
    if row is None:
        return None
    stored = as_stored(session, row)
    return stored.formula, stored.title


def _response(response: Response) -> SheetResponse:
    from reports.sheet import SheetResponse

    low, high = response.plausible_low, response.plausible_high
    return SheetResponse(
        name=response.name,
        unit=response.unit,
        scale=response.scale,
        anchors=tuple(json.loads(response.anchors)),
        pieces=response.pieces,
        readings=response.readings,
        plausible=None if low is None or high is None else (low, high),
    )


def _run(
    run: Run,
    trial: Trial,
    tables: Sequence[FactorTable],
    formula: tuple[BakersFormula, str] | None,
    own: Mapping[str, Any],
) -> SheetRun:
    """Weights say what was weighed; only settings that no weight tells stand beside them."""
    from reports.sheet import SheetRun, Weighed

    settings = json.loads(run.settings)
    weighable = formula is not None and trial.flour_per_bake_g is not None
    weights = (
        weights_of_run(formula[0], tables, settings, trial.flour_per_bake_g, own)
        if formula is not None and trial.flour_per_bake_g is not None
        else ()
    )
    shown = [
        (factor.name, _with_unit(settings[factor.name], factor.unit))
        for factor, weighed in zip(tables, weighed_factors(tables), strict=True)
        if not (weighable and weighed.is_weighed)
    ]
    return SheetRun(
        bake_order=run.bake_order,
        code=run.code,
        weights=tuple(Weighed(ingredient=w.ingredient, grams=w.text, note=w.note) for w in weights),
        settings=tuple(shown),
    )


def _with_unit(value: float | str, unit: str) -> str:
    return value if isinstance(value, str) else say_setting(value, unit)
