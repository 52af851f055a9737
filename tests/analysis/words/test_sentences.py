"""Every sentence the catalogue makes reads as one, and none says more than the numbers do."""

import json
import re
from dataclasses import replace

import pytest

from analysis.questions import Factor, Question, Response
from analysis.results import Check, Finding, LeftOut, NextBakes
from analysis.serialise import analysis_json
from analysis.words import (
    GLOSSARY,
    analysis_text,
    explain,
    headline,
    response_headline,
    say_check,
    say_finding,
    say_left_out,
    say_model,
    say_next,
    say_treatment,
)
from analysis.words.findings import two_effects
from analysis.words.text import WIDTH

FORBIDDEN = {
    "bare significance": re.compile(r"\b(in)?significan", re.I),
    "no difference claimed": re.compile(r"\bno (difference|effect|influence)\b(?! that matters was given)", re.I),
    "probability of a truth": re.compile(r"probab|likelihood that|\bchance that", re.I),
    "a number that is none": re.compile(r"\b(nan|inf|infinity|None|null)\b"),
    "braces or brackets of code": re.compile(r"[{}<>]|\(\)|\[|\]"),
    "a proof": re.compile(r"\bprove[sdn]?\b", re.I),
    "doubled blanks or stops": re.compile(r"  |\.\.|,,| \.| ,|;;|::"),
}
# "p < 0.001" is the one place for the sign.
ALLOWED = re.compile(r"p < 0\.001|p > 0\.99")


def faults(sentence: str) -> list[str]:
    bare = ALLOWED.sub("p", sentence)
    found = [f"{name}: {sentence}" for name, pattern in FORBIDDEN.items() if pattern.search(bare)]
    if not re.match(r"[A-Z0-9]|pH|\"", sentence):
        found.append(f"does not start as a sentence: {sentence}")
    if not sentence.endswith("."):
        found.append(f"does not end as a sentence: {sentence}")
    return found


def every_sentence(analysis) -> list[str]:
    responses = {result.response.name: result.response for result in analysis.responses}
    said = [headline(analysis), say_left_out(analysis.left_out)]
    said += [say_finding(finding, responses[finding.response]) for finding in analysis.findings]
    for result in analysis.responses:
        said += [response_headline(result), say_model(result, analysis.question)]
        said += [say_check(check) for check in result.checks]
        said += [say_next(bakes, analysis.question) for bakes in result.next_bakes]
    return said


def test_no_sentence_of_any_canned_study_has_a_fault(answered):
    found = [fault for _, analysis in answered for said in every_sentence(analysis) for fault in faults(said)]
    assert found == []


def test_the_lint_catches_what_it_should():
    assert faults("The effect is significant.")
    assert faults("There was no difference.")
    assert faults("The probability that it is true is 95 %.")
    assert faults("It was nan mm.")
    assert faults("more soda raised rise.")
    assert not faults("More soda raised rise (p < 0.001).")


def test_sentences_follow_the_stored_numbers(answered):
    """Change one number and the sentence changes with it."""
    _, analysis = answered[0]
    finding, response = analysis.findings[0], analysis.responses[0].response
    assert say_finding(finding, response) != say_finding(replace(finding, size=finding.size + 5), response)
    assert say_finding(finding, response) != say_finding(replace(finding, high=finding.high + 5), response)
    assert say_finding(finding, response) != say_finding(replace(finding, matters="unsure"), response)


RISE = Response(name="rise height", unit="mm", matters=3.0)


def effect(low, high, matters, **facts) -> Finding:
    plain = {"factor_kind": "amount", "factor_unit": "% flour", "from": 0.5, "to": 2.5}
    return Finding(
        kind="effect",
        response="rise height",
        variables=("soda",),
        size=(low + high) / 2,
        low=low,
        high=high,
        unit="mm",
        direction="up" if low + high > 0 else "down",
        matters=matters,
        facts={**plain, **facts},
    )


@pytest.mark.parametrize(
    ("finding", "said"),
    [
        (
            effect(3.1, 13.3, "yes"),
            "More soda raised rise height: from 0.5 to 2.5 % flour, +8.2 mm (95 % interval 3.1 to 13.3), more than the "
            "3 mm that matters.",
        ),
        (
            effect(-13.3, -3.1, "yes"),
            "More soda lowered rise height: from 0.5 to 2.5 % flour, -8.2 mm (95 % interval -13.3 to -3.1), more than "
            "the 3 mm that matters.",
        ),
        (
            effect(-1.0, 2.0, "no"),
            "Any difference that soda makes to rise height is smaller than the 3 mm that matters: from 0.5 to 2.5 % "
            "flour, +0.5 mm (95 % interval -1.0 to 2.0).",
        ),
        (
            effect(-4.0, 7.0, "unsure"),
            "This trial cannot tell whether soda moves rise height: from 0.5 to 2.5 % flour, +1.5 mm (95 % interval "
            "-4.0 to 7.0); 3 mm would matter.",
        ),
        (
            effect(1.0, 7.0, "unsure"),
            "More soda raised rise height, but this trial cannot tell whether by as much as the 3 mm that matters: "
            "from 0.5 to 2.5 % flour, +4.0 mm (95 % interval 1.0 to 7.0).",
        ),
        (
            effect(5.0, 7.0, "yes", factor_kind="category", **{"from": "lemon juice", "to": "yogurt"}),
            "Soda changed rise height: yogurt against lemon juice, +6.0 mm (95 % interval 5.0 to 7.0), more than the "
            "3 mm that matters.",
        ),
    ],
)
def test_an_effect_is_said_with_direction_size_interval_and_verdict(finding, said):
    assert say_finding(finding, RISE) == said


