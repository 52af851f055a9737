"""How is a change on the scale of logarithms said: by how much per cent?"""

from __future__ import annotations

from analysis.results import Finding
from analysis.words.numbers import half_width, say_interval, say_number


def as_ratio(finding: Finding, confidence: float) -> str:
    """ ", that is 12 % higher (95 % interval 3 to 22)"; "" where the response was not analysed as logarithms."""
    found = finding.facts.get("ratio")
    if not found or found[0] is None:
        return ""
    size, low, high = (None if value is None else 100 * (value - 1) for value in found)
    if size is None:
        return ""
    if size < 0:
        size, low, high = -size, None if high is None else -high, None if low is None else -low
        word = "lower"
    else:
        word = "higher"
    step = half_width(low, high)
    interval = f" ({say_interval(low, high, confidence)} %)" if low is not None and high is not None else ""
    return f", that is {say_number(size, step)} % {word}{interval}"
