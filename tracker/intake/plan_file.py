"""What does the plan file say?

A plan is a TOML file: what is asked, the formula, what is changed, what is measured and
how it is laid out. It is read whole or refused with every problem in words, each with its
line; nothing of it is run.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from tracker.errors import InputError, NotFound
from tracker.formulas import BakersFormula, FormulaLine, checked
from tracker.intake.plan_checks import (
    check_design,
    check_factor,
    check_head,
    check_names,
    check_response,
)
from tracker.intake.plan_lines import check_lines
from tracker.intake.plan_problems import Problem, as_error, problems_in
from tracker.intake.plan_shares import check_shares
from tracker.intake.plan_tables import (
    ConstraintTable,
    DesignTable,
    FactorTable,
    FormulaTable,
    HeadTable,
    ResponseTable,
)

LARGEST_FILE = 1_000_000  # bytes; a plan of 60 factors is under 20,000
MOST_TABLES = 60
TABLES = ("factor", "response", "constraint", "design", "formula")

Model = TypeVar("Model", bound=BaseModel)


@dataclass(frozen=True, kw_only=True)
class PlanFile:
    """A plan that holds together. ``formula`` is the inline one; ``formula_name`` a stored one's name."""

    text: str
    title: str
    question: str
    name: str | None
    formula_name: str | None
    formula: BakersFormula | None
    flour_per_bake_g: float | None
    factors: tuple[FactorTable, ...]
    responses: tuple[ResponseTable, ...]
    design: DesignTable
    constraints: tuple[str, ...] = ()

    def check_against(self, ingredients: tuple[str, ...], *, where: str = "plan") -> None:
        """Raise InputError when a factor sets lines that a formula of these ingredients does not have."""
        problems = list(check_lines(list(enumerate(self.factors, start=1)), ingredients))
        if problems:
            raise as_error(problems, text=self.text, place=where)


def load_plan(plan: str | Path) -> PlanFile:
    """The plan at a path, or in the text of a plan file (a text has more than one line)."""
    if isinstance(plan, str) and ("\n" in plan or "=" in plan):
        return read_plan(plan)
    path = Path(plan)
    return read_plan(_text_of(path), where=path.name)


def _text_of(path: Path) -> str:
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise InputError(
                "The file is too large for a plan.", where=str(path), try_this="the plan file itself (TOML)"
            )
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError as missing:
        near = sorted(other.name for other in path.parent.glob("*.toml"))[:5] if path.parent.is_dir() else []
        listed = f"one of {', '.join(near)}" if near else "check the path"
        raise NotFound(f'There is no file "{path.name}".', where=str(path), try_this=listed) from missing
    except UnicodeDecodeError as wrong:
        raise InputError(
            "The file is not UTF-8 text.", where=str(path), try_this="save the plan as plain text in UTF-8"
        ) from wrong
    except (OSError, ValueError) as wrong:
        raise InputError(f'"{path}" cannot be read.', where="plan file", try_this="a readable plan file") from wrong


def read_plan(text: str, *, where: str = "plan") -> PlanFile:
    """The plan in ``text``. Raises InputError that tells every problem, with lines."""
    document = _parse(text, where)
    reader = _Reader(document)
    head = reader.table(HeadTable, {key: value for key, value in document.items() if not _is_table(key, value)}, "")
    factors = reader.tables(FactorTable, "factor")
    responses = reader.tables(ResponseTable, "response")
    design = reader.table(DesignTable, document.get("design"), "design")
    formula_table = reader.table(FormulaTable, document["formula"], "formula") if _inline(document) else None
    constraints = reader.tables(ConstraintTable, "constraint") if "constraint" in document else []
    problems = reader.problems
    for number, factor in factors:
        problems += check_factor(number, factor)
    for number, response in responses:
        problems += check_response(number, response)
    problems += check_names(factors, responses, design)
    problems += check_shares([factor for _, factor in factors])
    problems += check_design(design) if design else []
    problems += check_head(head, formula_table) if head else []
    formula = _formula(formula_table, problems)
    if formula is not None:
        problems += check_lines(factors, formula.ingredients())
    if problems or head is None or design is None:
        raise as_error(problems, text=text, place=where)
    return PlanFile(
        text=text,
        title=head.title,
        question=head.question,
        name=head.name,
        formula_name=head.formula,
        formula=formula,
        flour_per_bake_g=head.flour_per_bake_g,
        factors=tuple(factor for _, factor in factors),
        responses=tuple(response for _, response in responses),
        design=design,
        constraints=tuple(constraint.says for _, constraint in constraints),
    )


