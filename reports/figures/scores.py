"""How were the scores shared out at each treatment?

One strip a treatment, from the lowest score to the highest, each score with its own tone and hatching,
so that the picture reads in grey. The share stands in the strip where it fits; a diamond below it
marks the expected score on the same run from lowest to highest.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from analysis.results import ResponseResult
from analysis.scores.results import ScorePart, Shares
from analysis.words.numbers import half_width, join_words, say_fixed, say_level, say_number, say_percent
from analysis.words.pictures import tasting as say
from reports.figures.lettering import brief, row_names, wrapped, write
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.style import BLUE, INK, PAPER, RULE, SOFT, canvas, interval
from reports.figures.svg import as_svg

TALLEST = 7.0
MOST_ROWS = 16
HATCHES = ("", "....", "////", "", "xxxx", "\\\\\\\\", "oo", "----", "++", "")
WIDE, LETTER, MARK = 330.0, 4.7, 24.0  # points: room for the legend, a letter of it, its mark with the gap beside
NARROW = 0.09  # share below which no number fits into the strip


def draw_scores(part: ScorePart, result: ResponseResult, *, key: str) -> Figure | None:
    """Strips of the treatments (of the levels where there are too many); None for counts."""
    rows = _rows(part)
    if not rows or part.scale == "count":
        return None
    labels = part.labels
    lines = -(-len(labels) // _on_a_line(labels))
    height = min(TALLEST, 0.95 + 0.46 * len(rows) + 0.2 * lines)
    with canvas(height) as (figure, (axes,)):
        for at, row in enumerate(rows):
            _strip(axes, at, row, labels)
        names = [wrapped(_treatment(row), width=18) for row in rows]
        row_names(axes, list(range(len(rows))), names, most=MOST_ROWS)
        axes.set(xlim=(0, 1), ylim=(len(rows) - 0.35, -0.75))
        axes.set_xticks([0, 0.25, 0.5, 0.75, 1], ["0 %", "25 %", "50 %", "75 %", "100 %"])
        axes.spines["left"].set_visible(False)
        of = say.OF_YES if part.scale == "yes-no" else say.OF_EACH_SCORE
        axes.set_xlabel(say.scores_axis(brief(result.response.name, 40), of), parse_math=False)
        _legend(axes, labels)
        alt = _alt(rows, part, result)
        svg = as_svg(figure, key=key, title=say.scores_title(brief(result.response.name, 40)), description=alt)
    return Figure(key=key, svg=svg, alt=alt, caption=_caption(part, rows), table=_table(rows, part))


def _rows(part: ScorePart) -> tuple[Shares, ...]:
    """The treatments; where they are too many, the levels of each factor."""
    return (part.treatments if 0 < len(part.treatments) <= MOST_ROWS else part.levels)[:MOST_ROWS]


def _strip(axes: Any, at: int, row: Shares, labels: Sequence[str]) -> None:
    start = 0.0
    for place, label in enumerate(labels):
        share = row.fitted[label]
        tone = _tone(place, len(labels))
        axes.barh(
            at, share, left=start, height=0.5, color=BLUE, alpha=tone, hatch=HATCHES[place % len(HATCHES)],
            edgecolor=PAPER, linewidth=0.8, zorder=2,
        )  # fmt: skip
        if share >= NARROW:
            box = {"facecolor": PAPER, "edgecolor": "none", "pad": 0.8}
            text = say_fixed(100 * share, 0)
            write(axes, start + share / 2, at, text, ha="center", fontsize=8, color=INK, bbox=box, zorder=4)
        start += share
    axes.axhline(at + 0.42, color=RULE, linewidth=0.4, zorder=0)
    low, high, mean = (_place(value, labels, row) for value in (row.low, row.high, row.mean))
    if mean is not None:
        interval(axes, mean, at + 0.36, low, high, colour=INK, marker="D", level=True)
        axes.lines[-1].set_markersize(3.6)


def _place(value: float | None, labels: Sequence[str], row: Shares) -> float | None:
    """An expected score on the run from the lowest to the highest."""
    numbers = [_number(label, at) for at, label in enumerate(labels)]
    if value is None or numbers[-1] <= numbers[0]:
        return None
    return (value - numbers[0]) / (numbers[-1] - numbers[0])


def _number(label: str, at: int) -> float:
    try:
        return float(label)
    except ValueError:
        return float(at + 1) if label not in ("no", "yes") else float(label == "yes")


def _tone(place: int, count: int) -> float:
    return 0.15 + 0.8 * place / max(count - 1, 1)


def _legend(axes: Any, labels: Sequence[str]) -> None:
    """The scores above the first strip, each with its tone and hatching."""
    from matplotlib.patches import Patch

    marks = [
        Patch(facecolor=BLUE, alpha=_tone(at, len(labels)), hatch=HATCHES[at % len(HATCHES)], edgecolor=PAPER)
        for at in range(len(labels))
    ]
    legend = axes.legend(
        marks, _shown(labels), loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=_on_a_line(labels), frameon=False,
        fontsize=8, handlelength=1.3, columnspacing=1.0, borderaxespad=0.2, labelcolor=SOFT,
    )  # fmt: skip
    for text in legend.get_texts():
        text.set_parse_math(False)


def _shown(labels: Sequence[str]) -> list[str]:
    return [brief(label, 14) for label in labels]


def _on_a_line(labels: Sequence[str]) -> int:
    """How many scores of the legend fit side by side on the width of a picture."""
    widths = [len(name) * LETTER + MARK for name in _shown(labels)]
    return len(labels) if sum(widths) <= WIDE else max(1, int(WIDE / max(widths)))


def _treatment(row: Shares) -> str:
    return ", ".join(row.settings.values()) if len(row.settings) > 1 else " ".join(*row.settings.items())


def _alt(rows: Sequence[Shares], part: ScorePart, result: ResponseResult) -> str:
    lowest = result.response.goal == "minimise"
    best = (min if lowest else max)(rows, key=lambda row: row.mean)
    name = brief(result.response.name, 24)
    if part.scale == "yes-no":
        said = say.share_yes(say_percent(best.mean))
    else:
        said = say.expected_score(name, say_number(best.mean, half_width(best.low, best.high)))
    return short_alt(
        say.scores_alt(name, len(rows), say.LOWEST if lowest else say.HIGHEST, brief(_treatment(best), 36), said)
    )


def _caption(part: ScorePart, rows: Sequence[Shares]) -> str:
    factors = list(dict.fromkeys(name for row in rows for name in row.settings))
    together = say.rows_are(join_words(factors)) if all(len(row.settings) > 1 for row in rows) else ""
    if part.scale == "yes-no":
        return f"{say.YES_NO_CAPTION}{together}"
    return f"{say.scores_caption(part.labels[0], part.labels[-1])}{together}"


def _table(rows: Sequence[Shares], part: ScorePart) -> Table:
    body = []
    for row in rows:
        step = half_width(row.low, row.high)
        ends = [say_number(end, step) if end is not None else "–" for end in (row.mean, row.low, row.high)]
        shares = [say_fixed(100 * row.fitted[label], 0) for label in part.labels]
        seen = " / ".join(say_level(row.seen[label]) for label in part.labels)
        body.append((_treatment(row), *shares, *ends, seen))
    columns = say.columns_of_scores(f'{label} (%)' for label in part.labels)  # fmt: skip
    return Table(columns=columns, rows=tuple(body))
