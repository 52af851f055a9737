"""Do pages of batches, charts, gauge studies, pooled trials and accounts show stored numbers, and nothing else?

Held as the pages of trials are in ``test_numbers``: numbers are overheard as they are written, before any rounding.
What a page may work out of its record is declared here, each with its reason.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from trust_holding import Stored, invented, numbers_in, shares_of, unwritten
from trust_other_pages import capable

from analysis.control.expected import expected_alarms
from analysis.control.gauge.results import MEND, SPREADS, STAYS, GaugeAnswer
from analysis.control.limits import FEW
from analysis.control.stability import stability_of
from analysis.leavening.balance import Balance
from analysis.leavening.substances import SUBSTANCES
from analysis.words.batch_pages import HOT
from analysis.words.capability import say_capability
from analysis.words.glossary import GLOSSARY
from reports.charts import ChartsTold
from reports.products import ProductsTold
from reports.sections import batches as parts_of_batches
from reports.sections.batches import BatchesTold, outside

FLOORS = (0.001, 0.99)  # "p < 0.001", "p > 0.99" are said of whatever lies beyond


def counted_in(told: BatchesTold) -> Iterator[float]:
    """How many batches raised an alarm, how many readings lie outside, how many chance gives."""
    yield from range(len(told.batches) + 1)
    for response in told.responses:
        yield from outside(told, response)
        own = len(set(told.batches) & set(response.series.batches))
        yield expected_alarms(response.charts, own, told.rules)


def of_the_gauge(answer: GaugeAnswer) -> Iterator[float]:
    """Six SD of a part; shares beyond the whole in percent; means of a person's readings of one piece."""
    yield from (SPREADS, MEND, 100 * MEND, STAYS)
    for fit in answer.fits:
        yield from (100 * share for one in fit.shares.values() for share in numbers_in(one))
        yield from (sd for one in fit.components.values() for sd in (one.sd, one.sd_low, one.sd_high) if sd is not None)
    cells: dict[tuple[str, str], list[float]] = {}
    for one in answer.plotted:
        cells.setdefault((one.person, one.piece), []).append(one.value)
    yield from (sum(values) / len(values) for values in cells.values())


def of_the_account(account: Balance) -> Iterator[float]:
    """The range of the gas in ml, as its amount in mmol has it; cream of tartar for the soda that is left over."""
    gas = account.gas
    a_mmol = gas.available_ml / gas.available_mmol
    yield from (a_mmol * gas.available_low_mmol, a_mmol * gas.available_high_mmol)
    yield 100 * account.soda_left_g / SUBSTANCES["cream of tartar"].neutralising_value


def of_the_charts(told: ChartsTold) -> Iterator[float]:
    """Runs of alarms that chance gives, said by the verdict on the level."""
    yield stability_of(told.charts).expected


def of_the_change(told: BatchesTold) -> Iterator[float]:
    """What was measured beside fell or rose by a share, said in percent without its sign."""
    whys = (response.why for response in told.responses if response.why is not None)
    moved = (one for why in whys for chemistry in why.chemistry for one in chemistry.moved)
    yield from (100 * each for one in moved for each in (one.share, one.share_low, one.share_high) if each is not None)


def derived(record: Any) -> Iterator[float]:
    match record:
        case BatchesTold():
            yield from (*counted_in(record), *of_the_change(record))
        case GaugeAnswer():
            yield from of_the_gauge(record)
        case ChartsTold():
            yield from of_the_charts(record)
        case Balance():
            yield from of_the_account(record)
        case ProductsTold(products=parts):
            yield from (float(at) for at in range(len(parts) + 1))
            yield from (n for part in parts for n in derived(part))
        case tuple():
            yield from (n for part in record for n in derived(part))


def may_stand(record: Any) -> Stored:
    plain = [*numbers_in(record), *numbers_in([HOT, list(GLOSSARY.values())]), float(FEW)]
    return Stored([*plain, *derived(record), *shares_of(plain), *FLOORS])


def test_every_number_that_is_written_is_a_stored_one(other_pages, others_made):
    found = {name: invented(others_made[name].written, may_stand(page.record)) for name, page in other_pages.items()}
    assert {name: faults for name, faults in found.items() if faults} == {}


def test_every_number_that_is_shown_was_written_or_is_a_stored_one_rounded(other_pages, others_made):
    found = {}
    for name, page in other_pages.items():
        allowed = may_stand(page.record)
        left = unwritten(others_made[name], page.record, allowed)
        found[name] = [one for one in left if not allowed.rounded(one[1])]
    assert {name: faults for name, faults in found.items() if faults} == {}


def test_sentences_on_capability_hold_stored_numbers_only(listening):
    """They are made before the page is, from an answer that no page holds."""
    _, overheard = listening
    answer = capable()
    with overheard() as written:
        said = say_capability(answer)
    stored = [*numbers_in(answer), 3 * answer.index.value]  # the index is a distance in three standard deviations
    assert len(said) >= 2
    assert invented(written, Stored([*stored, *shares_of(stored)])) == []


def test_a_number_that_is_off_by_a_little_is_named(other_pages, others_made):
    """Each written number moved by three parts in a thousand: whole numbers may be met by another count."""
    for name, page in other_pages.items():
        allowed = may_stand(page.record)
        moved = [(1.003 * value + 1e-6, text) for value, text in others_made[name].written]
        assert len(invented(moved, allowed)) > 0.9 * len(moved), name


def test_a_sentence_that_invents_is_named(other_pages, listening, monkeypatch):
    """One sentence on the batches of a month says a hundredth more than chance gives: the page betrays it."""
    undrawn, overheard = listening
    honest = parts_of_batches.say_causes_chemistry

    def boasting(chemistry, change, why):
        return honest(chemistry, replace(change, size=1.01 * change.size), why)

    monkeypatch.setattr(parts_of_batches, "say_causes_chemistry", boasting)
    page = other_pages["with counts"]
    with undrawn(), overheard() as written:
        page.sections()
    assert invented(written, may_stand(page.record)) != []
