"""What is being asked of a trial?

Its stored factors, responses and plan as a question for the engine, with what was said in their place.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from analysis.questions import Factor, Question, Response
from tracker.errors import InputError
from tracker.intake.spreadsheet import nearest
from tracker.workflow.measured import measured_names
from tracker.workflow.options import Options, chains_of, lay_chains, set_references, slopes_of
from tracker.workflow.wanted import set_goals, set_wishes

if TYPE_CHECKING:
    from analysis.goals.computed import Computed
    from tracker.frames import TrialTables

LADDER = 3  # doses: enough for a bend, too few to be taken for a curve when nobody planned one


def chosen_responses(tables: TrialTables, names: Sequence[str]) -> list[Any]:
    """The stored responses of these names; all when none is named. Raises NotFound with the nearest."""
    from tracker.workflow.lookup import find_response

    if not names:
        return list(tables.responses)
    return [find_response(tables.responses, name, trial=tables.trial.name) for name in names]


def trial_question(
    tables: TrialTables, responses: Sequence[Any], options: Options, computed: Sequence[Computed] = ()
) -> tuple[Question, tuple[Computed, ...]]:
    """The question about the stored ``responses``, and what is computed with what was wished for it.

    Groups and terms are the options', else the plan's own. Raises InputError or UsageError with the nearest name.
    """
    factors = [_factor(factor) for factor in tables.factors]
    known = [factor.name for factor in factors]
    columns = [*known, *_fixed_groups(tables), *tables.groups]
    chains, crossed = _chains(tables, options, columns)
    # A block that is asked for as a group is random, no longer fixed.
    random = {name for parts in chains_of(options.groups) for name in parts}
    blocks = tuple(name for name in _fixed_groups(tables) if name not in random)
    laid, blocks = lay_chains(tables.tables, chains, factors=known, blocks=blocks)
    measured = set_goals([_response(response) for response in responses], options.goals)
    wished = set_wishes([*measured, *(one.response for one in computed)], options)
    question = Question(
        **{**options.settings(), "model": _model(tables, options)},
        factors=set_references(factors, options.references),
        responses=wished[: len(measured)],
        dose=_known(options.dose, known, "--dose") or _short_ladder(tables, options),
        by=_known(options.by, known, "--by"),
        blocks=blocks,
        group=laid[0] if laid else (),
        crossed=laid[1:],
        slopes=slopes_of(options.slopes, columns),
        covariates=tuple(_name(n, [*columns, *measured_names(tables)], "--covariate") for n in options.covariates),
        weights=_known(options.weights, columns, "--weights"),
        strips=crossed,
        bake="bake",
    )
    weighed = zip(computed, wished[len(measured) :], strict=True)
    return question, tuple(replace(one, response=response) for one, response in weighed)


def _factor(stored: Any) -> Factor:
    category = stored.kind == "category"
    return Factor(
        name=stored.name,
        kind=stored.kind,
        unit=stored.unit,
        levels=tuple(str(level) for level in json.loads(stored.levels)) if category else (),
        reference=stored.reference,
    )


def _response(stored: Any) -> Response:
    from tracker.intake.values import anchors_of

    bounds = (stored.plausible_low, stored.plausible_high)
    accept = (stored.accept_low, stored.accept_high)
    return Response(
        name=stored.name,
        unit=stored.unit,
        scale=stored.scale,
        goal=stored.goal,
        target=stored.target,
        matters=stored.matters,
        plausible=bounds if None not in bounds else None,
        anchors=anchors_of(stored),
        accept=None if accept == (None, None) else accept,
        importance=stored.importance,
    )


def _fixed_groups(tables: TrialTables) -> tuple[str, ...]:
    """The block, then rows and columns: what is taken out before treatments are compared."""
    named = (tables.block, *(name for name in tables.design.get("fixed_groups") or () if name in tables.groups))
    return tuple(dict.fromkeys(name for name in named if name))


def _chains(tables: TrialTables, options: Options, columns: Sequence[str]) -> tuple[list[list[str]], tuple[str, ...]]:
    """Chains of groups whose bakes share an error, and strips that cut across each other: as asked, else as planned."""
    asked = chains_of(options.groups)
    if asked:
        return [[_name(part, columns, "--group") for part in parts] for parts in asked], ()
    errors = tuple(tables.design.get("error_groups") or ())
    if tables.design.get("crossed_groups"):
        return [], errors
    stored = list(tables.design.get("group") or errors)
    return ([[_name(part, columns, "--group") for part in stored]] if stored else []), ()


def _model(tables: TrialTables, options: Options) -> Any:
    """The terms the plan was made to tell, unless something else is asked for."""
    if options.model is not None:
        return options.model
    if _asked_otherwise(options):
        return None
    planned = tables.design.get("model")
    return None if planned == "interactions" or _is_ladder(tables) else planned


def _asked_otherwise(options: Options) -> bool:
    changed = options.kind != "auto" or options.order != Options().order
    return bool(changed or options.dose or options.by or options.follow)


def _is_ladder(tables: TrialTables) -> bool:
    single = sum(factor.kind == "amount" for factor in tables.factors) == 1
    design = tables.design
    ladder = design.get("kind") == "dose ladder" or (design.get("kind") == "extended" and len(tables.factors) == 1)
    return single and ladder and design.get("model") == "quadratic"


def _short_ladder(tables: TrialTables, options: Options) -> str | None:
    """The amount of a ladder of three doses: planned to show where it bends, it is read so too.

    From four doses on the engine sees a curve by itself; a straight line would foretell the middle wrong.
    """
    if _asked_otherwise(options) or options.model is not None or len(tables.factors) != 1 or not _is_ladder(tables):
        return None
    amount: str = tables.factors[0].name
    read = [table for table in tables.tables.values() if len(table)]
    enough = all(table[amount].nunique() == LADDER and table["bake"].nunique() >= 2 * LADDER for table in read)
    return amount if read and enough else None


def _known(name: str | None, known: Sequence[str], option: str) -> str | None:
    return _name(name, known, option) if name else None


def _name(name: str, known: Sequence[str], option: str) -> str:
    if name in known:
        return name
    raise InputError(
        f'This trial has no "{name}"; it has {", ".join(known)}.',
        where=option,
        try_this=f'{option} "{nearest(name, list(known)) or known[0]}"',
    )