def test_any_other_confidence_is_said():
    assert "(90 % interval 3.1 to 13.3)" in say_finding(effect(3.1, 13.3, "yes"), RISE, 0.9)


def test_a_finding_without_an_interval_says_so():
    bare = replace(effect(3.1, 13.3, "unsure"), low=None, high=None)
    assert "no interval" in say_finding(bare, RISE)
    assert faults(say_finding(bare, RISE)) == []


def test_only_an_interval_inside_the_limits_is_called_too_small(answered):
    """'smaller than' is kept for findings whose whole interval lies within the difference that matters."""
    seen = 0
    for _, analysis in answered:
        responses = {result.response.name: result.response for result in analysis.responses}
        for finding in analysis.findings:
            response = responses[finding.response]
            if " is smaller than " in say_finding(finding, response):
                seen += 1
                assert -response.matters < finding.low <= finding.high < response.matters
    assert seen > 5


@pytest.mark.parametrize(
    "kind", ["effect", "interaction", "best dose", "recommended dose", "curves differ", "cannot tell"]
)
@pytest.mark.parametrize("matters", ["yes", "no", "unsure"])
@pytest.mark.parametrize("given", [3.0, None])
def test_a_finding_without_facts_still_makes_a_sentence(kind, matters, given):
    if matters == "no" and given is None:
        return  # cannot arise: nothing is too small without a yardstick
    finding = replace(effect(1, 2, matters), kind=kind, variables=("soda", "acid source"), facts={})
    assert faults(say_finding(finding, replace(RISE, matters=given))) == []


def test_an_unknown_kind_is_said_plainly_and_never_fails():
    said = say_finding(replace(effect(1, 2, "yes"), kind="something new"), RISE)
    assert "something new" in said.lower()
    assert faults(say_check(Check(check="brand new", verdict="look here"))) == []
    assert faults(say_next(NextBakes(why="whim", treatments=()))) == []


def test_treatments_are_said_with_their_units():
    question = Question(factors=(Factor(name="soda", kind="amount", unit="% flour"),), responses=(RISE,))
    assert say_treatment({"soda": 1.5, "acid": "yogurt"}, question) == "soda 1.5 % flour, acid yogurt"


def test_rows_left_out_are_said_with_their_reasons():
    said = say_left_out([LeftOut(row=3, why="rise empty", response="rise"), LeftOut(row="k7", why="burnt")])
    assert said == 'Left out: row 3 (rise empty), bake "k7" (burnt).'
    assert say_left_out([]) == "Every row was used."


def test_a_terminal_shows_at_most_100_columns_and_every_part(answered):
    for _, analysis in answered:
        text = analysis_text(analysis)
        assert max(map(len, text.splitlines())) <= WIDTH
        assert "\x1b" not in text
        for finding in analysis.findings:
            assert f"{finding.rank:>3}. " in text


def test_read_words_have_a_true_minus_and_json_a_typed_one(answered):
    read = "".join(analysis_text(analysis) for _, analysis in answered)
    for_machines = "".join(json.dumps(analysis_json(analysis), ensure_ascii=False) for _, analysis in answered)
    assert re.search(r" −\d", read)
    assert not re.search(r"(?<!\S)-\d", read)
    assert "−" not in for_machines


def test_a_long_name_is_not_broken():
    name = "a_column_with_a_very_long_name_" * 4
    said = say_finding(replace(effect(3.1, 13.3, "yes"), variables=(name,)), RISE)
    assert name in said


def test_the_glossary_tells_replicates_from_repeats():
    assert "from scratch" in explain("Replicate")
    assert "read again" in explain("repeat")
    assert explain("no such term") is None
    assert all(faults(line) == [] for line in GLOSSARY.values())


def test_two_effects_of_one_rounded_size_are_not_set_against_each_other():
    facts = {"of": "soda", "by": "acid", "by_from": "lemon juice", "by_to": "cream of tartar"}
    wide = Finding(
        kind="interaction", response="rise", variables=("soda", "acid"), size=1.0, low=-18.0, high=19.0, unit="mm",
        direction="mixed", matters="unsure", facts=facts | {"effect_at_from": 2.6, "effect_at_to": 3.4},
    )  # fmt: skip
    assert two_effects(wide) == ""
    apart = replace(wide, facts=facts | {"effect_at_from": 2.6, "effect_at_to": 9.4})
    assert two_effects(apart) == "+3 mm with lemon juice but +9 mm with cream of tartar"