def _parse(text: str, where: str) -> dict[str, Any]:
    if len(text) > LARGEST_FILE:
        raise InputError("The text is too long for a plan.", where=where, try_this="the plan file itself (TOML)")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as wrong:
        raise InputError(
            f"The plan is not written in TOML: {wrong}.",
            where=where,
            try_this='text in quotes, lists in brackets, one key = value on a line, as in title = "Soda ladder"',
        ) from wrong
    except (ValueError, RecursionError) as wrong:  # a number of thousands of digits, brackets without end
        raise InputError(
            "The plan holds something no plan needs: brackets in brackets without end, or an endless number.",
            where=where,
            try_this="shorten it",
        ) from wrong


def _is_table(key: str, value: Any) -> bool:
    return key in TABLES and not (key == "formula" and isinstance(value, str))


def _inline(document: Mapping[str, Any]) -> bool:
    return "formula" in document and not isinstance(document["formula"], str)


class _Reader:
    """Reads the tables one by one and collects what is wrong with each."""

    def __init__(self, document: Mapping[str, Any]) -> None:
        self.document = document
        self.problems: list[Problem] = []

    def table(self, model: type[Model], content: Any, name: str) -> Model | None:
        if content is None:
            self.problems.append(Problem(what=f"The table [{name}] is missing.", try_this=f"[{name}]"))
            return None
        if not isinstance(content, Mapping):
            self.problems.append(
                Problem(what=f'"{name}" is not a table.', try_this=f"[{name}] on a line of its own", key=name)
            )
            return None
        try:
            return model.model_validate(dict(content))
        except ValidationError as error:
            self.problems += problems_in(error, model, name)
            return None

    def tables(self, model: type[Model], name: str) -> list[tuple[int, Model]]:
        """The tables [[name]] that were read well, each with its number from 1."""
        content = self.document.get(name)
        if not isinstance(content, list) or not content:
            what = f"The plan has no [[{name}]]." if content is None else f'"{name}" is not a list of tables.'
            self.problems.append(Problem(what=what, try_this=f"[[{name}]] in double brackets, one for each", key=name))
            return []
        if len(content) > MOST_TABLES:
            self.problems.append(Problem(what=f"More than {MOST_TABLES} [[{name}]].", try_this="fewer", key=name))
            return []
        read = [(number, self.table(model, each, f"{name} {number}")) for number, each in enumerate(content, start=1)]
        return [(number, table) for number, table in read if table is not None]


def _formula(table: FormulaTable | None, problems: list[Problem]) -> BakersFormula | None:
    if table is None:
        return None
    lines = [
        FormulaLine(ingredient=line.ingredient, bakers_percent=line.bakers_percent, flour=line.flour)
        for line in table.line
    ]
    try:
        return checked(table.name, lines, method=table.method)
    except InputError as wrong:
        problems.append(Problem(what=wrong.what, try_this=wrong.try_this, table="formula", key="line"))
        return None


def load_formula(path: str | Path) -> BakersFormula:
    """A formula in a file of its own: name, method and [[line]] tables, or a [formula] as in a plan."""
    path = Path(path)
    text = _text_of(path)
    document = _parse(text, path.name)
    inline = _inline(document)
    reader = _Reader(document)
    table = reader.table(FormulaTable, document["formula"] if inline else document, "formula" if inline else "")
    formula = _formula(table, reader.problems)
    if formula is None:
        raise as_error(reader.problems, text=text, place=path.name)
    return formula
