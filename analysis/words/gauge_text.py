"""What does a terminal show of a gauge study? The sentences of the report, at most 100 columns wide."""

from __future__ import annotations

from textwrap import wrap

from analysis.control.gauge.results import GaugeAnswer
from analysis.words.checks import say_check
from analysis.words.gauge import LABELS, say_component, say_component_ends, say_gauge_answer, say_gauge_finding
from analysis.words.gauge_pages import (
    PICKED,
    say_layout,
    say_left_out_readings,
    say_methods,
    say_ranges,
    shown_components,
)
from analysis.words.numbers import say_percent, say_share, true_minus

WIDTH = 100
ADDING_UP = "Shares of the spread compare standard deviations, so they add up to more than 100 %."
TOLD_FIRST = ("verdict", "largest part")


def gauge_text(answer: GaugeAnswer) -> str:
    """Headline and what to do, the parts of the spread, what else was found, doubtful checks, how."""
    found = [say_gauge_finding(one, answer) for one in answer.findings if one.kind not in TOLD_FIRST]
    doubtful = [say_check(check) for check in answer.checks if check.verdict != "fine"]
    parts = [
        "\n".join(map(_wrapped, say_gauge_answer(answer))),
        "\n".join([_wrapped(say_layout(answer)), *_components(answer), _wrapped(f"{ADDING_UP} {PICKED}", "  ")]),
        _section("What else was found", found),
        _section("Look at this before relying on it", doubtful),
        _section("How it was worked out", [line for line in (*say_methods(answer), say_ranges(answer)) if line]),
        _wrapped(say_left_out_readings(answer)),
    ]
    return true_minus("\n\n".join(part for part in parts if part)) + "\n"


def _components(answer: GaugeAnswer) -> list[str]:
    used, unit = answer.used, answer.question.unit
    lines = []
    for one in shown_components(answer):
        shares = used.shares[one.key]
        told = [f"{say_percent(shares.of_spread.value)} of the spread"]
        told += [] if shares.of_tolerance is None else [f"{say_percent(shares.of_tolerance.value)} of the tolerance"]
        sd = f"SD {say_component(one, unit)}"
        line = f"  {LABELS[one.key]:<22} {sd:<13} {say_component_ends(one):<16} {', '.join(told)}"
        lines.append(line if len(line) <= WIDTH else _wrapped(" ".join(line.split()), "  "))
    return [f"Parts of the spread ({say_share(answer.question.confidence)} intervals)", *lines]


def _section(title: str, lines: list[str]) -> str:
    return "\n".join([title, *(_wrapped(line, "  - ") for line in lines)]) if lines else ""


def _wrapped(text: str, first: str = "") -> str:
    rest = " " * len(first)
    return "\n".join(wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest, break_long_words=False))
