"""What is being asked of a spreadsheet?

Turns the words of a command line into a question and a table for the engine. What was not
said is guessed, and each guess is reported.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.questions import Factor, Question, Response
from tracker.intake.columns import levels_of
from tracker.intake.spreadsheet import Sheet
from tracker.workflow.options import Options, lay_chains, set_references, slopes_of
from tracker.workflow.sheet_cells import Cells, Scales, read_cells, read_scales
from tracker.workflow.sheet_columns import (
    PLUS,
    Factors,
    SheetColumns,
    guessed_blocks,
    joined,
    slope_groups,
    the_bake,
    the_factors,
    the_responses,
)
from tracker.workflow.wanted import refuse_costs, set_goals, set_matters, set_wishes

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, kw_only=True)
class Columns:
    """What the columns of a spreadsheet are, as typed: "NAME", "NAME:kind", "A+B", "NAME:value"."""

    responses: tuple[str, ...] = ()
    factors: tuple[str, ...] = ()
    blocks: tuple[str, ...] = ()
    bake: str | None = None
    matters: tuple[str, ...] = ()
    scales: tuple[str, ...] = ()

    def said(self) -> list[str]:
        """The columns as they would be typed again."""
        found: list[str] = []
        for option, texts in (
            ("--response", self.responses),
            ("--factor", self.factors),
            ("--block", self.blocks),
            ("--matters", self.matters),
            ("--scale", self.scales),
        ):
            found += [word for text in texts for word in (option, text)]
        return found + (["--bake", self.bake] if self.bake else [])


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A question with its table, and what had to be guessed in plain sentences."""

    question: Question
    table: pd.DataFrame
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class _Roles:
    """What each column is, by the columns of the file; ``notes`` say what was guessed."""

    responses: list[str]
    blocks: list[str]
    chains: list[list[str]]
    group: list[str]
    covariates: list[str]
    weights: str | None
    bake: list[str]
    factors: Factors
    notes: list[str]


def ask_file(sheet: Sheet, said: Columns, options: Options) -> Asked:
    """Raises InputError or UsageError, with the nearest name, for what does not fit the file."""
    columns = SheetColumns(sheet)
    roles = _roles(columns, said, options)
    scales = read_scales(columns, said.scales, roles.responses, scores=options.kind == "score")
    cells = read_cells(
        columns,
        responses=roles.responses,
        scales=scales,
        kinds=roles.factors.kinds,
        groups=[*roles.blocks, *roles.group, *roles.bake],
        covariates=roles.covariates,
        weights=roles.weights,
        pieces=options.kind == "score" and roles.weights is not None,
    )
    bake = columns.named(roles.bake)
    if len(bake) > 1:
        cells.table[PLUS.join(bake)] = joined({name: list(cells.table[name]) for name in bake})
    chains, blocks = lay_chains(
        {"": cells.table},
        [columns.named(chain) for chain in roles.chains],
        factors=columns.named(roles.factors.kinds),
        blocks=columns.named(roles.blocks),
    )
    factors = [_factor(columns, column, kind, cells.table) for column, kind in roles.factors.kinds.items()]
    question = Question(
        **options.settings(),
        factors=set_references(factors, options.references),
        responses=_responses(columns, roles.responses, scales, cells, said.matters, options),
        dose=columns.name_of(options.dose, "--dose"),
        by=columns.name_of(options.by, "--by"),
        blocks=blocks,
        group=chains[0] if chains else (),
        crossed=chains[1:],
        slopes=slopes_of(options.slopes, cells.table.columns),
        covariates=tuple(columns.named(roles.covariates)),
        weights=columns.name_of(options.weights, "--weights"),
        bake=PLUS.join(bake) or None,
        guessed=tuple(columns.named(roles.factors.guessed)),
    )
    return Asked(question=question, table=cells.table, notes=(*roles.notes, *cells.notes))


def _roles(columns: SheetColumns, said: Columns, options: Options) -> _Roles:
    responses = the_responses(columns, said.responses)
    blocks = [columns.column(name, "--block") for name in said.blocks]
    chains = [columns.columns(text, "--group") for text in options.groups]
    ends = slope_groups(columns, options.slopes)
    group = list(dict.fromkeys([*(column for chain in chains for column in chain), *ends]))
    covariates = [columns.column(name, "--covariate") for name in options.covariates]
    weights = columns.column(options.weights, "--weights") if options.weights else None
    bake, notes = the_bake(columns, said.bake, responses)
    if not blocks and not said.factors:
        blocks, more = guessed_blocks(columns, [*responses, *bake, *group, options.dose, options.by])
        notes += more
    factors = the_factors(
        columns,
        said.factors,
        dose=options.dose,
        by=options.by,
        taken=[*responses, *blocks, *group, *bake, *covariates, *([weights] if weights else [])],
        chains=chains,
        may_be_none=bool(options.groups or options.slopes),
    )
    return _Roles(
        responses=responses,
        blocks=blocks,
        chains=chains,
        group=group,
        covariates=covariates,
        weights=weights,
        bake=bake,
        factors=factors,
        notes=[*columns.sheet.notes, *notes, *factors.notes],
    )


def _factor(columns: SheetColumns, column: str, kind: str, table: pd.DataFrame) -> Factor:
    name = columns.names[column]
    levels = levels_of(list(table[name])) if kind == "category" else ()
    return Factor(name=name, kind=kind, unit=columns.units[column], levels=levels)  # type: ignore[arg-type]


def _responses(
    columns: SheetColumns,
    responses: Sequence[str],
    scales: Scales,
    cells: Cells,
    matters: Sequence[str],
    options: Options,
) -> tuple[Response, ...]:
    refuse_costs(options.goals, columns.sheet.header)
    plain = [
        Response(
            name=columns.names[column],
            unit=columns.units[column],
            scale=scales.of[column],  # type: ignore[arg-type]  # one of the scales
            anchors=cells.anchors.get(column, ()),
        )
        for column in responses
    ]
    aimed = set_goals(plain, options.goals, spelled=columns.names)
    return set_wishes(set_matters(aimed, matters, spelled=columns.names), options, spelled=columns.names)
