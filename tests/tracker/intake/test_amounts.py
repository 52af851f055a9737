"""Amounts are read as a baker writes them."""

import pytest

from tracker.errors import InputError
from tracker.intake.amounts import read_amount


@pytest.mark.parametrize(
    ("text", "grams", "what"),
    [
        ("5 g baking soda", 5, "baking soda"),
        ("240g buttermilk", 240, "buttermilk"),
        ("0,5 kg wheat  flour", 500, "wheat flour"),
        ("1.5 oz of butter", 42.524, "butter"),
        ("1 lb flour", 453.592, "flour"),
        ("250 mg salt", 0.25, "salt"),
        ("3 Grams citric acid", 3, "citric acid"),
    ],
)
def test_masses_become_grams(text, grams, what):
    amount = read_amount(text)
    assert amount.grams == pytest.approx(grams, abs=0.001)
    assert (amount.ingredient, amount.millilitres) == (what, None)


@pytest.mark.parametrize(
    ("text", "millilitres"),
    [
        ("1 tsp baking powder", 4.929),
        ("1/2 tsp baking soda", 2.464),
        ("1 1/2 cups milk", 354.88),
        ("1½ cups milk", 354.88),
        ("¼ tsp. soda", 1.232),
        ("2 T vinegar", 29.57),
        ("2 t vinegar", 9.858),
        ("0.25 l milk", 250),
    ],
)
def test_volumes_become_millilitres(text, millilitres):
    amount = read_amount(text)
    assert amount.millilitres == pytest.approx(millilitres, abs=0.01)
    assert amount.grams is None


@pytest.mark.parametrize(
    "text",
    [
        "",
        "soda",
        "5 soda",
        "g soda",
        "5 g",
        "5 spoons soda",
        "-1 g soda",
        "1/0 tsp soda",
        "1,234 g flour",
        "nan g flour",
    ],
)
def test_what_is_no_amount_is_refused_with_an_example(text):
    with pytest.raises(InputError) as caught:
        read_amount(text)
    assert caught.value.try_this
