"""Can every line be seen, on light and dark paper and in grey?

Contrast as in WCAG 2.2, 1.4.11: parts of a picture reach 3:1 against what they lie on.
"""

from __future__ import annotations

import math
import re
from itertools import combinations

import pytest
from matplotlib.colors import to_hex

from reports.figures import control
from reports.figures.effects import LOOKS
from reports.figures.style import (
    BAND,
    BLUE,
    DASHES,
    GREEN,
    LINES,
    MARKERS,
    NAMES,
    PAPER,
    SOFT,
    VERMILLION,
    canvas,
    line,
)
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


# Linear-RGB matrices of full colour-vision deficiency: Machado, Oliveira and Fernandes 2009, "A physiologically-based
# model for simulation of color vision deficiency", IEEE TVCG 15(6), table of severity 1.0 (from memory; a test
# below holds each row to its sum of 1, so that white stays white, and to what the kinds are known to confuse).
DEFICIENT = {
    "protan": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deutan": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "tritan": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
}
SEEN = ("full", *DEFICIENT, "grey")
APART = 15.0


def linear(colour: str) -> list[float]:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    return [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]


def seen_as(colour: str, sight: str) -> list[float]:
    """Linear RGB as that sight has it."""
    parts = linear(colour)
    if sight == "grey":
        return [0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]] * 3
    if sight == "full":
        return parts
    return [min(max(sum(m * p for m, p in zip(row, parts, strict=True)), 0.0), 1.0) for row in DEFICIENT[sight]]


def lab(parts: list[float]) -> tuple[float, float, float]:
    """CIELAB under D65 from linear sRGB (IEC 61966-2-1 matrix)."""
    matrix = ((0.4124564, 0.3575761, 0.1804375), (0.2126729, 0.7151522, 0.0721750), (0.0193339, 0.1191920, 0.9503041))
    white = (0.95047, 1.0, 1.08883)
    ratios = [sum(m * p for m, p in zip(row, parts, strict=True)) / w for row, w in zip(matrix, white, strict=True)]
    x, y, z = (r ** (1 / 3) if r > (6 / 29) ** 3 else r / (3 * (6 / 29) ** 2) + 4 / 29 for r in ratios)
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def apart(one: tuple[float, float, float], other: tuple[float, float, float]) -> float:
    """CIEDE2000 after Sharma, Wu and Dalal 2005, Color Res. Appl. 30(1), equations 2 to 22."""
    (l1, a1, b1), (l2, a2, b2) = one, other
    mean_c7 = ((math.hypot(a1, b1) + math.hypot(a2, b2)) / 2) ** 7
    stretch = 1 + 0.5 * (1 - math.sqrt(mean_c7 / (mean_c7 + 25**7)))
    a1, a2 = a1 * stretch, a2 * stretch
    c1, c2 = math.hypot(a1, b1), math.hypot(a2, b2)
    h1, h2 = (math.degrees(math.atan2(b, a)) % 360 if a or b else 0.0 for a, b in ((a1, b1), (a2, b2)))
    grey = c1 * c2 == 0
    turn = 0.0 if grey else (h2 - h1 + 180) % 360 - 180
    hue = h1 + h2 if grey else (h1 + turn / 2) % 360
    lightness, chroma = (l1 + l2) / 2, (c1 + c2) / 2
    dh = 2 * math.sqrt(c1 * c2) * math.sin(math.radians(turn / 2))
    weights = zip((1, -0.17, 0.24, 0.32, -0.20), (0, 1, 2, 3, 4), (0, -30, 0, 6, -63), strict=True)
    t = sum(w * math.cos(math.radians(times * hue + shift)) for w, times, shift in weights)
    s_l = 1 + 0.015 * (lightness - 50) ** 2 / math.sqrt(20 + (lightness - 50) ** 2)
    s_c, s_h = 1 + 0.045 * chroma, 1 + 0.015 * chroma * t
    swing = 60 * math.exp(-(((hue - 275) / 25) ** 2))
    r_t = -2 * math.sqrt(chroma**7 / (chroma**7 + 25**7)) * math.sin(math.radians(swing))
    dl, dc, dh = (l2 - l1) / s_l, (c2 - c1) / s_c, dh / s_h
    return math.sqrt(dl * dl + dc * dc + dh * dh + r_t * dc * dh)


@pytest.mark.parametrize(
    ("one", "other", "published"),
    [  # Sharma, Wu and Dalal 2005, table 1: pairs 1, 7, 17, 25 and 34
        ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
        ((50, 0, 0), (50, -1, 2), 2.3669),
        ((50, 2.5, 0), (73, 25, -18), 27.1492),
        ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
        ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
    ],
)
def test_the_distance_of_colours_gives_the_published_figures(one, other, published):
    assert apart(one, other) == pytest.approx(published, abs=5e-5)
    assert apart(other, one) == pytest.approx(published, abs=5e-5)


