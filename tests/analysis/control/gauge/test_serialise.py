"""Does every layout's document fit its schema, and hold no number that JSON has not?"""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import pytest

from analysis.control.gauge.analysing import gauge_study
from analysis.control.gauge.results import GaugeQuestion
from analysis.control.gauge.serialise import gauge_json, schema

HEIGHTS = GaugeQuestion(response="height", unit="mm", person="baker", piece="loaf")

LAYOUTS = {
    "crossed": (lambda f: f, {}),
    "tolerance": (lambda f: f, {"tolerance": 8.0}),
    "nested": (lambda f: f, {"nested": True}),
    "gaps": (lambda f: f.drop(index=[1, 2, 3, 20]), {}),
    "one person": (lambda f: f[f.baker == "Ada"], {}),
    "no repeats": (lambda f: f[f.reading == 1], {}),
    "few": (lambda f: f[f.loaf.isin(["loaf 1", "loaf 2"]) & (f.baker != "Cleo")], {}),
    "odd": (lambda f: f.assign(height=f.height + 9.0 * (f.index == 7)), {}),
    "one baker never scatters": (lambda f: f.assign(height=f.height.where(f.baker != "Ada", f.height.round(-1))), {}),
}


@pytest.mark.parametrize("name", LAYOUTS)
def test_it_fits_the_schema(study, name):
    change, asked = LAYOUTS[name]
    answer = gauge_study(change(study()), replace(HEIGHTS, **asked))
    document = json.loads(json.dumps(gauge_json(answer), allow_nan=False))
    jsonschema.validate(document, schema())
    assert document["verdict"] == answer.verdict
    assert {one["component"] for one in document["components"]} == set(answer.used.components)
    assert [fit["used"] for fit in document["fits"]].count(True) == 1
    assert all(one["words"] for one in (*document["findings"], *document["checks"]))


def test_the_schema_is_one_and_refuses_a_wrong_document(study):
    jsonschema.Draft202012Validator.check_schema(schema())
    document = gauge_json(gauge_study(study(), HEIGHTS))
    for spoilt in ({**document, "verdict": "fine"}, {k: v for k, v in document.items() if k != "judged"}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(spoilt, schema())
