"""How is a check said?

One sentence or two per check key: what was looked at, what was found, and what it means
for trust. The verdict word stands beside it.
"""

from __future__ import annotations

from collections.abc import Callable

from analysis.results import Check
from analysis.words.bake_checks import BAKE_CHECKS
from analysis.words.facts import Facts
from analysis.words.fit_checks import FIT_CHECKS
from analysis.words.gauge_checks import GAUGE_CHECKS
from analysis.words.numbers import start
from analysis.words.scatter import SCATTER_CHECKS
from analysis.words.scores import SCORE_CHECKS
from analysis.words.trust_checks import TRUST_CHECKS

CHECKS: dict[str, Callable[[Facts, bool], str]] = {
    **BAKE_CHECKS,
    **FIT_CHECKS,
    **SCATTER_CHECKS,
    **TRUST_CHECKS,
    **SCORE_CHECKS,
    **GAUGE_CHECKS,
}


def say_check(check: Check) -> str:
    """One check in words. An unknown key gets a plain sentence, never an error."""
    say = CHECKS.get(check.check, _plain(check.check))
    return start(say(check.facts, check.verdict == "fine"))


def _plain(key: str) -> Callable[[Facts, bool], str]:
    def say(facts: Facts, fine: bool) -> str:
        return f"{key}: {'nothing out of the ordinary' if fine else 'look at this before relying on the answer'}."

    return say
