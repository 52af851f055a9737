"""What does a terminal show?

The same sentences as the report, in the same order, at most 100 columns wide.
"""

from __future__ import annotations

from textwrap import wrap

from analysis.baked import best_beyond
from analysis.dose_results import Curve
from analysis.results import Analysis, NextBakes, ResponseResult
from analysis.words.answers import answer, headlines
from analysis.words.checks import say_check
from analysis.words.contrasts import asked_for
from analysis.words.findings import say_finding
from analysis.words.limits import all_limits
from analysis.words.models import say_left_out
from analysis.words.next_bakes import say_next, say_treatment
from analysis.words.numbers import join_words, say_dose, say_dose_interval, start, true_minus, with_unit
from analysis.words.parts import say_part, title_of

WIDTH = 100
_TREATMENTS = 6  # listed before "and more"


def analysis_text(analysis: Analysis) -> str:
    """Headline, ranked findings, recommended amount, doubtful checks, next bakes, rows left out."""
    parts = [
        "\n".join(map(_wrapped, headlines(analysis))),
        _findings(analysis),
        _amounts(analysis),
        _contrasts(analysis),
    ]
    parts += [*_parts(analysis), _limits(analysis), _checks(analysis), _next(analysis), _rows(analysis)]
    return true_minus("\n\n".join(part for part in parts if part)) + "\n"


def _wrapped(text: str, first: str = "", rest: str | None = None) -> str:
    indent = " " * len(first) if rest is None else rest
    return "\n".join(wrap(text, WIDTH, initial_indent=first, subsequent_indent=indent, break_long_words=False))


def _section(title: str, lines: list[str]) -> str:
    return "\n".join([title, *lines]) if lines else ""


def _findings(analysis: Analysis) -> str:
    responses = {result.response.name: result.response for result in analysis.responses}
    lines = [
        _wrapped(say_finding(f, responses[f.response], analysis.question.confidence), f"{f.rank:>3}. ")
        for f in analysis.findings
    ]
    return _section("What was found, most telling first", lines)


def _limits(analysis: Analysis) -> str:
    return _section("What this does not show", [_wrapped(said, "  - ") for said in all_limits(analysis)])


def _contrasts(analysis: Analysis) -> str:
    found = [asked_for(one, analysis.question) for one in analysis.responses]
    lines = [_wrapped(said, "  - ") for sentences in found for said in sentences]
    return _section("What was asked for besides", lines)


def _amounts(analysis: Analysis) -> str:
    lines = []
    for result in (one for one in analysis.responses if answer(one) == "mattered"):
        dose = result.family.dose
        for curve in dose.curves if dose else ():
            if dose and curve.recommended:
                lines.append(_wrapped(_amount(analysis, result, dose.dose, curve), "  - "))
    return _section("Recommended amount", lines)


def _amount(analysis: Analysis, result: ResponseResult, dose: str, curve: Curve) -> str:
    chosen = curve.recommended
    assert chosen is not None
    unit = next((factor.unit for factor in analysis.question.factors if factor.name == dose), "")
    level = f" with {curve.level}" if curve.level is not None else ""
    least, most = (say_dose(value, chosen.low, chosen.high) for value in (chosen.dose, chosen.as_good_to))
    interval = say_dose_interval(chosen.low, chosen.high, analysis.question.confidence)
    same = f"; up to {with_unit(most, unit)} does as well" if most != least else ""
    edge = " The best may lie beyond what was baked." if best_beyond(curve) else ""
    taken = "" if result.response.goal else f" A higher {result.response.name} was taken as better."
    return (
        f"{with_unit(least, unit)} of {dose}{level} for {result.response.name}{f' ({interval})' if interval else ''}"
        f"{same}.{edge}{taken}"
    )


def _parts(analysis: Analysis) -> list[str]:
    """One block for each kind of further part; sentences of several responses stand together."""
    lines: dict[str, list[str]] = {}
    for part in analysis.parts:
        lines.setdefault(title_of(part), []).extend(say_part(part, analysis, analysis.question))
    for result in analysis.responses:
        for part in result.family.parts:
            lines.setdefault(title_of(part), []).extend(say_part(part, result, analysis.question))
    return [_section(title, [_wrapped(said, "  - ") for said in sentences]) for title, sentences in lines.items()]


def _checks(analysis: Analysis) -> str:
    concerned: dict[tuple[str, str], list[str]] = {}
    for result in analysis.responses:
        for check in result.checks:
            if check.verdict != "fine":
                concerned.setdefault((check.verdict, say_check(check)), []).append(result.response.name)
    everywhere = len(analysis.responses)
    lines = [
        _wrapped(f"{start(verdict)}{'' if len(names) == everywhere else f' ({join_words(names)})'}: {said}", "  - ")
        for (verdict, said), names in concerned.items()
    ]
    return _section("Look at this before relying on it", lines)


def _next(analysis: Analysis) -> str:
    lines: dict[str, None] = {}
    for result in analysis.responses:
        for bakes in result.next_bakes:
            lines["\n".join([_wrapped(say_next(bakes, analysis.question), "  - "), *_treatments(bakes, analysis)])] = (
                None
            )
    return _section("Next bakes", list(lines))


def _treatments(bakes: NextBakes, analysis: Analysis) -> list[str]:
    said = [_wrapped(say_treatment(one, analysis.question), "      ") for one in bakes.treatments[:_TREATMENTS]]
    more = len(bakes.treatments) - _TREATMENTS
    return [*said, f"      and {more} more"] if more > 0 else said


def _rows(analysis: Analysis) -> str:
    counted = f"{analysis.rows_used} of {analysis.rows_read} rows were used."
    return _wrapped(f"{counted} {say_left_out(analysis.left_out)}" if analysis.left_out else counted)
