"""Which of many products need eyes? All of them on one page, those first.

Each product stands with its reasons and one picture; what is as usual is a line of a table.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from analysis.words.batch_pages import (
    COLUMNS_OF_PRODUCTS,
    HOT,
    PRODUCTS_CAPTION,
    QUESTION,
    TITLES,
    products_title,
    say_alarmed,
    say_held,
    say_missed,
    say_no_batches,
    say_products,
    say_unanswered,
)
from reports.figures.picture import Table
from reports.html import plain
from reports.page import Page
from reports.sections.batches import BatchesTold, alarmed, by_chance, level_picture, outside
from reports.sections.blocks import Block, Grid, Heading, Items, Section, Words
from reports.sections.numbering import Keys
from reports.sections.record import facts_section


@dataclass(frozen=True, kw_only=True)
class ProductsTold:
    """``products`` are those with a log; of each the batches of the same period."""

    kind: str
    first: date
    last: date
    products: tuple[BatchesTold, ...]
    provenance: Mapping[str, str] = field(default_factory=dict)
    invented: bool = False


def reasons_of(told: BatchesTold) -> tuple[str, ...]:
    """Why a product needs eyes; nothing where it does not, and nothing for alarms that chance alone would give."""
    said = []
    for response in told.responses:
        own = len(set(told.batches) & set(response.series.batches))
        if own and by_chance(told, response, own) is None:
            said.append(say_alarmed(response.series.response, len(alarmed(told, response)), own))
    waiting = sum(alarm.count for alarm in told.alarms if alarm.open)
    said += [say_unanswered(waiting)] if said and waiting else []
    for response in told.responses:
        missed, readings = outside(told, response)
        said += [say_missed(response.series.response, missed, readings)] if missed else []
    held = [row[0] for row in told.decisions if row[1] == "hold"]
    return (*said, *([say_held(held)] if held else []))


def products_page(told: ProductsTold) -> Page:
    """The page with its parts drawn and said."""
    keys = Keys()
    parts = [
        _answer(told),
        _eyes(told, keys),
        _calm(told),
        facts_section(told.provenance, title=TITLES["provenance"]),
    ]
    return Page(
        sections=tuple(part for part in parts if part is not None),
        title=products_title(told.kind, told.first, told.last),
        question=QUESTION,
        invented=told.invented,
        cautions=(HOT,),
    )


def summary_of(told: ProductsTold) -> str:
    """The headline and the reasons, as text."""
    lines = [_headline(told)]
    for each in told.products:
        reasons = reasons_of(each)
        lines += [f"{each.product}:", *(f"  - {reason}" for reason in reasons)] if reasons else []
    return "\n".join(lines)


def _headline(told: ProductsTold) -> str:
    baked = [each for each in told.products if each.batches]
    if not baked:
        return say_no_batches(told.kind, told.first, told.last)
    return say_products(len(baked), sum(bool(reasons_of(each)) for each in baked))


def _answer(told: ProductsTold) -> Section:
    return Section(key="answer", title=TITLES["answer"], blocks=[Words(text=_headline(told), tone="lead")])


def _eyes(told: ProductsTold, keys: Keys) -> Section | None:
    """The products with a reason, those with the most alarms first."""
    loud = sorted(
        (each for each in told.products if reasons_of(each)),
        key=lambda each: (-_share(each), each.product),
    )
    blocks: list[Block] = []
    for each in loud:
        blocks.append(Heading(text=plain(each.product)))
        blocks.append(Items(items=tuple(plain(reason) for reason in reasons_of(each))))
        if each.responses:
            blocks.append(level_picture(each.responses[0], each, keys))
    return Section(key="eyes", title=TITLES["eyes"], blocks=blocks) if blocks else None


def _share(told: BatchesTold) -> float:
    """The share of batches with an alarm."""
    loud = {batch for response in told.responses for batch in alarmed(told, response)}
    return len(loud) / max(len(told.batches), 1)


def _calm(told: ProductsTold) -> Section:
    """Every product in one table."""
    rows = []
    for each in sorted(told.products, key=lambda one: (-_share(one), one.product)):
        loud = {batch for response in each.responses for batch in alarmed(each, response)}
        counted = [outside(each, response) for response in each.responses]
        missed, readings = sum(one for one, _ in counted), sum(of for _, of in counted)
        rows.append(
            (
                plain(each.product),
                str(len(each.batches)),
                str(len(loud)),
                f"{missed} / {readings}" if readings else "–",
                str(sum(alarm.count for alarm in each.alarms if alarm.open)),
            )
        )
    grid = Grid(caption=PRODUCTS_CAPTION, table=Table(columns=COLUMNS_OF_PRODUCTS, rows=tuple(rows)))
    return Section(key="calm", title=TITLES["calm"], blocks=[grid])