def test_the_sights_confuse_what_they_are_known_to_confuse():
    for sight, matrix in DEFICIENT.items():
        assert [sum(row) for row in matrix] == pytest.approx([1, 1, 1], abs=2e-6), sight
    pairs = {"protan": ("#b03a2e", "#5f5a1e"), "deutan": ("#b0523a", "#7a7a2a"), "tritan": ("#0a7f9e", "#1a8a5a")}
    for sight, (one, other) in pairs.items():
        full, dim = (apart(lab(seen_as(one, s)), lab(seen_as(other, s))) for s in ("full", sight))
        assert dim < full / 2, sight
    assert lab(linear("#ffffff")) == pytest.approx((100, 0, 0), abs=0.02)


@pytest.mark.parametrize("scheme", ["light", "dark", "paper"])
@pytest.mark.parametrize("sight", SEEN)
def test_two_lines_differ_to_every_eye_by_colour_or_by_marker_and_dash(scheme, sight):
    colours = schemes()[scheme]
    lines = [(colours[NAMES[c]], marker, dash) for c, marker, dash in zip(LINES, MARKERS, DASHES, strict=True)]
    for (one, marker, dash), (other, second, third) in combinations(lines, 2):
        by_colour = apart(lab(seen_as(one, sight)), lab(seen_as(other, sight))) >= APART
        assert by_colour or (sight != "full" and marker != second and dash != third), (one, other)


def test_each_line_is_drawn_in_its_colour_and_dash():
    with canvas(2) as (_, (axes,)):
        for series in range(len(LINES)):
            line(axes, [0, 1], [series, series], series=series)
        drawn = [(one.get_color(), one.get_linestyle(), one._unscaled_dash_pattern[1]) for one in axes.lines]
    assert [colour for colour, *_ in drawn] == list(LINES)
    assert [tuple(dash or ()) for *_, dash in drawn] == list(DASHES)


@pytest.mark.parametrize("scheme", ["light", "dark", "paper"])
def test_the_three_verdicts_are_told_apart_by_shape_and_filling_too(scheme):
    colours = schemes()[scheme]
    looks = [(colours[NAMES[colour]], marker, hollow) for colour, marker, hollow in LOOKS.values()]
    for (one, marker, _), (other, second, _) in combinations(looks, 2):
        assert marker != second
        assert apart(lab(seen_as(one, "full")), lab(seen_as(other, "full"))) >= APART


# The chart of batches: what lies on what, and by which look each part is told from the others.
NOTICED = 4.0  # a fill beside another: twice the difference that an eye just notices (CIEDE2000, from memory about 2)


def contrast_to(one: str, other: str, sight: str) -> float:
    low, high = sorted(
        sum(w * p for w, p in zip((0.2126, 0.7152, 0.0722), seen_as(colour, sight), strict=True))
        for colour in (one, other)
    )
    return (high + 0.05) / (low + 0.05)


@pytest.fixture
def chart_of_batches(logged, monkeypatch):
    """What is drawn of 60 batches, some with an alarm, with band, middle and level."""
    kept = []
    monkeypatch.setattr(control, "as_svg", lambda figure, **_: kept.append(figure) or "<svg/>")
    chart = logged().responses[0].charts[0]
    control.draw_control(chart, key="figure-1", beneath=control.Beneath(made_with={}, level=[43.0] * 60))
    (axes,) = kept[0].axes
    marks = {line.get_marker(): line for line in axes.lines if line.get_linestyle() == "None"}
    (level,) = [line for line in axes.lines if line.is_dashed()]
    (middle,) = [line for line in axes.lines if line.get_drawstyle() == "steps-post"]
    (band,) = axes.collections
    return {"calm": marks["o"], "loud": marks["D"], "level": level, "middle": middle, "band": band}


def test_alarmed_batches_differ_by_shape_filling_and_size(chart_of_batches):
    calm, loud = chart_of_batches["calm"], chart_of_batches["loud"]
    assert len(calm.get_xdata()) > 5 < len(loud.get_xdata())
    assert (calm.get_color(), loud.get_markerfacecolor(), loud.get_markeredgecolor()) == (BLUE, PAPER, VERMILLION)
    assert loud.get_markersize() > 1.2 * calm.get_markersize()
    assert loud.get_markeredgewidth() >= 1


def test_the_level_is_dashed_and_thick_and_the_middle_is_neither(chart_of_batches):
    level, middle = chart_of_batches["level"], chart_of_batches["middle"]
    assert (level.get_color(), middle.get_color()) == (GREEN, SOFT)
    assert level.get_linewidth() >= 2 * middle.get_linewidth()
    assert not middle.is_dashed()
    assert to_hex(chart_of_batches["band"].get_facecolor()[0]) == BAND


@pytest.mark.parametrize("scheme", ["light", "dark", "paper"])
@pytest.mark.parametrize("sight", SEEN)
def test_the_parts_of_a_chart_of_batches_are_seen_by_every_eye(scheme, sight):
    colours = schemes()[scheme]
    paper, band = colours["paper"], colours["band"]
    assert contrast_to(colours["blue"], paper, sight) >= 3.0  # filled beside hollow
    for part in ("blue", "vermillion", "green", "soft"):  # calm batches, outlines of alarmed ones, level, middle
        assert min(contrast_to(colours[part], ground, sight) for ground in (paper, band)) >= 3.0, part
    assert apart(lab(seen_as(band, sight)), lab(seen_as(paper, sight))) >= NOTICED
