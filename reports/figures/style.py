"""How do all our pictures look?

One palette, one set of markers, one type size, one width. The width suits a phone held
upright; a wider page shows the same picture a little larger. Lines are told apart by
colour, marker, dash and a label at their end, so that colour never carries alone.

The colours are drawn as fixed values and leave as CSS custom properties (see
``reports.figures.svg``), so that one picture follows a light page, a dark page and paper.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import accumulate
from typing import TYPE_CHECKING, Any

from analysis.words.numbers import as_written

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Canvas

WIDTH = 4.8  # inches

# Blue, vermillion, green, purple after Okabe and Ito (2008, "Color universal design"), the last
# three darkened until they reach 3:1 on white (their own are 3.87, 3.42 and 3.06; see the test).
INK, SOFT, RULE, PAPER, BAND = "#1d1b18", "#57534c", "#cfc9bf", "#ffffff", "#ece7dd"
BLUE, VERMILLION, GREEN, PURPLE = "#0072b2", "#c24f00", "#00805c", "#a4487f"

NAMES = {
    INK: "ink",
    SOFT: "soft",
    RULE: "rule",
    PAPER: "paper",
    BAND: "band",
    BLUE: "blue",
    VERMILLION: "vermillion",
    GREEN: "green",
    PURPLE: "purple",
}

LINES = (BLUE, VERMILLION, GREEN, PURPLE, INK)
MARKERS = ("o", "s", "^", "D", "v")
DASHES = ((), (5, 1.6), (1.4, 1.4), (5, 1.4, 1.4, 1.4), (8, 2))

# matplotlib keeps its settings in one place for the whole process: one picture at a time.
_drawing = threading.RLock()

_RC: dict[str, Any] = {
    "axes.edgecolor": SOFT,
    "axes.facecolor": "none",
    "axes.labelcolor": SOFT,
    "axes.linewidth": 0.8,
    "axes.spines.right": False,
    "axes.spines.top": False,
    "axes.unicode_minus": True,
    "axes.formatter.useoffset": False,
    "axes.formatter.use_mathtext": False,
    "figure.facecolor": "none",
    "font.family": ["DejaVu Sans"],
    "font.size": 9.0,
    "lines.linewidth": 1.6,
    "svg.fonttype": "path",
    "svg.hashsalt": "crumbwise",
    "text.color": INK,
    "text.parse_math": False,
    "text.usetex": False,
    "xtick.color": SOFT,
    "xtick.labelcolor": INK,
    "ytick.color": SOFT,
    "ytick.labelcolor": INK,
}


@contextmanager
def canvas(
    height: float, *, rows: int = 1, columns: int = 1, share: bool = False
) -> Iterator[tuple[Canvas, list[Axes]]]:
    """A clean sheet, ``height`` inches high, with its axes in reading order."""
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure as Canvas

    with _drawing, mpl.rc_context():
        mpl.rcdefaults()  # a setting file of this machine must not change a report
        mpl.rcParams.update(_RC)  # type: ignore[arg-type]
        figure = Canvas(figsize=(WIDTH, height), layout="constrained")
        FigureCanvasSVG(figure)
        grid = figure.subplots(rows, columns, squeeze=False, sharex=share, sharey=share)
        for axes in grid.flat:
            _write_ticks(axes)
        yield figure, list(grid.flat)


def _write_ticks(axes: Axes) -> None:
    """Numbers along the axes get the decimal mark of the page."""
    from matplotlib.ticker import ScalarFormatter

    class Written(ScalarFormatter):
        def __call__(self, x: float, pos: int | None = None) -> str:
            return as_written(super().__call__(x, pos))

    axes.xaxis.set_major_formatter(Written())
    axes.yaxis.set_major_formatter(Written())


def scatter(
    axes: Axes,
    x: Sequence[float],
    y: Sequence[float],
    *,
    colour: str,
    marker: str,
    size: float = 20,
    alpha: float = 0.6,
) -> None:
    """Single bakes: small marks with a rim of paper, so that neighbours stay apart."""
    import seaborn as sns

    sns.scatterplot(
        x=list(x),
        y=list(y),
        ax=axes,
        color=colour,
        marker=marker,
        s=size,
        alpha=alpha,
        edgecolor=PAPER,
        linewidth=0.5,
        legend=False,
        zorder=2,
    )
    axes.set(xlabel=None, ylabel=None)


def line(axes: Axes, x: Sequence[float], y: Sequence[float], *, series: int) -> None:
    """A curve in the colour and dash of its place in the series."""
    import seaborn as sns

    sns.lineplot(
        x=list(x),
        y=list(y),
        ax=axes,
        color=LINES[series % len(LINES)],
        errorbar=None,
        estimator=None,
        sort=False,
        legend=False,
        linewidth=1.8,
        zorder=3,
    )
    dash = DASHES[series % len(DASHES)]
    if dash:
        axes.lines[-1].set_dashes(dash)
    axes.set(xlabel=None, ylabel=None)


def interval(
    axes: Axes,
    x: float,
    y: float,
    low: float | None,
    high: float | None,
    *,
    colour: str,
    marker: str,
    level: bool = False,
    hollow: bool = False,
) -> None:
    """An estimate with its interval, upright or (``level``) lying. Without an interval: the mark alone."""
    if low is not None and high is not None:
        along, across = ((low, high), (y, y)) if level else ((x, x), (low, high))
        axes.plot(along, across, color=colour, linewidth=1.8, solid_capstyle="butt", zorder=4)
    axes.plot(
        [x],
        [y],
        marker=marker,
        markersize=6.5,
        color=colour,
        markerfacecolor=PAPER if hollow else colour,
        markeredgecolor=colour,
        markeredgewidth=1.4,
        linestyle="none",
        zorder=5,
    )


def span(values: Sequence[float], *, share: float = 0.06) -> tuple[float, float]:
    """Limits that hold every value with a little air; constant data get room on both sides."""
    low, high = min(values), max(values)
    flat = high - low <= 1e-9 * max(abs(low), abs(high), 1e-300)
    room = (abs(low) * 0.1 or 1.0) if flat else (high - low) * share
    return low - room, high + room


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Places for labels as near as can be to ``wanted``, at least ``gap`` apart, within the limits."""
    gap = min(gap, (high - low) / max(len(wanted) - 1, 1))
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    # Pushed up from the lowest and down from the highest; halfway between, the gaps still hold.
    up = list(accumulate((wanted[i] for i in order), lambda below, own: max(own, below + gap)))
    down = list(accumulate((wanted[i] for i in reversed(order)), lambda above, own: min(own, above - gap)))[::-1]
    placed = [(one + other) / 2 for one, other in zip(up, down, strict=True)]
    for i in range(len(placed)):
        placed[i] = max(placed[i], low + gap * i)
    for i in range(len(placed)):
        placed[-1 - i] = min(placed[-1 - i], high - gap * i)
    return [place for _, place in sorted(zip(order, placed, strict=True))]
