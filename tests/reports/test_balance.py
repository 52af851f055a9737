"""Does the page of an account say its numbers once everywhere, and nothing that runs?"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from analysis.leavening.balance import balance
from analysis.leavening.batter import Amount
from analysis.leavening.curve import titration_curve
from analysis.leavening.ingredients import INGREDIENTS
from analysis.leavening.substances import SUBSTANCES
from analysis.words.leavening import say_caution
from analysis.words.numbers import say_number
from reports.balance import balance_report

BUTTERMILK = Amount(what=INGREDIENTS["buttermilk"], grams=240)
HOSTILE = "</style><script>alert(1)</script>"


def soda(grams: float) -> Amount:
    return Amount(what=SUBSTANCES["baking soda"], grams=grams)


def page_of(*amounts: Amount, **more) -> str:
    account = balance(amounts)
    curve = titration_curve(amounts, most_g=3.0)
    return balance_report(account, **({"title": "A", "provenance": {"command": "x"}, "curve": curve} | more))


def test_the_answer_comes_first_with_gas_what_is_left_over_and_ph_with_its_range(read):
    account = balance([soda(5), BUTTERMILK])
    text = read(page_of(soda(5), BUTTERMILK)).text
    answer = text[text.index("The answer") : text.index("Read this with it")]
    # 240 g at 0.8 % lactic acid use up 1.79 g of soda, so 3.21 g are left over [computed by hand].
    for said in (f"{say_number(account.gas.available_ml)} mL", "3.21 g of soda is left over", "watery part"):
        assert said in answer
    assert f"pH {account.baked.value:.1f} (range {account.baked.low:.1f} to {account.baked.high:.1f})" in answer
    assert all(say_caution(caution) in text for caution in account.cautions)


def test_one_changed_number_changes_answer_table_and_way(read):
    account = balance([soda(5), BUTTERMILK])
    other = replace(account, soda_left_g=4.0)
    one, two = (read(balance_report(a, title="A", provenance={})).text for a in (account, other))
    assert one.count("3.21 g") > one.count("3.21 g of soda")
    assert "4 g of soda is left over" in two
    assert "Take 4 g less soda" in two
    assert "3.21 g less" not in two


@pytest.mark.parametrize(
    ("amounts", "said"),
    [
        ((soda(5), BUTTERMILK), "Take 3.21 g less soda"),
        ((soda(2), Amount(what=INGREDIENTS["water"], grams=240)), "Keep the soda and add 4.48 g of cream of tartar"),
        ((soda(0.5), BUTTERMILK), "Add 1.29 g of soda"),
        ((soda(1.75), BUTTERMILK), "Hardly anything is left over"),
        ((Amount(what=INGREDIENTS["water"], grams=240),), "nothing to be changed"),
    ],
)
def test_the_way_to_neutral_is_the_one_that_is_open(read, amounts, said):
    assert said in read(page_of(*amounts)).text


def test_it_is_well_formed_and_the_same_twice(read):
    page = page_of(soda(5), BUTTERMILK, title=HOSTILE, left_out=(HOSTILE,))
    assert page == page_of(soda(5), BUTTERMILK, title=HOSTILE, left_out=(HOSTILE,))
    told = read(page)
    assert told.faults == []
    assert told.tags["script"] == told.tags["link"] == told.tags["img"] == 0
    assert told.headings[0] == 1
    assert all(later - earlier <= 1 for earlier, later in pairwise(told.headings))
    assert told.tags["caption"] == told.tags["table"] > 0


def test_without_a_curve_or_an_acid_the_page_stands(read):
    plain = read(page_of(soda(2), Amount(what=INGREDIENTS["water"], grams=240), curve=None))
    assert plain.tags["svg"] == 0
    drawn = page_of(soda(2), Amount(what=INGREDIENTS["water"], grams=240))
    assert "there is no acid" in drawn
    assert "acid used up" not in drawn


def test_the_picture_marks_the_soda_that_is_in_it():
    assert "here 2.00 g" in page_of(soda(2), BUTTERMILK).lower()
