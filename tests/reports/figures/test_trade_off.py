"""Do the names along a trade-off keep clear of one another and of its path?"""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from analysis.questions import Factor, Question, Response
from reports.figures.style import canvas
from reports.figures.trade_off import _meets, _name_treatments

ASKED = Question(factors=(Factor(name="soda", kind="amount", unit="% flour"),), responses=(Response(name="rise"),))
LIMITS = ((0.0, 10.0), (0.0, 10.0))


def front(*points):
    return SimpleNamespace(points=[SimpleNamespace(first=x, second=y, settings={"soda": x}) for x, y in points])


@pytest.mark.parametrize(
    "points",
    [((3.0, 5.0), (6.0, 5.0), (8.0, 9.0)), ((2.0, 2.0), (5.0, 5.0), (8.0, 8.0)), ((2.0, 8.0), (5.0, 6.0), (8.0, 2.0))],
    ids=["flat, then up", "rising", "falling"],
)
def test_names_lie_on_no_other_name_and_beside_the_path(points):
    with canvas(3.7) as (_, (axes,)):
        middles = _name_treatments(axes, front(*points), ASKED, LIMITS)
        said = [text.get_text().strip() for text in axes.texts]
    assert said == [f"soda {x:g} % flour" for x, _ in points]
    assert not any(_meets(one, other, LIMITS) for i, one in enumerate(middles) for other in middles[:i])


def test_two_names_at_one_place_do_meet():
    assert _meets((5.0, 5.0), (6.0, 5.5), LIMITS)
    assert not _meets((5.0, 5.0), (6.0, 7.0), LIMITS)
