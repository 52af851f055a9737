"""Where does the acid-base account of amounts go when it leaves as a page?"""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.leavening.gas import STANDARD_KPA
from tracker.workflow.files import write_whole
from tracker.workflow.provenance import as_words, versions

if TYPE_CHECKING:
    from analysis.leavening.balance import Balance
    from analysis.leavening.batter import Amount
    from analysis.leavening.curve import TitrationCurve

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
) -> Path:
    """The account as one HTML file, whole or not at all."""
    from reports.balance import balance_report

    page = balance_report(
        account,
        title=title,
        question="How much gas is there, what is left over, and where does the pH land?",
        provenance=as_words({"command": shlex.join(command), "versions": versions()}),
        curve=_curve(account, amounts, celsius, kilopascal),
        left_out=left_out,
        invented=invented,
    )
    return write_whole(path, page)


def _curve(account: Balance, amounts: Sequence[Amount], celsius: float, kilopascal: float) -> TitrationCurve | None:
    """pH over soda as far as to the dose that is in it; None without anything that gives or takes."""
    from analysis.leavening.curve import titration_curve

    neutral = account.neutral_soda.by_equivalence_g
    most = max(2 * neutral, ROOM * account.soda_g)
    return titration_curve(amounts, most_g=most, celsius=celsius, kilopascal=kilopascal) if most > 0 else None
