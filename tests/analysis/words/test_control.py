"""Do sentences on charts say what the charts hold, in batches and units, and no rule by a number?"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from analysis.control.charts import chart_batches
from analysis.control.limits import FEW
from analysis.control.results import BatchSeries, CountSeries, Phase
from analysis.control.rule_costs import cost_of
from analysis.control.rules import DEFAULT, RULES
from analysis.control.variables import limits_of
from analysis.results import LeftOut
from analysis.words.control import (
    chart_title,
    charts_text,
    say_alarm,
    say_alarms,
    say_caution,
    say_false_alarms,
    say_limits,
    say_more,
    say_next_step,
    say_rows_left_out,
    say_rule,
    say_stability,
)
from analysis.words.numbers import writing


def series(values):
    return BatchSeries(
        response="rise height",
        unit="mm",
        batches=tuple(f"B-{n}" for n in range(1, len(values) + 1)),
        values=tuple((float(value),) for value in values),
    )


CALM = [43.0 + (n * 7 % 11 - 5) / 5 for n in range(30)]


@pytest.fixture
def judged():
    """Thirty calm batches frozen, then ten a little low, one far too high and one far too low."""
    log = series([*CALM, *[42.6 - 0.01 * n for n in range(10)], 60.0, 20.5])
    frozen = replace(
        limits_of(log, kind="individuals", last="B-30"),
        frozen=True,
        author="Ada",
        frozen_at="2026-03-01T08:00:00Z",
        reason="new oven.",
    )
    return chart_batches(log, phases=(Phase(number=2, from_batch="B-31", limits=frozen),), rules=RULES)


def test_alarms_name_batches_values_and_limits(judged):
    said = say_alarms(judged[0])
    upper, lower = (f"{bound:.2f}" for bound in (judged[0].limits.upper, judged[0].limits.lower))
    assert f"B-41: 60.00 mm is above the upper limit of {upper} mm." in said
    assert f"B-42: 20.50 mm is below the lower limit of {lower} mm." in said
    assert "B-38 to B-40: eight batches in a row below the centre, since B-31." in said
    assert "B-36 to B-40: six batches in a row, each lower than the one before, since B-31." in said


def test_a_stable_process_that_misses_its_specification_is_not_told_to_go_on():
    calm = chart_batches(series(CALM))
    assert say_next_step(calm, short=True).startswith("Waiting will not mend it: a stable process goes on as it is.")
    assert "Waiting will not mend it" in charts_text(calm, short=True)
    few = chart_batches(series(CALM[:12]))
    assert say_next_step(few, short=True) == say_next_step(few)


def test_each_alarm_by_itself_has_a_sentence(judged):
    for alarm in judged[0].alarms:
        assert say_alarm(alarm, judged[0]).startswith(f"{alarm.batch}: ")


def test_limits_say_what_they_rest_on_and_since_when_they_hold(judged):
    said = " ".join(say_limits(judged[0]))
    assert "a batch lies between" in said
    assert "moving ranges of 30 batches, B-1 to B-30, frozen by Ada on 2026-03-01: new oven." in said
    assert "These limits hold from batch B-31 on (phase 2); earlier batches stand under theirs." in said


def test_stability_counts_batches_once_and_says_what_to_do(judged):
    batches = {alarm.batch for chart in judged for alarm in chart.alarms}
    assert say_stability(judged).startswith(
        f"Rise height is not stable over 42 batches, B-1 to B-42: {len(batches)} of"
    )
    assert say_next_step(judged) == "Look for what changed with the batches named above."
    calm = chart_batches(series(CALM))
    assert say_stability(calm) == "Rise height is stable over 30 batches, B-1 to B-30: no batch raises an alarm."
    assert "may be frozen" in say_next_step(calm)
    few = chart_batches(series(CALM[:12]))
    assert f"from {FEW} on" in say_next_step(few)
    assert say_stability(few) == (
        "Rise height is stable over 12 batches, B-1 to B-12, as far as so few can tell: no batch raises an alarm."
    )
    assert "rest on 12 batches" in charts_text(few)


def test_a_chart_of_spread_has_an_upper_limit_only_where_nothing_lies_below(judged):
    assert "stays below" in say_limits(judged[1])[0]
    assert chart_title(judged[1]) == "Rise height: step from one batch to the next"


def test_every_caution_of_ours_is_a_sentence(judged):
    for caution in ("few batches", "constant", "coarse", "averaged", "batches differ"):
        said = say_caution(caution, judged[0])
        assert said != caution
        assert said.endswith(".")
        assert "{" not in said


def test_rules_are_named_in_words_never_by_number():
    for rule in RULES:
        assert say_rule(rule).endswith(".")
        assert not re.search(r"\d", say_rule(rule))


def test_the_cost_of_rules_is_told():
    said = say_false_alarms(cost_of(DEFAULT))
    assert "these rules together give a false alarm on the level about once in 153 batches" in said
    assert "within 25 batches in 13 % of cases" in said
    assert "this rule gives" in say_false_alarms(cost_of(("eight on one side",)))


def test_the_reader_s_decimal_mark_holds(judged):
    with writing(decimal=","):
        assert any("60,00 mm" in sentence for sentence in say_alarms(judged[0]))


def test_rows_are_left_out_by_reason():
    out = [LeftOut(row=n, why="no batch") for n in range(1, 14)] + [LeftOut(row=40, why="no reading of pH")]
    assert say_rows_left_out(out) == (
        "Rows 1, 2, 3, 4, 5 and 8 more left out: no batch.",
        "Row 40 left out: no reading of pH.",
    )
    batches = [LeftOut(row="B-1", why="no reading of pH"), LeftOut(row="B-4", why="no reading of pH")]
    assert say_rows_left_out(batches) == ("Batches B-1 and B-4 left out: no reading of pH.",)


def test_text_holds_every_alarm_and_no_missing_number(judged):
    text = charts_text(judged)
    flat = " ".join(text.split())
    for chart in judged:
        for sentence in say_alarms(chart):
            assert sentence in flat.replace("−", "-")
    assert not re.search(r"\bnan\b|\binf\b|None", text)
    assert max(map(len, text.splitlines())) <= 100


def test_neighbours_are_told_together_and_others_apart():
    random = np.random.Generator(np.random.PCG64(8))
    values = [*(43 + 0.3 * random.standard_normal(30)), 50, 50.2, 50.4, 50.6, 43, 36.0]
    frozen = limits_of(series(values), kind="individuals", last="B-30")
    level = chart_batches(series(values), phases=(Phase(number=1, from_batch="B-1", limits=frozen),))[0]
    outside = [sentence for sentence in say_alarms(level) if "limit" in sentence]
    assert len(outside) == 2
    assert outside[0].startswith("B-31 to B-34: 50.0")
    assert "…" in outside[0]
    assert outside[1].startswith("B-36: 36.0")


def test_alike_neighbours_and_lopsided_batches_are_told_with_the_way_to_allow_for_them():
    random = np.random.Generator(np.random.PCG64(12))
    walk, level = [], 0.0
    for step in random.standard_normal(80):
        level = 0.8 * level + step
        walk.append(43 + level)
    alike = chart_batches(series(walk))[0]
    assert "dependent" in alike.cautions
    assert f"correlation {alike.more['lag1']:.2f}" in say_caution("dependent", alike)
    assert "--kind dependent" in say_caution("dependent", alike)
    seesaw = chart_batches(series([43 + (-1) ** n + 0.2 * random.standard_normal() for n in range(60)]))[0]
    assert "unlike" in say_caution("opposed", seesaw)
    assert "opposed" in seesaw.cautions
    lopsided = chart_batches(series(np.exp(0.9 * random.standard_normal(80))))[0]
    assert "skewed" in lopsided.cautions
    assert {"dependent", "opposed", "skewed"}.isdisjoint(
        chart_batches(series(43 + random.standard_normal(80)))[0].cautions
    )
    allowed = chart_batches(series(walk), kind="dependent")[0]
    assert "the limits allow for it. A step or a drift" in say_caution("dependent", allowed)
    assert "ask first what changed (batch why)" in say_caution("dependent", allowed)
    assert "foretold" in say_limits(allowed)[0] or allowed.more["by"] == "widened"


def test_counts_are_told_as_shares_of_their_pieces():
    counted = CountSeries(
        response="cracked",
        batches=tuple(str(n) for n in range(1, 31)),
        counts=tuple(float(3 + n % 3 + (16 if n == 20 else 0)) for n in range(1, 31)),
        sizes=(100.0,) * 30,
    )
    (share,) = chart_batches(counted)
    assert say_alarms(share)[0].startswith("20: 21.0 % is above the upper limit of ")
    assert "binomial chances" in " ".join(say_limits(share))


def test_charts_with_a_memory_tell_what_they_catch_and_since_when():
    log = series([*CALM, *(44.2 + 0.1 * n % 0.7 for n in range(15))])
    (sums,) = chart_batches(log, kind="sums", target=43.0)
    assert "once in 370 batches" in say_more(sums)[0]
    assert "0.5, 1 and 2 standard deviations" in say_more(sums)[0]
    said = say_alarms(sums)[-1]
    assert re.search(r"since B-\d+; the level since then is about 44\.\d+ mm\.$", said)


def test_several_responses_tell_what_drove_the_alarm():
    random = np.random.Generator(np.random.PCG64(6))
    rise = 43 + random.standard_normal(40)
    ph = 7 + 0.1 * (rise - 43) + 0.02 * random.standard_normal(40)
    ph[30] += 0.6
    pair = (series(rise), replace(series(ph), response="crumb pH", unit=""))
    (together,) = chart_batches(pair, kind="several")
    assert say_stability([together]).startswith("Rise height and crumb pH together are not stable over 40 batches")
    assert "; foremost " in say_alarms(together)[0]
    assert "crumb pH" in say_alarms(together)[0]


def test_a_long_log_tells_its_latest_alarms_and_how_many_went_before():
    values = [*CALM, *(60.0 if n % 2 else 43.0 for n in range(80))]
    frozen = limits_of(series(values), kind="individuals", last="B-30")
    charts = chart_batches(series(values), phases=(Phase(number=1, from_batch="B-1", limits=frozen),))
    every = len(say_alarms(charts[0]))
    text = charts_text(charts)
    assert every > 30
    assert f"{every - 15} alarms of earlier batches are not listed here" in text
    assert "B-110: 60.00 mm" in text
    assert "B-32: 60.00 mm" not in text


def test_alarms_that_chance_may_give_are_told_with_what_chance_gives():
    values = np.random.Generator(np.random.PCG64(3)).standard_normal(400) + 43
    charts = chart_batches(series(values))
    raised = {alarm.batch for chart in charts for alarm in chart.alarms}
    said = say_stability(charts)
    assert raised
    assert said.startswith("Rise height is stable over 400 batches, B-1 to B-400, as far as charts can tell:")
    assert f"{len(raised)} of them" in said
    assert "no more than chance gives (6.3 expected)" in said  # 400 / 152.7 on the level, 400 x 0.0092 of steps
    assert "where nothing was wrong with them, the limits may be frozen" in say_next_step(charts)
