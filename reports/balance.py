"""What do these amounts do together? The acid-base account on one page, the answer first.

Like a trial's report: one HTML file without script and without outside requests; same account in, same
bytes out.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from analysis.words import headings as say
from analysis.words import pages
from analysis.words.balances import (
    ALL_LINES,
    METHOD,
    SURENESS,
    WATERY,
    say_account_rows,
    say_balance_answer,
    say_left_out,
    say_way_to_neutral,
)
from analysis.words.leavening import say_caution
from analysis.words.numbers import say_number
from reports.figures.chemistry import draw_titration
from reports.figures.picture import Table
from reports.html import plain, render, style_sheet
from reports.sections.blocks import Grid, Items, Picture, Section, Words
from reports.sections.record import facts_section

if TYPE_CHECKING:
    from analysis.leavening.balance import Balance
    from analysis.leavening.curve import TitrationCurve


def balance_report(
    account: Balance,
    *,
    title: str,
    question: str = "",
    provenance: Mapping[str, str],
    curve: TitrationCurve | None = None,
    left_out: tuple[str, ...] = (),
    invented: bool = False,
) -> str:
    """The account as one HTML document.

    ``curve`` is the pH of the same amounts with other doses of soda (None: no picture); ``left_out`` names
    lines that the account knows nothing of.
    """
    sections = [
        _answer(account, left_out),
        _account(account, curve),
        _way(account),
        _lines(account),
        Section(key="made", title=say.HOW_WORKED_OUT, blocks=[Words(text=METHOD), Words(text=WATERY)]),
        facts_section(provenance),
    ]
    values = {
        "words": pages,
        "title": plain(title) or "Balance",
        "question": plain(question),
        "invented": invented,
        "cautions": [plain(say_caution(caution)) for caution in account.cautions],
        "sections": sections,
    }
    return render("report.html", style_sheet("report.css"), values)


def _answer(account: Balance, left_out: tuple[str, ...]) -> Section:
    blocks = [Words(text=plain(say_balance_answer(account)), tone="lead")]
    if left_out:
        blocks.append(Words(text=plain(say_left_out(left_out)), tone="quiet"))
    return Section(key="answer", title=say.THE_ANSWER, blocks=blocks)


def _account(account: Balance, curve: TitrationCurve | None) -> Section:
    blocks: list[Picture | Grid] = []
    if curve is not None:
        figure = draw_titration(curve, key="figure-1", here_g=account.soda_g, crumb_ph=account.baked.value)
        blocks.append(Picture(figure=figure, fold=True))
    table = Table(columns=say.ACCOUNT_COLUMNS, rows=say_account_rows(account))
    blocks.append(Grid(caption=say.THE_ACCOUNT, table=table))
    return Section(key="glance", title=say.GAS_LEFT_AND_PH, blocks=blocks)


def _way(account: Balance) -> Section:
    from analysis.leavening.substances import SUBSTANCES

    value = SUBSTANCES["cream of tartar"].neutralising_value
    assert value is not None
    blocks = [Items(items=tuple(map(plain, say_way_to_neutral(account, value))))]
    return Section(key="next", title=say.WHAT_MAKES_NEUTRAL, blocks=blocks)


def _lines(account: Balance) -> Section:
    rows = tuple(
        (
            plain(line.ingredient),
            say_number(line.grams),
            say_number(line.acid_meq),
            say_number(line.soda_g),
            SURENESS.get(line.sureness, plain(line.sureness)),
            plain(line.source) or "–",
        )
        for line in account.lines
    )
    columns = say.LINE_COLUMNS
    grid = Grid(caption=ALL_LINES, table=Table(columns=columns, rows=rows))
    return Section(key="data", title=say.LINE_BY_LINE, blocks=[grid])
