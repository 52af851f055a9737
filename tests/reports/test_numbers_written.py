"""No page formats a number by itself: one module says how numbers are written."""

from __future__ import annotations

import re
from pathlib import Path

from analysis.words.numbers import writing
from reports.figures.style import canvas

ROOT = Path(__file__).parents[2]
_FORMATTED = re.compile(r"\{[^{}]*:[<>^+]?\d*(?:\.(?:\d|\{\w+\}))?[fgeG%]\}")
# The one module, and the places and sizes that only a browser reads.
EXCEPT = {"analysis/words/numbers.py", "reports/figures/svg.py"}


def faults(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if _FORMATTED.search(line) and "as_written(" not in line]


def test_no_number_is_formatted_outside_the_one_module():
    found = {}
    for path in (*(ROOT / "analysis" / "words").rglob("*.py"), *(ROOT / "reports").rglob("*.py")):
        name = path.relative_to(ROOT).as_posix()
        wrong = faults(path.read_text(encoding="utf-8"))
        if wrong and name not in EXCEPT:
            found[name] = wrong
    assert found == {}


def test_the_search_finds_what_it_is_for():
    assert faults('x = f"{100 * share:.0f} %"')
    assert faults('f"{p.soda_g:8.2f}"')
    assert faults('f"{bound:g}"')
    assert not faults('as_written(f"{total:.2f}")')
    assert not faults('f"{name:<32} {say_fixed(value, 1):>7}"')


def test_numbers_along_the_axes_have_the_mark_of_the_page():
    def ticks() -> list[str]:
        with canvas(2) as (figure, (axes,)):
            axes.set_xlim(0, 2)
            axes.set_xticks([0, 0.5, 1, 1.5])
            figure.canvas.draw()
            return [label.get_text() for label in axes.get_xticklabels()]

    assert ticks() == ["0.0", "0.5", "1.0", "1.5"]
    with writing(decimal=","):
        assert ticks() == ["0,0", "0,5", "1,0", "1,5"]
