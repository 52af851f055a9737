"""Can every line be seen, on light and dark paper and in grey?

Contrast as in WCAG 2.2, 1.4.11: parts of a picture reach 3:1 against what they lie on.
"""

from __future__ import annotations

import re
from itertools import combinations

import pytest

from reports.figures.style import DASHES, LINES, MARKERS, NAMES
from reports.html import style_sheet


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def schemes() -> dict[str, dict[str, str]]:
    found = re.findall(r":root \{([^}]*)\}", style_sheet("report.css"))
    assert len(found) == 3
    return {
        name: dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6})", body))
        for name, body in zip(("light", "dark", "paper"), found, strict=True)
    }


def test_the_contrast_formula_gives_the_known_ends():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#0072b2", "#ffffff") == pytest.approx(5.19, abs=0.01)  # as computed for Okabe-Ito blue


@pytest.mark.parametrize("scheme", ["light", "dark", "paper"])
def test_lines_reach_three_to_one_and_text_four_and_a_half(scheme):
    colours = schemes()[scheme]
    for name in ("blue", "vermillion", "green", "purple", "ink"):
        for ground in ("paper", "band"):
            assert contrast(colours[name], colours[ground]) >= 3.0, (name, ground)
    for name in ("ink", "soft", "blue", "vermillion", "green", "purple"):
        assert contrast(colours[name], colours["paper"]) >= 4.5, name  # lines carry their names in their colour
    for ground in ("wash", "band"):
        if ground in colours:
            assert contrast(colours["soft"], colours[ground]) >= 4.5, ground


@pytest.mark.parametrize("scheme", ["light", "dark", "paper"])
def test_every_colour_of_a_picture_is_known_to_the_page(scheme):
    assert set(NAMES.values()) <= set(schemes()[scheme])


def test_no_two_lines_share_colour_marker_or_dash():
    for parts in (LINES, MARKERS, DASHES):
        assert len(set(parts)) == 5
        assert all(one != other for one, other in combinations(parts, 2))
