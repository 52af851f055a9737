"""Is every sentence on batches, charts, measuring, pooled trials and an account made from its record alone?

Made again from the JSON of the same record, read back as a machine reads it; what only a page says is asked of
``analysis.words`` again, with numbers that are counted here anew.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from itertools import product
from typing import Any

from trust_holding import texts_of

from analysis.control.expected import expected_alarms
from analysis.control.gauge.results import GaugeAnswer
from analysis.control.gauge.serialise import gauge_json
from analysis.control.results import Chart, CountSeries
from analysis.control.serialise import chart_json
from analysis.control.why_json import why_json
from analysis.leavening.balance import Balance
from analysis.leavening.serialise import balance_json
from analysis.leavening.substances import SUBSTANCES
from analysis.pooling.results import Pooling
from analysis.pooling.serialise import pooling_json
from analysis.words import balances, batch_pages, gauge_pages, headings
from analysis.words.control import each_alarm, say_alarms, say_more
from reports.charts import ChartsTold
from reports.html import plain
from reports.products import ProductsTold
from reports.sections.batches import BatchesTold, ResponseTold


def texts(document: Any) -> Iterator[str]:
    """Every text of a published document."""
    yield from texts_of(json.loads(json.dumps(document)))


def of_charts(charts: tuple[Chart, ...]) -> Iterator[str]:
    yield from texts(chart_json([charts]))
    for chart in charts:
        yield from (*say_more(chart), *say_alarms(chart), *each_alarm(chart))


def of_period(told: BatchesTold, response: ResponseTold) -> Iterator[str]:
    """The verdict on the batches of the page, with batches and alarms counted here; all its forms."""
    series, charts = response.series, response.charts
    own = [batch for batch in told.batches if batch in series.batches]
    loud = sum(
        any(point.batch == batch and point.alarms for chart in charts for point in chart.points) for batch in own
    )
    runs = expected_alarms(charts, len(own), told.rules)
    for changed, expected in product((True, False), (None, runs)):
        first = charts[0].limits
        said = {"provisional": first.provisional and not first.frozen, "limits": first.upper is not None}
        yield batch_pages.say_of_period(series.response, len(own), loud, expected=expected, changed=changed, **said)
    yield batch_pages.say_alarmed(series.response, loud, len(own))
    yield batch_pages.say_freeze(series.response)
    limits = response.specification
    if limits is not None and not isinstance(series, CountSeries):
        pairs = zip(series.batches, series.values, strict=True)
        values = [value for batch, each in pairs if batch in own for value in each]
        missed = sum(value < limits.lower or value > limits.upper for value in values)
        yield batch_pages.say_outside(series.response, series.unit, missed, len(values), limits)
        yield batch_pages.say_missed(series.response, missed, len(values))


def of_batches(told: BatchesTold) -> Iterator[str]:
    for response in told.responses:
        yield from of_charts(response.charts)
        yield from of_period(told, response)
        yield from response.capability
        if response.why is not None:
            document = why_json(response.why, source="")
            yield from texts(document)
            for change in document["changes"]:  # what chemistry says is one text in the document, two on the page
                yield from (part for part in re.split(r"(?<=\.) (?=[A-Z])", change["chemistry"]["words"]))
    waiting = [alarm for alarm in told.alarms if alarm.open]
    named = list(dict.fromkeys(alarm.batch for alarm in waiting))
    open_ = sum(alarm.count for alarm in waiting)
    yield batch_pages.say_open_alarms(open_, named) if named else ""
    yield batch_pages.say_unanswered(open_)
    yield batch_pages.say_held([row[0] for row in told.decisions if row[1] == "hold"])
    yield batch_pages.say_how_judged(told.rules, max(len(response.series.batches) for response in told.responses))
    yield from (batch_pages.say_go_on(), batch_pages.NO_ALARM)


def of_measuring(answer: GaugeAnswer) -> Iterator[str]:
    document = gauge_json(answer)
    yield from texts(document)
    yield from (f"{check['verdict'].capitalize()}: {check['words']}" for check in document["checks"])
    yield from (gauge_pages.SHARES, gauge_pages.say_left_out_readings(answer), gauge_pages.say_ranges(answer))


def of_account(account: Balance) -> Iterator[str]:
    yield from texts(balance_json(account))
    yield balances.say_balance_answer(account)
    yield from balances.say_way_to_neutral(account, SUBSTANCES["cream of tartar"].neutralising_value)
    yield from (balances.METHOD, balances.WATERY)


def of_pool(pooling: Pooling) -> Iterator[str]:
    yield from texts(pooling_json(pooling))
    yield headings.POOLING_METHOD


def made_again(record: Any) -> Iterator[str]:
    match record:
        case BatchesTold():
            yield from of_batches(record)
        case ProductsTold(products=parts):
            yield from (batch_pages.say_products(len(parts), eyes) for eyes in (1, 2))
            yield from (text for part in parts for text in of_batches(part))
        case ChartsTold():
            yield from (*of_charts(record.charts), *record.beside)
        case GaugeAnswer():
            yield from of_measuring(record)
        case Pooling():
            yield from of_pool(record)
        case Balance():
            yield from of_account(record)
        case tuple():
            yield from (text for part in record for text in made_again(part))


def sentences(sections: Sequence[Any]) -> list[str]:
    blocks = [block for section in sections for block in section.blocks]
    items = [item for block in blocks if block.kind == "items" for item in block.items]
    return [block.text for block in blocks if block.kind == "words"] + items


def strangers(said: Sequence[str], record: Any) -> list[str]:
    """The sentences that the record does not give."""
    known = {plain(text) for text in made_again(record) if text}
    return [text for text in said if plain(text) not in known]


def test_every_sentence_of_a_page_is_made_again_from_its_record(other_pages, others_made):
    found = {name: strangers(sentences(others_made[name].sections), page.record) for name, page in other_pages.items()}
    assert {name: left for name, left in found.items() if left} == {}


def test_a_sentence_with_another_number_is_a_stranger(other_pages, others_made):
    """Every sentence with a number, with its last digit changed; one in a hundred may be true of another batch."""
    tried = caught = 0
    for name, page in other_pages.items():
        said = [(text, re.search(r"\d(?=\D*$)", text)) for text in sentences(others_made[name].sections)]
        wrong = [f"{text[: at.start()]}{(int(at[0]) + 1) % 10}{text[at.end() :]}" for text, at in said if at]
        tried += len(wrong)
        caught += len(strangers(wrong, page.record))
    print(f"\n{caught} of {tried} sentences with a wrong digit were named")
    assert tried > 200
    assert caught > 0.99 * tried
