"""The analysis document follows its schema and holds nothing a JSON reader would choke on."""

import json
from dataclasses import replace

import jsonschema
import numpy as np
import pytest

from analysis.estimates import Coefficient
from analysis.results import LeftOut
from analysis.serialise import analysis_json, schema


def test_the_schema_is_itself_sound():
    jsonschema.Draft202012Validator.check_schema(schema())


def test_every_canned_study_follows_the_schema(answered):
    validator = jsonschema.Draft202012Validator(schema())
    for study, analysis in answered:
        problems = [
            f"{study.name}: {error.json_path}: {error.message}"
            for error in validator.iter_errors(analysis_json(analysis))
        ]
        assert problems == []


def test_the_schema_refuses_a_document_with_a_part_missing(answered):
    document = analysis_json(answered[0][1])
    del document["responses"][0]["tests"]
    with pytest.raises(jsonschema.ValidationError, match="'tests' is a required property"):
        jsonschema.validate(document, schema())


def test_it_is_plain_json_that_reads_back_equal(answered):
    for _, analysis in answered:
        document = analysis_json(analysis)
        assert json.loads(json.dumps(document, allow_nan=False)) == document


def test_numbers_stand_in_it_as_they_were_computed(answered):
    study, analysis = answered[0]
    document = analysis_json(analysis)
    result = analysis.responses[0]
    assert document["responses"][0]["tests"][0]["value"] == result.family.tests[0].value
    assert document["findings"][0]["size"] == analysis.findings[0].size
    assert document["rows"]["read"] == len(study.table)


def with_coefficient(analysis, estimate):
    result = analysis.responses[0]
    family = replace(result.family, coefficients=(Coefficient(term="x", estimate=estimate),))
    return replace(analysis, responses=(replace(result, family=family),))


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), np.float64("nan")])
def test_a_number_that_is_not_finite_is_our_own_mistake_and_is_located(answered, bad):
    with pytest.raises(AssertionError, match=r"responses\[0\].coefficients\[0\].estimate"):
        analysis_json(with_coefficient(answered[0][1], bad))


def test_numpy_numbers_become_plain_ones(answered):
    document = analysis_json(with_coefficient(answered[0][1], np.float64(2.5)))
    assert type(document["responses"][0]["coefficients"][0]["estimate"]) is float


def test_rows_left_out_are_listed(answered):
    analysis = replace(answered[0][1], left_out=(LeftOut(row=3, why="burnt", response="rise height"),))
    assert analysis_json(analysis)["rows"]["left_out"] == [{"row": 3, "why": "burnt", "response": "rise height"}]


def test_a_response_that_could_not_be_analysed_says_why(answered):
    _, analysis = next(pair for pair in answered if pair[0].name == "every bake the same")
    response = analysis_json(analysis)["responses"][0]
    assert response["reasons"]
    assert response["findings"][0]["kind"] == "cannot tell"
