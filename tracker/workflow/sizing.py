"""How many bakes does it take? From what is typed, or from the responses of a plan file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.errors import PlanError
from tracker.errors import UsageError
from tracker.intake.plan_file import load_plan
from tracker.intake.spreadsheet import nearest
from tracker.workflow.files import write_whole
from tracker.workflow.requests import design_request

if TYPE_CHECKING:
    from analysis.sizes.answers import SizeAnswer

SIZE_SCHEMA = "1.0"
MOST_REPLICATES = 8


@dataclass(frozen=True, kw_only=True)
class Sized:
    """An answer with the words it is told in."""

    answer: SizeAnswer
    unit: str = ""
    response: str = ""

    def summary(self) -> str:
        from analysis.words.sizes import say_size, size_table

        table = size_table(self.answer, unit=self.unit)
        return "\n".join([say_size(self.answer, unit=self.unit, response=self.response), *table])

    def to_json(self) -> dict[str, Any]:
        from analysis.words.sizes import say_size

        words = say_size(self.answer, unit=self.unit, response=self.response)
        told = {"unit": self.unit or None, "response": self.response or None, "words": words}
        return {"schema_version": SIZE_SCHEMA, **told, **self.answer.to_json()}


@dataclass(frozen=True, kw_only=True)
class PlanSize:
    """One size of a plan: replicates, runs, and for each response and term the half-width and the power."""

    replicates: int
    runs: int
    df_error: int
    half_widths: dict[str, Any]
    power: dict[str, Any]


@dataclass(frozen=True, kw_only=True)
class SizedPlan:
    """A plan at several numbers of replicates."""

    title: str
    sizes: tuple[PlanSize, ...]
    units: dict[str, str]

    def summary(self) -> str:
        lines = [f"{self.title}: how surely would it answer?"]
        for size in self.sizes:
            lines.append(f"  {size.replicates} replicate(s), {size.runs} runs, {size.df_error} error df")
            for response, widths in size.half_widths.items():
                power = size.power.get(response) or {}
                told = [
                    f"{term.replace(':', ' with ')} ± {width:.2g} {self.units.get(response, '')}".rstrip()
                    + (f" (seen in {_hundred(power[term])} of 100)" if term in power else "")
                    for term, width in (widths or {}).items()
                ]
                lines.append(f"    {response}: {', '.join(told) or 'the plan says no spread'}")
        return "\n".join(lines)

    def to_json(self) -> dict[str, Any]:
        sizes = [size.__dict__ for size in self.sizes]
        return {"schema_version": SIZE_SCHEMA, "title": self.title, "sizes": sizes}


def _hundred(power: float) -> str:
    from analysis.words.sizes import say_chances

    return say_chances(power)


def size_of(what: str, *, unit: str = "", response: str = "", **asked: Any) -> Sized:
    """Answer one question. Raises UsageError for an unknown question, PlanError and NotPossible of the sizes."""
    from analysis.sizes.answers import answer
    from analysis.sizes.asking import KINDS, SizeQuestion

    if what not in KINDS:
        near = nearest(what, list(KINDS)) or "means"
        raise UsageError(f'"{what}" is no question of size.', where="--what", try_this=f"--what {near}")
    return Sized(answer=answer(SizeQuestion(what=what, **asked)), unit=unit, response=response)


def size_of_plan(plan: str | Path, *, most: int = MOST_REPLICATES) -> SizedPlan:
    """The plan at one replicate and more, up to ``most``; sizes that cannot be laid out are left out.

    Raises PlanError with the reason when none can.
    """
    from analysis.designs.plan import lay_out

    read = load_plan(plan)
    request = replace(design_request(read, None), seed=1, accept_few_df=True)
    sizes, problem = [], None
    counts: Sequence[int] = [1] if request.kind == "optimal" else range(1, most + 1)
    for replicates in counts:
        try:
            laid = lay_out(
                replace(request, replicates=replicates, whole_plots=None if replicates > 1 else request.whole_plots)
            )
        except PlanError as wrong:
            problem = problem or wrong
            continue
        judged = laid.design.judgement
        sizes.append(
            PlanSize(
                replicates=replicates,
                runs=laid.design.n_runs,
                df_error=judged.df_error,
                half_widths={name: dict(widths) if widths else None for name, widths in judged.half_widths.items()},
                power={name: dict(chances) if chances else None for name, chances in judged.power.items()},
            )
        )
    if not sizes:
        assert problem is not None
        raise problem
    return SizedPlan(title=read.title, sizes=tuple(sizes), units={each.name: each.unit for each in read.responses})


def write_picture(sized: Sized, path: str | Path) -> Path:
    """The curve of bakes against what can be seen, as SVG."""
    from reports.figures.sizes import draw_size

    return write_whole(path, draw_size(sized.answer, unit=sized.unit).svg)
