"""How is it said that a substitute is as good, or that this is not known?

"No difference" is never said; "as good, within the margin" only with its interval.
"""

from __future__ import annotations

from analysis.questions import Response
from analysis.results import Finding, ResponseResult
from analysis.words.numbers import half_width, join_words, say_interval, say_number, say_signed, with_unit

OF_IT = " of it"


def say_equivalence(finding: Finding, response: Response, confidence: float) -> str:
    """One pair against the margin."""
    facts, name = finding.facts, response.name
    a, b = facts["a"], facts["b"]
    margin, size = _margin(finding, response), _size(finding, response, confidence)
    if finding.low is None:
        return f"whether {a} is as good as {b} for {name} cannot be judged: nothing is left to judge it against."
    if facts["equivalent"] == "yes":
        return f"{a} is as good as {b} for {name}, within {margin}: {size}."
    if facts["equivalent"] == "no":
        within = margin.removesuffix(OF_IT)
        return f"{a} is not within {within} of {b} for {name}: {size}."  # above or below: the sign of the size says
    return f"this trial cannot tell whether {a} is as good as {b} for {name}, within {margin}: {size}."


def equivalence_headline(result: ResponseResult, confidence: float) -> str:
    """Of all pairs that were asked about, in one clause; "" when none was."""
    found = [finding for finding in result.findings if finding.kind == "equivalence"]
    if not found:
        return ""
    margin = _margin(found[0], result.response)
    if len(found) == 1:
        if found[0].low is not None and found[0].facts["equivalent"] == "unsure":
            return (
                f"this trial cannot tell if {found[0].facts['a']} is as good as {found[0].facts['b']}, within {margin}"
            )
        return say_equivalence(found[0], result.response, confidence).removesuffix(".")
    parts = []
    for verdict, said in (
        ("yes", f"as good for {result.response.name}, within {margin}"),
        ("no", f"not within {margin} for {result.response.name}"),
        ("unsure", "not settled: this trial cannot tell"),
    ):
        pairs = [f"{f.facts['a']} against {f.facts['b']}" for f in found if f.facts["equivalent"] == verdict]
        if pairs:
            more = f" and {len(pairs) - 3} more" if len(pairs) > 3 else ""
            named = f"{', '.join(pairs[:3])}{more}" if more else join_words(pairs)
            parts.append(f"{named}: {said}")
    return "; ".join(parts)


def _margin(finding: Finding, response: Response) -> str:
    low, high = finding.facts["margin_low"], finding.facts["margin_high"]
    if finding.facts["ratio"]:
        return f"{say_number(100 * low)} to {say_number(100 * high)} %{OF_IT}"
    if -low == high:
        return with_unit(say_number(high), response.unit)
    return with_unit(f"{say_signed(low)} to {say_signed(high)}", response.unit)


def _size(finding: Finding, response: Response, confidence: float) -> str:
    inner = 2 * confidence - 1
    size, low, high = finding.size or 0.0, finding.low, finding.high
    if finding.facts["ratio"]:
        size, low, high = 100 * size, low and 100 * low, high and 100 * high
        step = half_width(low, high)
        logs = ", a ratio judged on logarithms" if finding.facts.get("on_logs") else ""
        return f"{say_number(size, step)} % of it ({say_interval(low, high, inner)}){logs}"
    said = with_unit(say_signed(size, half_width(low, high)), response.unit)
    return f"a difference of {said} ({say_interval(low, high, inner)})"
