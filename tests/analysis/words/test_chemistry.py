"""Are the sentences about the chemistry of runs true to their numbers?"""

import pytest

from analysis.leavening.balance import balance
from analysis.leavening.measured import OddPh
from analysis.leavening.names import known_amounts
from analysis.leavening.runs import run_chemistry
from analysis.leavening.tags import TagLink
from analysis.questions import Response
from analysis.results import ChemistryPart
from analysis.words.chemistry import (
    ACID_ABOVE_7,
    MODEL_CAUTION,
    NO_WATER,
    OF_THE_CRUMB,
    say_about_ph,
    say_chemistry,
    say_odd_ph,
    say_tag_link,
)
from analysis.words.proposals import CHEMISTRY, chemistry_row

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


POWDERED = run_chemistry([("flour", 100), ("milk", 80), ("baking powder", 4)], 100, draws=10)
SOUR = run_chemistry([("flour", 100), ("water", 80), ("lemon juice", 10), ("baking soda", 0.3)], 100, draws=10)
SODA = run_chemistry([("flour", 100), ("milk", 80), ("baking soda", 2)], 100, draws=10)
DRY = run_chemistry([("flour", 100), ("butter", 50), ("cream of tartar", 1), ("baking soda", 0.3)], 100, draws=10)


@pytest.mark.parametrize(
    ("accounts", "said"),
    [
        ([POWDERED], (OF_THE_CRUMB, ACID_ABOVE_7)),
        ([SOUR], (OF_THE_CRUMB,)),  # acid is left, below pH 7
        ([SODA], (OF_THE_CRUMB,)),  # above pH 7 with soda left
        ([DRY], (NO_WATER,)),
        ([SOUR, POWDERED, DRY], (OF_THE_CRUMB, ACID_ABOVE_7, NO_WATER)),
        ([], ()),
    ],
)
def test_a_ph_is_explained_where_it_seems_to_contradict_what_is_left_over(accounts, said):
    assert say_about_ph(accounts) == said


def test_acid_left_over_above_7_is_what_the_account_of_phosphates_and_dairy_gives():
    """What ACID_ABOVE_7 says is so in the model: nothing is left over near pH 8, and at pH 7 acid is."""
    assert (POWDERED.acid_left_meq > 1, POWDERED.soda_left_g, POWDERED.predicted_ph > 8) == (True, 0, True)
    milk, _ = known_amounts([("milk", 80)])
    neutral = balance(milk, draws=10).neutral_soda
    assert neutral.by_ph_g < 0.9 * neutral.by_equivalence_g  # pH 7 is reached before the acid is used up
    used_up = balance(known_amounts([("milk", 80), ("baking soda", neutral.by_equivalence_g)])[0], draws=10)
    assert used_up.acid_left_meq == pytest.approx(0, abs=1e-6)
    assert 7.4 < used_up.baked.value < 8.6


def test_no_cell_of_the_account_is_a_bare_dash():
    for each in (POWDERED, SOUR, SODA, DRY):
        row = dict(zip(CHEMISTRY, chemistry_row(each), strict=True))
        assert all(cell.strip("–-") for cell in row.values())
        assert (row["pH of the crumb"] == "not known") == (each.predicted_ph is None)
