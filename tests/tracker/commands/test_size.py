"""Does the command say how many bakes it takes, in words, as JSON and as a picture?"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from demo_data import generate


def test_bakes_for_a_difference_are_said_in_words(crumbwise: Callable[..., Any], tmp_path: Path) -> None:
    words = ("trial", "size", "--what", "means", "--kinds", "3", "--spread", "2", "--matters", "4", "--unit", "mm")
    ran = crumbwise(*words, "--picture", "size.svg")
    assert ran.code == 0, ran.err
    # Cohen's f = 4 / 2 * sqrt(1 / 6) = 0.816, of which the published cases test the power.
    assert "With 6 bakes of each kind (18 in all) a difference of 4 mm is seen in" in ran.out
    assert (tmp_path / "size.svg").read_text().lstrip().startswith("<svg")
    document = crumbwise(*words, "--json").document
    assert (document["each"], document["total"], document["solved"]) == (6, 18, "bakes")
    assert 0.8 <= document["power"] <= 1


def test_pieces_or_bakes_is_answered(crumbwise: Callable[..., Any]) -> None:
    ran = crumbwise(
        "trial", "size", "--what", "pieces", "--spread", "1", "--piece-spread", "4", "--matters", "4",
        "--bake-cost", "10", "--piece-cost", "1",
    )  # fmt: skip
    assert ran.code == 0, ran.err
    assert "pieces from each bake take" in ran.out


def test_a_plan_is_seen_at_several_sizes(crumbwise: Callable[..., Any]) -> None:
    plan = next(Path(generate.__file__).parent.glob("plans/*.toml"))
    ran = crumbwise("trial", "size", plan, "--json")
    assert ran.code == 0, ran.err
    sizes = ran.document["sizes"]
    assert len(sizes) >= 3
    assert sizes[-1]["runs"] > sizes[0]["runs"]
    for response, widths in sizes[-1]["half_widths"].items():
        for term, width in (widths or {}).items():
            assert width < sizes[1]["half_widths"][response][term]


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("--what", "taste"),
        ("--what", "means"),
        ("--what", "means", "--spread", "0"),
        ("nothing.toml",),
        ("--what", "means", "--spread", "2", "--power", "80"),
    ],
)
def test_bad_questions_end_with_a_way_out(crumbwise: Callable[..., Any], words: tuple[str, ...]) -> None:
    ran = crumbwise("trial", "size", *words)
    assert ran.code in (2, 3, 4)
    assert "Try:" in ran.err
