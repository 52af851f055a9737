"""What should a baker be told beside the numbers?

Each caution is a key of ``analysis.words.leavening``; whether it is due is decided here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.leavening.activity import TRUSTED_STRENGTH
from analysis.leavening.batter import Amount
from analysis.leavening.substances import SUBSTANCES

if TYPE_CHECKING:
    from analysis.leavening.balance import Balance

# Rough, common practice, no source.
SOAPY_PH, SOUR_PH, ACID_TASTED_PH = 7.8, 5.5, 6.0
WORTH_SAYING = 0.1  # share of the soda or of the acid that is left over


@dataclass(frozen=True, kw_only=True)
class Caution:
    """A key of ``analysis.words.leavening`` and the numbers its sentence needs."""

    key: str
    facts: dict[str, float | str]


def cautions_of(account: Balance, amounts: Sequence[Amount]) -> tuple[Caution, ...]:
    """What is due, the taste first and the limits of the model last."""
    return (*_taste(account), *_limits(account), *_safety(account, amounts), Caution(key="aqueous model", facts={}))


def _taste(account: Balance) -> list[Caution]:
    found: list[Caution] = []
    soda, left, acid_left, ph = account.soda_g, account.soda_left_g, account.acid_left_meq, account.baked.value
    if soda > 0 and left > WORTH_SAYING * soda:
        found.append(Caution(key="soda left", facts={"grams": left, "share": left / soda}))
    if soda > 0 and acid_left > WORTH_SAYING * account.acid_meq and ph < ACID_TASTED_PH:
        found.append(Caution(key="acid left", facts={"meq": acid_left}))
    if soda == 0 and account.gas.available_mmol == 0:
        found.append(Caution(key="no leavener", facts={}))
    if soda > 0 and account.acid_meq == 0:
        found.append(Caution(key="no acid", facts={}))
    if ph > SOAPY_PH and soda > 0:
        # Phosphates and dairy give their last acid only near pH 8: a high pH alone is no soapy crumb.
        found.append(
            Caution(key="alkaline crumb" if left > 0.02 * soda else "high without soda left", facts={"ph": ph})
        )
    if ph < SOUR_PH and soda > 0:
        found.append(Caution(key="sour crumb", facts={"ph": ph}))
    return found


def _limits(account: Balance) -> list[Caution]:
    found: list[Caution] = []
    if account.stretched:
        strong = account.ionic_strength > TRUSTED_STRENGTH
        found.append(
            Caution(key="stretched", facts={"strength": account.ionic_strength})
            if strong
            else Caution(key="solids", facts={})
        )
    rough = [line.ingredient for line in account.lines if line.sureness == "C"]
    if rough:
        found.append(Caution(key="rough figures", facts={"names": ", ".join(rough)}))
    return found


def _safety(account: Balance, amounts: Sequence[Amount]) -> list[Caution]:
    found: list[Caution] = []
    if any(a.what is SUBSTANCES["ammonium bicarbonate"] for a in amounts):
        found.append(Caution(key="ammonia", facts={}))
    if account.gas.available_mmol > 0 or account.soda_g > 0:
        found.append(Caution(key="never close a jar", facts={}))
    return found
