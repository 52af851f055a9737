"""What matters most?

Takes the evidence of the families, unranked, and puts it in the order in which
a baker should read it. Sizes and intervals stay numbers; ``analysis.words``
makes the sentences.
"""

from __future__ import annotations

from analysis.results import Matters


def judge(low: float | None, high: float | None, matters: float | None) -> Matters:
    """Does the interval from ``low`` to ``high`` clear the difference that matters?

    Wholly outside (-matters, matters) "yes", wholly inside "no", else "unsure".
    Without ``matters`` an interval that leaves out 0 says "yes" and any other
    "unsure": with no yardstick nothing can be called too small.
    """
    if low is None or high is None:
        return "unsure"
    if matters is None or matters <= 0:
        return "yes" if low > 0 or high < 0 else "unsure"
    if low >= matters or high <= -matters:
        return "yes"
    if -matters < low and high < matters:
        return "no"
    return "unsure"
