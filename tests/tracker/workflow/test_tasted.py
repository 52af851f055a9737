"""Do the taste notes of a trial reach the answer, each bake once?"""

from __future__ import annotations

import json

import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.serialise import analysis_json
from analysis.words import analysis_text
from reports.page import trial_report
from tracker.workflow.tasted import with_tags

SODA = Factor(name="soda", kind="amount", unit="%")


@pytest.fixture
def answer():
    doses = [0.5, 1.0, 1.5, 2.0] * 4
    table = pd.DataFrame({"soda": doses, "rise": [30 + 4 * dose + at % 3 for at, dose in enumerate(doses)]})
    return analyse(table, Question(factors=(SODA,), responses=(Response(name="rise", unit="mm"),), kind="factors"))


def notes():
    rows = [
        {"bake": f"b{at}", "soda": dose, "tags": ["soapy"] if dose > 1.2 else ["mild"], "words": "as it was"}
        for at, dose in enumerate([0.5, 1.0, 1.5, 2.0] * 4)
        for _ in range(2)
    ]
    return pd.DataFrame(rows)


def test_the_words_follow_the_soda_in_text_json_and_report(answer):
    whole = with_tags(answer, notes())
    part = analysis_json(whole)["tags"]
    soapy = next(link for link in part["links"] if link["tag"] == "soapy")
    assert part["bakes"] == 16
    assert soapy["having"] == {"0.5": 0, "1": 0, "1.5": 4, "2": 4}
    assert soapy["direction"] == "more"
    assert soapy["p_adjusted"] < 0.001
    assert json.dumps(part)
    assert '"soapy" was said where there was more soda' in " ".join(analysis_text(whole).split())
    page = trial_report(whole, title="soda", provenance={})
    assert "Taste words and factors" in page


def test_without_notes_nothing_is_added(answer):
    assert with_tags(answer, notes().head(0)) is answer
    assert with_tags(answer, notes().drop(columns="soda")) is answer
    assert analysis_json(answer)["tags"] is None
