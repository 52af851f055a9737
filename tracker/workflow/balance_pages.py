"""Where does the acid-base account of amounts go when it leaves as a page?"""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.leavening.gas import STANDARD_KPA
from tracker.workflow.files import write_whole
from tracker.workflow.provenance import as_words, versions
from tracker.workflow.reporting import Look, in_its_format, require_page

if TYPE_CHECKING:
    from analysis.leavening.balance import Balance
    from analysis.leavening.batter import Amount
    from analysis.leavening.curve import TitrationCurve
    from tracker.workflow.reporting import Paper

ROOM = 1.3  # the picture reaches so far beyond the soda that is in it


def write_balance(
    path: str | Path,
    account: Balance,
    amounts: Sequence[Amount],
    *,
    command: Sequence[str],
    title: str,
    left_out: tuple[str, ...] = (),
    invented: bool = False,
    celsius: float = 25.0,
    kilopascal: float = STANDARD_KPA,
    look: Look | None = None,
    paper: Paper = "A4",
) -> Path:
    """The account as one HTML or PDF file, whole or not at all; ``command`` is told as it would be typed again.

    Raises UsageError (an ending that is neither), InputError (cannot be written), NotPossible (no PDF here).
    """
    from reports.balance import balance_report

    path, look = Path(path), look or Look()
    require_page(path, option="--report")
    with look.writing():
        page = balance_report(
            account,
            title=title,
            question="How much gas is there, what is left over, and where does the pH land?",
            provenance=as_words({"command": shlex.join([*command, *look.said()]), "versions": versions()}),
            curve=_curve(account, amounts, celsius, kilopascal),
            left_out=left_out,
            invented=invented,
        )
    return write_whole(path, in_its_format(page, path, paper))


def _curve(account: Balance, amounts: Sequence[Amount], celsius: float, kilopascal: float) -> TitrationCurve | None:
    """pH over soda as far as to the dose that is in it; None without anything that gives or takes."""
    from analysis.leavening.curve import titration_curve

    neutral = account.neutral_soda.by_equivalence_g
    most = max(2 * neutral, ROOM * account.soda_g)
    return titration_curve(amounts, most_g=most, celsius=celsius, kilopascal=kilopascal) if most > 0 else None
