"""Do products keep what they have to meet, and what the trial they came from promised?"""

from __future__ import annotations

import math

import pandas as pd
import pytest
from sqlmodel import select

from tracker.errors import Conflict, InputError, NotFound, TrackerError, UsageError
from tracker.fingerprints import content_hash, product_hash
from tracker.intake.specification_text import SpecificationAsked, read_specification
from tracker.models import Expectation, LoggedResponse, Specification
from tracker.store import open_kitchen
from tracker.workflow.analysing import analyse_trial
from tracker.workflow.batch_reporting import report_batches
from tracker.workflow.batches import list_batches
from tracker.workflow.charting import chart_product
from tracker.workflow.correcting_batches import Mended, correct_batch
from tracker.workflow.dispositions import decide
from tracker.workflow.lots import add_lot
from tracker.workflow.phases import freeze_limits
from tracker.workflow.products import add_product, list_products, show_product, specify
from tracker.workflow.quick_entry import log_batch
from tracker.workflow.recording import record_run
from tracker.workflow.verifying import verify_record


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        ("rise height:lower=40,upper=48,target=44,unit=mm", (40.0, 48.0, 44.0, "mm")),
        ("rise height:lower=40,5,upper=48", (40.5, 48.0, None, None)),
        ("rise height: upper = 48 , unit = mm", (None, 48.0, None, "mm")),
        ("rise height", (None, None, None, None)),
        ("a:b:lower=1", (1.0, None, None, None)),
    ],
)
def test_a_specification_is_read(text, asked):
    read = read_specification(text)
    assert (read.lower, read.upper, read.target, read.unit) == asked
    assert read.name == text[: text.rindex(":")] if "=" in text else read == SpecificationAsked(name=text)


@pytest.mark.parametrize(
    ("text", "error", "way_out"),
    [
        ("rise:lower=48,upper=40", InputError, '"rise:lower=40,upper=48"'),
        ("rise:lower=40,upper=40", InputError, "if they were swapped"),
        ("rise:lower=40,target=39", InputError, "a target between"),
        ("rise:lower=high", InputError, "42.5"),
        ("rise:lowr=40", UsageError, "lower="),
        ("rise:lower=1,lower=2", UsageError, "say it once"),
        (":lower=1", UsageError, "rise height"),
        ("rise=40", UsageError, "rise height"),
    ],
)
def test_a_specification_that_cannot_be_is_refused_with_the_way_out(text, error, way_out):
    with pytest.raises(error) as told:
        read_specification(text)
    assert way_out in told.value.try_this


def test_a_product_has_versions_of_its_specification(store):
    view = add_product(store, "scones", specs=["rise height:lower=40,upper=48,unit=mm"], responses=["crumb pH"])
    rise, ph = view.responses
    assert (rise.line.stands_for, ph.line.stands_for) == ("rise", "pH")
    assert len(view.notices) == 2
    assert "Rise height is taken for rise" in view.notices[0]
    assert (rise.version, ph.version) == (1, 0)
    with pytest.raises(InputError, match=r"has a specification \(version 1\); another one needs a reason"):
        specify(store, "scones", ["rise height:lower=41,upper=48"])
    view = specify(store, "scones", ["rise height:lower=41,upper=48"], reason="agreed anew")
    assert view.responses[0].version == 2
    assert view.responses[0].specification.lower == 41.0
    specify(store, "scones", ["rise height:lower=41,upper=48"])  # the same again is no new version
    with store.read() as session:
        rows = session.exec(select(Specification).order_by(Specification.id)).all()
    assert [(row.version, row.lower, row.reason) for row in rows] == [(1, 40.0, ""), (2, 41.0, "agreed anew")]
    assert [product.name for product in list_products(store)] == ["scones"]
    assert verify_record(store)


def test_what_a_response_stands_for_is_an_entry_with_a_reason(store):
    add_product(store, "scones", responses=["foam:unit=ml"])
    with pytest.raises(InputError, match="another entry needs a reason"):
        specify(store, "scones", ["foam:stands-for=gas"])
    view = specify(store, "scones", ["foam:stands-for=gas"], reason="it is a gas test")
    assert view.responses[0].line.stands_for == "gas"
    with store.read() as session:
        old, new = session.exec(select(LoggedResponse).order_by(LoggedResponse.id)).all()
    assert (old.stands_for, new.stands_for, new.replaces_id) == ("", "gas", old.id)


