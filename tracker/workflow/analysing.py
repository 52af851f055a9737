"""What did the bakes say?

One engine for both ways in: a trial of the kitchen and a spreadsheet without one. The
tables are read first and the kitchen is left alone while the engine computes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from analysis.errors import NotPossible
from analysis.results import Analysis, LeftOut
from analysis.words.numbers import join_words
from tracker.intake.spreadsheet import read_spreadsheet
from tracker.workflow.asking import Columns, ask_file
from tracker.workflow.costs import cost_goals, prices_behind, split_costs
from tracker.workflow.options import Options
from tracker.workflow.provenance import Behind, provenance, what_stands_behind
from tracker.workflow.run_chemistry import chemistry_table, follow_chemistry, trial_chemistry, with_chemistry
from tracker.workflow.tasted import with_tags
from tracker.workflow.trial_question import chosen_responses, trial_question
from tracker.workflow.who_scored import gaps_of_the_panel

if TYPE_CHECKING:
    import pandas as pd

    from reports.sections.photos import PhotosTold
    from tracker.frames import TrialTables
    from tracker.store import Store


@dataclass(frozen=True, kw_only=True)
class TrialAnalysis:
    """An answer with what a report needs beside it.

    ``chemistry`` has one row per bake: its account beside what was measured (None without a formula);
    ``tables`` maps each response to its readings; ``taste_notes`` and ``plan`` are None for
    a spreadsheet; ``remarks`` are plain sentences about how the question was understood;
    ``invented`` tells that no real bakes are behind it; ``why_none`` is set when there is no answer yet;
    ``tasting_open``: somebody is still tasting its bakes blind; ``photos`` are looked for where a report is made.
    """

    analysis: Analysis
    title: str
    tables: Mapping[str, pd.DataFrame]
    provenance: Mapping[str, Any]
    question: str = ""
    taste_notes: pd.DataFrame | None = None
    plan: Mapping[str, Any] | None = None
    remarks: tuple[str, ...] = ()
    invented: bool = False
    chemistry: pd.DataFrame | None = None
    scores: pd.DataFrame | None = None
    why_none: NotPossible | None = None
    tasting_open: bool = False
    photos: PhotosTold | None = None

    def summary(self) -> str:
        from analysis.words import analysis_text

        return analysis_text(self.analysis)

    def to_json(self) -> dict[str, Any]:
        """The published analysis document, with how the question was understood and where it came from."""
        from analysis.serialise import analysis_json

        return {**analysis_json(self.analysis), "remarks": list(self.remarks), "provenance": dict(self.provenance)}


def analyse_trial(
    store: Store, trial: str, *, responses: Sequence[str] = (), options: Options | None = None
) -> TrialAnalysis:
    """Analyse what stands of a trial; ``responses`` picks some of them (all when empty).

    Raises NotFound (trial or response), TrialDataError and NotPossible of the engine.
    """
    from analysis.engine import analyse
    from tracker.frames import trial_tables
    from tracker.workflow.measured import with_measured
    from tracker.workflow.tastings import still_open

    options = options or Options()
    tables = with_measured(trial_tables(store, trial))
    picked = chosen_responses(tables, responses)
    read = [response for response in picked if len(tables.tables[response.name])]
    costs, goals = split_costs(options, [response.name for response in tables.responses])
    computed = cost_goals(store, trial, costs)
    question, computed = trial_question(tables, read or picked, replace(options, goals=goals), computed)
    if not read or (responses and len(read) < len(picked)):
        _refuse_unread(trial, [response.name for response in picked if response not in read])
    accounts = trial_chemistry(store, trial)
    chosen = {response.name: tables.tables[response.name] for response in question.responses}
    wanted = with_chemistry(chosen, accounts)
    if options.follow:
        wanted, question = follow_chemistry(wanted, question, options.follow, options.by)
    left_out = [
        LeftOut(row=out.code, why=out.why, response=out.response)
        for out in tables.left_out
        if out.response is None or out.response in wanted
    ]
    analysis = analyse(wanted, question, source=trial, left_out=left_out, computed=computed)
    analysis = with_tags(analysis, tables.notes)
    behind = what_stands_behind(store, tables.trial)
    return TrialAnalysis(
        analysis=analysis,
        title=tables.trial.title,
        tables=wanted,
        provenance=_of_trial(
            store, tables, analysis, behind, _options_said(options, responses), prices_behind(store, trial, costs)
        ),
        question=tables.trial.question,
        taste_notes=tables.notes if len(tables.notes) else None,
        plan=_plan(tables, behind.formula),
        remarks=(
            *_still_to_bake(tables.left_out),
            *(f"{one.name} has no readings yet and was left out." for one in picked if one not in read),
            *(_replaced(row) for row in tables.replaced),
            *gaps_of_the_panel(tables.assessed, list(chosen)),
        ),
        invented=behind.invented,
        chemistry=chemistry_table(analysis, accounts),
        scores=tables.assessed,
        tasting_open=still_open(store, trial),
    )


def unanswered_trial(
    store: Store, trial: str, why: NotPossible, *, responses: Sequence[str] = (), options: Options | None = None
) -> TrialAnalysis:
    """What is known of a trial that cannot be analysed ``why``: how it was planned and where it comes from."""
    from tracker.frames import trial_tables
    from tracker.workflow.tastings import still_open

    options = options or Options()
    tables = trial_tables(store, trial)
    question, _ = trial_question(tables, chosen_responses(tables, responses), Options(seed=options.seed))
    analysis = Analysis(
        question=question,
        source=trial,
        rows_read=len(tables.left_out),
        rows_used=0,
        left_out=tuple(LeftOut(row=out.code, why=out.why, response=out.response) for out in tables.left_out),
        responses=(),
        findings=(),
    )
    behind = what_stands_behind(store, tables.trial)
    return TrialAnalysis(
        analysis=analysis,
        title=tables.trial.title,
        tables={},
        provenance=_of_trial(store, tables, analysis, behind, _options_said(options, responses)),
        question=tables.trial.question,
        plan={**_plan(tables, behind.formula), **_amounts(tables)},
        tasting_open=still_open(store, trial),
        invented=behind.invented,
        why_none=why,
    )


def _of_trial(
    store: Store,
    tables: TrialTables,
    analysis: Analysis,
    behind: Behind,
    said: Sequence[str],
    prices: Mapping[str, float] | None = None,
) -> Mapping[str, Any]:
    """Where an answer about a trial comes from."""
    from tracker.frames import audit_head, content_hash

    trial = analysis.source
    entries, head = audit_head(store)
    return provenance(
        analysis,
        source=f'trial "{trial}"',
        content_sha256=content_hash(store, trial),
        command=["crumbwise", "trial", "analyse", trial, *said],
        as_of=behind.as_of,
        audit_head=head,
        audit_entries=entries,
        plan_seed=tables.trial.seed,
        **({} if prices is None else {"prices_per_kg": prices}),
    )


def analyse_file(
    path: str | Path, *, columns: Columns, options: Options | None = None, sheet: str | None = None
) -> TrialAnalysis:
    """Analyse a CSV or XLSX file. Raises InputError, NotFound, TrialDataError and NotPossible."""
    options = options or Options()
    table = read_spreadsheet(path, sheet=sheet)
    asked = ask_file(table, columns, options)
    from analysis.engine import analyse

    analysis = analyse(asked.table, asked.question, source=table.source)
    said = columns.said() + options.said() + (["--sheet", sheet] if sheet else [])
    return TrialAnalysis(
        analysis=analysis,
        title=table.source,
        tables={response.name: asked.table for response in asked.question.responses},
        provenance=provenance(
            analysis,
            source=table.source + (f', sheet "{table.sheet}"' if table.sheet else ""),
            content_sha256=table.sha256,
            command=["crumbwise", "analyse", table.source, *said],
            as_of=None,
        ),
        remarks=asked.notes,
    )


def _refuse_unread(trial: str, names: Sequence[str]) -> NoReturn:
    """A response without a reading stops a call that names it, and one that has no other."""
    raise NotPossible(
        f'Trial "{trial}" has no readings of {join_words(names, "or")} yet.',
        where=f'trial "{trial}"',
        try_this=f'crumbwise trial record "{trial}", then analyse again',
    )


def _plan(tables: TrialTables, formula: str | None) -> dict[str, Any]:
    """How it was made, in the order in which a page shows it."""

    trial, design = tables.trial, tables.design
    told = ("kind", "block", "replicates", "block_size", "levels", "centre_points", "resolution", "source")
    return {
        **{name: design[name] for name in told if isinstance(design.get(name), (str, int, float))},
        "runs": len(tables.runs),
        "seed": trial.seed,
        "formula": formula,
        "flour_per_bake_g": trial.flour_per_bake_g,
    }


def _amounts(tables: TrialTables) -> dict[str, list[float]]:
    """The planned amounts of each factor that has no words for its levels."""
    amounts = [factor for factor in tables.factors if factor.kind != "category"]
    return {
        f"{factor.name} ({factor.unit})" if factor.unit else factor.name: sorted(set(tables.runs[factor.name].dropna()))
        for factor in amounts
    }


def _still_to_bake(left_out: Sequence[Any]) -> tuple[str, ...]:
    waiting = sum(out.why == "not yet baked" and out.response is None for out in left_out)
    if not waiting:
        return ()
    return (
        f"{waiting} of the planned runs {'is' if waiting == 1 else 'are'} not baked yet: this is how it stands so far.",
    )


def _replaced(row: Any) -> str:
    from analysis.words.numbers import as_written
    from tracker.intake.numbers import number_text, said_dose

    used, planned = (as_written(number_text(value)) for value in (said_dose(row.used), row.planned))
    return (
        f"Run {row.code}: {row.factor} was {used} {row.unit} instead of {planned} ({as_written(row.why)}); "
        "that is what was analysed."
    )


def _options_said(options: Options, responses: Sequence[str]) -> list[str]:
    return [word for name in responses for word in ("--response", name)] + options.said()
