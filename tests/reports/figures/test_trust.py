"""Pictures of trust: one check each, with the finding in the alt text, a table beside, and numbers that follow."""

from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.serialise import analysis_json
from analysis.words import analysis_text
from reports.figures.changes import draw_changes
from reports.figures.picture import LONGEST_ALT
from reports.figures.trust import draw_influence, draw_shape, draw_spread
from reports.page import trial_report


@pytest.fixture(scope="module")
def analysis():
    """Twenty-four bakes with one odd one, a covariate, and an acid that scatters three times as widely."""
    rng = np.random.default_rng(21)
    acid = np.tile(["lemon juice", "yogurt"], 12)
    soda = np.repeat([0.5, 1.0, 1.5], 8)
    warmth = np.round(rng.normal(22, 2, 24), 1)
    rise = 40 + 6 * soda + 0.8 * warmth + rng.normal(0, 1, 24) * np.where(acid == "yogurt", 3, 1)
    rise[4] += 20
    table = pd.DataFrame({"soda": soda, "acid": acid, "warmth": warmth, "rise": np.round(rise, 1)})
    table = table.sample(frac=1, random_state=2).reset_index(drop=True)
    question = Question(
        factors=(Factor(name="soda", kind="amount", unit="%"), Factor(name="acid", kind="category")),
        responses=(Response(name="rise", unit="mm", matters=3.0),),
        kind="factors",
        covariates=("warmth",),
    )
    return analyse(table, question)


@pytest.fixture(scope="module")
def result(analysis):
    return analysis.responses[0]


def check(result, key):
    return next(check for check in result.checks if check.check == key)


def part(result):
    return next(part for part in result.family.parts if part.key == "what_changes")


def drawings(result):
    return {
        "spread": draw_spread(result, check(result, "spread"), key="figure-1", sentence="So it is."),
        "influence": draw_influence(result, check(result, "influence"), key="figure-1", sentence="So it is."),
        "shape": draw_shape(result, key="figure-1", sentence="So it is."),
        "changes": draw_changes(part(result), result, key="figure-1", confidence=0.95),
    }


def test_each_picture_is_whole(result):
    for name, figure in drawings(result).items():
        assert figure is not None, name
        assert ElementTree.fromstring(figure.svg).tag.endswith("svg")
        assert 20 < len(figure.alt) <= LONGEST_ALT
        assert figure.table.rows
        assert all(len(row) == len(figure.table.columns) for row in figure.table.rows)


def test_the_spread_picture_names_the_widest_level(result):
    figure = drawings(result)["spread"]
    widths = {row[0]: float(row[2]) for row in figure.table.rows}
    assert f"most for {max(widths, key=widths.get)}" in figure.alt


def test_the_influence_picture_names_the_bake_that_moves_most(result):
    figure = drawings(result)["influence"]
    assert figure.table.rows[0][0] == check(result, "influence").facts["moves"][0][0]
    assert f"Bake {figure.table.rows[0][0]} moves most" in figure.alt


def test_the_table_of_changes_holds_every_finding_of_every_change(result):
    figure = drawings(result)["changes"]
    assert len(figure.table.rows) == sum(len(change.findings) for change in part(result).changes)
    assert {change.what for change in part(result).changes} >= {"bake", "covariate"}


def test_pictures_follow_the_stored_numbers(result):
    one = part(result).changes[0]
    far = {"size_then": 177.7, "low_then": 170.0, "high_then": 185.4}
    moved = tuple(replace(finding, **far) for finding in one.findings)
    changed = replace(part(result), changes=(replace(one, findings=moved),))
    figure = draw_changes(changed, result, key="figure-1", confidence=0.95)
    before = draw_changes(replace(part(result), changes=(one,)), result, key="figure-1", confidence=0.95)
    assert figure.svg != before.svg
    assert figure.alt != before.alt
    assert figure.table != before.table


def test_nothing_is_drawn_of_too_few_bakes(result):
    few = replace(result, family=replace(result.family, points=result.family.points[:2]))
    assert draw_shape(few, key="figure-1", sentence="") is None
    assert draw_spread(few, check(result, "spread"), key="figure-1", sentence="") is None


def test_text_json_and_page_say_what_would_change(analysis, result):
    said = analysis_json(analysis)["responses"][0]["what_changes"]["words"]
    odd = check(result, "odd bakes").facts["bakes"][0]
    assert any(sentence.startswith(f"Without bake {odd}, ") for sentence in said)
    assert "What would change the answer" in analysis_text(analysis)
    page = trial_report(analysis, title="Rise", provenance={})
    assert all(sentence.split(":")[0] in page for sentence in said if "'" not in sentence and "-" not in sentence)
    assert "What was measured beside" in page
