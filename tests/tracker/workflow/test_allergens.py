"""Do names of ingredients lead to the groups of the regulation, and is a clash seen?"""

from __future__ import annotations

import pytest

from tracker.workflow.allergens import GROUPS, allergens_in, clashes


def test_there_are_fourteen_groups_and_each_names_itself():
    """Annex II of Regulation (EU) No 1169/2011 has fourteen entries (from memory)."""
    assert len(set(GROUPS)) == 14
    assert all(allergens_in([group]) == (group,) for group in GROUPS)


NAMES = {
    "wheat flour": ["cereals with gluten"],
    "Flour": ["cereals with gluten"],
    "rice flour": [],
    "gluten-free oat flour": ["cereals with gluten"],
    "almond flour": ["nuts"],
    "buckwheat flour": [],
    "cream of tartar": [],
    "buttermilk powder": ["milk"],
    "cocoa butter": [],
    "peanut butter": ["peanuts"],
    "coconut milk": [],
    "almond milk": ["nuts"],
    "butter, salted": ["milk"],
    "egg white": ["eggs"],
    "eggplant": [],
    "nutmeg": [],
    "tahini": ["sesame"],
    "soy lecithin": ["soya"],
    "baking soda": [],
    "sugar": [],
    "walnut_pieces": ["nuts"],
    "potassium metabisulphite": ["sulphites"],
}


@pytest.mark.parametrize(("name", "groups"), NAMES.items())
def test_a_name_points_to_its_groups(name, groups):
    assert list(allergens_in([name])) == groups


@pytest.mark.parametrize(
    ("noted", "served", "both"),
    [
        ("nuts", "cereals with gluten, milk", ()),
        ("nuts", "cereals with gluten, peanuts", ()),
        ("hazelnuts", "cereals with gluten, nuts", ("nuts",)),
        ("coeliac disease", "cereals with gluten", ("cereals with gluten",)),
        ("lactose; eggs", "milk, eggs", ("eggs", "milk")),
        ("kiwi", "milk, kiwi", ("kiwi",)),
        ("", "milk", ()),
        ("milk", "", ()),
        ("none", "none", ()),
    ],
)
def test_what_somebody_must_not_eat_is_seen_in_what_is_served(noted, served, both):
    assert clashes(noted, served) == both