@pytest.mark.parametrize(
    ("how", "error", "said"),
    [
        ({"name": " "}, InputError, "needs a name"),
        ({"name": "scones"}, Conflict, "already"),
        ({"formula": "hut loaf"}, NotFound, "no formula"),
        ({"trial": "soda"}, NotFound, "no trial"),
        ({"settings": ["soda=1"]}, InputError, "none was named"),
        ({"responses": ["x:stands-for=luck"]}, InputError, "no stands-for"),
        ({"responses": ["x:scale=stars"]}, InputError, "no scale"),
        ({"specs": ["x:lower=2,upper=1"]}, InputError, "not below"),
    ],
)
def test_a_product_that_cannot_be_is_refused_whole(lite, how, error, said):
    add_product(lite, "scones")
    before = verify_record(lite).entries
    with pytest.raises(error, match=said) as told:
        add_product(lite, **({"name": "muffins"} | how))
    assert isinstance(told.value, TrackerError)
    assert told.value.try_this
    assert verify_record(lite).entries == before


@pytest.fixture
def baked(soda):
    """The trial "soda" baked: rise 40 mm and 4 mm for each 0.5 % of soda, 2 mm less with lemon juice."""
    noise = (0.3, -0.4, 0.2, -0.1, 0.4, -0.3, 0.1, -0.2)
    for place in range(1, 9):
        rise = 40 + 4 * ((place - 1) % 4) - 2 * (place // 5) + noise[place - 1]
        record_run(soda, "soda", str(100 + place), [f"rise height={rise:.1f}"])
    return soda


def test_the_trial_s_prediction_at_its_best_is_the_first_expectation(baked):
    view = add_product(baked, "soda loaf", trial="soda")
    (result,) = analyse_trial(baked, "soda", responses=["rise height"]).analysis.responses
    predictor = result.family.predictor
    with baked.read() as session:
        (row,) = session.exec(select(Expectation)).all()
    import json

    settings = json.loads(row.settings)
    assert settings["acid source"] == "yogurt"
    assert 1.5 < settings["soda"] <= 2  # the smallest dose within 3 mm, the difference that matters, of the best
    frame = pd.DataFrame([settings])
    assert row.mean == pytest.approx(float(predictor.mean(frame)[0]), rel=1e-12)
    assert row.sd == pytest.approx(math.hypot(predictor.sd, float(predictor.se(frame)[0])), rel=1e-12)
    assert row.content_hash == content_hash(baked, "soda")
    assert view.trial == "soda"
    assert view.responses[0].expected.mean == row.mean
    assert view.notices[0].startswith('The first expectations are those of the trial "soda" at ')
    assert verify_record(baked)


def test_expected_limits_hold_until_twenty_batches_exist(baked):
    add_product(baked, "soda loaf", trial="soda", settings=["soda=2", "acid source=yogurt"])
    with baked.read() as session:
        (row,) = session.exec(select(Expectation)).all()
    assert row.mean == pytest.approx(52, abs=1)
    for place in range(1, 23):
        reading = f"rise height={52 + (0.3, -0.2, 0.1, -0.3, 0.2)[place % 5]:.1f}"
        said = log_batch(baked, "soda loaf", str(place), at=f"2026-03-{place:02}", readings=[reading]).verdicts[0]
        assert said.as_expected is True
        assert said.provisional is (place <= 20)
        assert ('Limits expected from the trial "soda", until 20 batches exist.' in said.limits_words) == (place <= 20)
    assert "(Limits not frozen yet, from the 21 batches before it; they may be frozen.)" in said.limits_words
    far = log_batch(baked, "soda loaf", "23", at="2026-03-23", readings=["rise height=30"]).verdicts[0]
    assert far.as_expected is False


def test_a_promise_is_held_against_the_first_batch(baked):
    add_product(baked, "soda loaf", trial="soda", settings=["soda=2", "acid source=yogurt"])
    said = log_batch(baked, "soda loaf", "1", at="2026-03-01", readings=["rise height=30"]).verdicts[0]
    assert said.as_expected is False
    assert "below the lower limit" in said.limits_words


def test_charts_of_a_young_product_stand_on_the_promise_too(baked):
    """What ``batch log`` says of a batch, ``batch chart`` and ``batch report`` say as well; from 20 batches on not."""
    add_product(baked, "soda loaf", trial="soda", settings=["soda=2", "acid source=yogurt"])
    promised = show_product(baked, "soda loaf").responses[0].expected
    for number in range(1, 5):
        log_batch(baked, "soda loaf", str(number), at=f"2026-03-0{number}", readings=[f"rise height={29 + number}, 30"])
    level, _, within = chart_product(baked, "soda loaf", responses=["rise height"]).charted[0].charts
    assert level.limits.centre == pytest.approx(promised.mean)
    assert level.limits.upper == pytest.approx(promised.mean + 3 * promised.sd)
    assert (level.limits.method, level.cautions[0], within.cautions) == (
        "expected",
        "promised",
        ("no spread promised",),
    )
    assert {alarm.batch for alarm in level.alarms} == {"1", "2", "3", "4"}
    assert len(report_batches(baked, "soda loaf").told.alarms) == 1  # one run
    for number in range(5, 21):
        log_batch(baked, "soda loaf", str(number), at=f"2026-03-{number:02d}", readings=["rise height=30, 31"])
    level = chart_product(baked, "soda loaf", responses=["rise height"]).charted[0].charts[0]
    assert level.limits.method != "expected"


@pytest.mark.parametrize(
    ("settings", "error", "said"),
    [
        (["soda=2"], InputError, "leave acid source open"),
        (["sodda=2"], NotFound, "sets no factor"),
        (["soda=2", "acid source=vinegar"], NotFound, "was never"),
        (["soda=much", "acid source=yogurt"], InputError, "text in a number"),
    ],
)
def test_settings_that_do_not_fit_are_said(baked, settings, error, said):
    with pytest.raises(error, match=said) as told:
        add_product(baked, "soda loaf", trial="soda", settings=settings)
    assert "--setting" in told.value.try_this or told.value.where


def test_a_trial_without_readings_promises_nothing_and_says_so(soda):
    view = add_product(soda, "soda loaf", trial="soda")
    assert view.notices[0].startswith('The trial "soda" promises nothing yet')
    assert [each.line.name for each in view.responses] == ["rise height", "crumb score", "split crust"]
    assert all(each.expected is None for each in view.responses)


def test_the_hash_of_a_log_is_that_of_its_content(store, sqlite_template, tmp_path, log_scones):
    """The same on another database with other row numbers; another after each kind of entry."""
    import shutil

    path = tmp_path / "other.db"
    shutil.copyfile(sqlite_template, path)

    def fill(kitchen):
        log_scones(kitchen, 12)
        specify(kitchen, "scones", ["rise height:lower=40,upper=48"])

    fill(store)
    with open_kitchen(str(path)) as other:
        add_product(other, "muffins", responses=["x"])
        log_batch(other, "muffins", "1", readings=["x=1"])
        fill(other)
        assert product_hash(other, "scones") == product_hash(store, "scones")
    seen = [product_hash(store, "scones")]
    for deed in (
        lambda: specify(store, "scones", ["rise height:lower=41,upper=48"], reason="agreed anew"),
        lambda: log_batch(store, "scones", "x", at="2026-06-01", readings=["rise height=43"]),
        lambda: correct_batch(store, "scones", "x", Mended(oven="lower"), reason="why"),
        lambda: add_lot(store, "flour=F-1", opened="2026-03-01"),
        lambda: freeze_limits(store, "scones", None, last="B012", kind="individuals", reason="why"),
        lambda: decide(store, "scones", "x", "accept", reason="why"),
        lambda: correct_batch(store, "scones", "x", Mended(void=True), reason="why"),
    ):
        deed()
        seen.append(product_hash(store, "scones"))
        assert len(set(seen)) == len(seen)
    assert len(list_batches(store, "scones")) == 12
    assert show_product(store, "scones").batches == 12
