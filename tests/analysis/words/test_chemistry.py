"""Are the sentences about the chemistry of runs true to their numbers?"""

import pytest

from analysis.leavening.measured import OddPh
from analysis.leavening.tags import TagLink
from analysis.questions import Response
from analysis.results import ChemistryPart
from analysis.words.chemistry import MODEL_CAUTION, say_chemistry, say_odd_ph, say_tag_link

RISE = Response(name="rise height", unit="mm", matters=3.0)


@pytest.mark.parametrize(
    ("verdict", "says"),
    [
        ("explains", "Chemistry explains what acid source did to rise height"),
        ("does not explain", "Chemistry does not explain all that acid source did"),
        ("cannot tell", "stays open"),
    ],
)
def test_the_verdict_comes_with_the_difference_at_equal_gas(verdict, says):
    part = ChemistryPart(
        category="acid source", columns=(), verdict=verdict, a="yogurt", b="vinegar", size=-1.2, low=-2.4, high=0.0
    )
    said = say_chemistry(part, RISE)
    assert says in said
    assert "yogurt and vinegar differ by -1.2 mm (95 % interval -2.4 to 0.0)" in said


def test_what_cannot_be_told_has_its_reason():
    part = ChemistryPart(category="acid source", columns=(), verdict="cannot tell", reason="gas moves with it")
    assert say_chemistry(part, RISE).endswith("cannot be told: gas moves with it.")


@pytest.mark.parametrize(
    ("share", "low", "high", "column", "says"),
    [
        (0.9, 0.7, 1.0, "left-over soda", 'noted "soapy" had more left-over soda than the others in 90 % of pairs'),
        (0.1, 0.0, 0.3, "measured pH", 'noted "soapy" had a lower measured pH than the others in 90 % of pairs'),
        (0.6, 0.4, 0.8, "left-over soda", "stays open"),
    ],
)
def test_a_taste_word_is_linked_only_by_a_whole_interval(share, low, high, column, says):
    link = TagLink(tag="soapy", column=column, share=share, low=low, high=high, bakes_with=4, bakes_without=8)
    assert says in say_tag_link(link)


def test_an_odd_bake_is_named_and_silence_claims_no_more_than_that():
    odd = OddPh(bake="417", measured=8.12, predicted=7.1, gap=0.9)
    assert "bake 417 measured 8.12, 0.9 above what its fellows lead one to expect" in say_odd_ph([odd])
    assert say_odd_ph([]) == "No bake's measured pH stands out from what its fellows lead one to expect."


def test_the_level_of_a_predicted_ph_defers_to_measured_crumbs():
    assert "differences more than at the level" in MODEL_CAUTION
    assert "measured from about pH 6.6 to 7.6" in MODEL_CAUTION
