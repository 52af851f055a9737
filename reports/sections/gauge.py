"""What are the parts of a page on the measuring?"""

from __future__ import annotations

from analysis.control.gauge.results import GaugeAnswer
from analysis.words import gauge_pages as say
from analysis.words.checks import say_check
from analysis.words.gauge import say_gauge_answer, say_gauge_finding
from analysis.words.gauge_pages import (
    BY_HAND,
    EVERY_READING,
    PEOPLE_CAPTION,
    SHARES,
    TABLE_CAPTION,
    TITLES,
    WORTH_CAPTION,
    say_layout,
    say_left_out_readings,
    say_methods,
    say_ranges,
    say_term,
    title_of_fit,
)
from analysis.words.numbers import say_number, say_p, say_percent, say_signed
from reports.figures.gauge import draw_components, draw_readings
from reports.figures.picture import Table
from reports.html import plain
from reports.sections.blocks import Block, Grid, Items, Picture, Section, Words
from reports.sections.numbering import Keys

ABOUT_PEOPLE = ("people differ", "nothing seen", "odd reading")


def answer_section(answer: GaugeAnswer) -> Section:
    """The verdict, how sure it is, what it is made of, and what to do."""
    first, *rest = (plain(line) for line in say_gauge_answer(answer))
    blocks: list[Block] = [Words(text=first, tone="lead"), *(Words(text=line) for line in rest)]
    return Section(key="answer", title=TITLES["answer"], blocks=blocks)


def parts_section(answer: GaugeAnswer, keys: Keys) -> Section:
    """The parts of the spread against the tolerance, and how many groups are told apart."""
    said = [say_gauge_finding(one, answer) for one in answer.findings if one.kind == "classes"]
    blocks: list[Block] = [
        Words(text=plain(say_layout(answer))),
        Picture(figure=draw_components(answer, key=keys())),
        *(Words(text=plain(line)) for line in said),
        Words(text=SHARES, tone="quiet"),
    ]
    return Section(key="glance", title=TITLES["parts"], blocks=blocks)


def people_section(answer: GaugeAnswer, keys: Keys) -> Section:
    """Who reads higher, by how much, and which readings are odd."""
    said = [plain(say_gauge_finding(one, answer)) for one in answer.findings if one.kind in ABOUT_PEOPLE]
    blocks: list[Block] = [Picture(figure=draw_readings(answer, key=keys()), fold=True)]
    blocks += [Items(items=tuple(said))] if said else []
    blocks.append(Grid(caption=PEOPLE_CAPTION, table=_people(answer)))
    return Section(key="people", title=TITLES["people"], blocks=blocks)


def _people(answer: GaugeAnswer) -> Table:
    rows = []
    for line in answer.persons:
        half = None if line.low is None or line.high is None else (line.high - line.low) / 2
        ends = ["–" if end is None else say_number(end, half) for end in (line.low, line.high)]
        offset = "–" if line.offset is None else say_signed(line.offset, half)
        sd = [
            "–" if value is None else say_number(value, value or None) for value in (line.sd, line.sd_low, line.sd_high)
        ]
        mean = say_number(line.mean, answer.used.components["repeatability"].sd)
        rows.append((plain(line.person) or EVERY_READING, str(line.readings), mean, offset, *ends, *sd))
    columns = say.PERSON_COLUMNS
    return Table(columns=columns, rows=tuple(rows))


def worth_section(answer: GaugeAnswer) -> Section:
    """How many readings of each bake are worth taking."""
    said = [plain(say_gauge_finding(one, answer)) for one in answer.findings if one.kind == "readings worth"]
    rows = tuple(
        (
            str(point.people),
            str(point.readings),
            say_number(point.sd, point.sd / 10),
            say_number(point.measuring, point.measuring or None),
            "–" if point.gain is None else say_percent(point.gain, 1),
        )
        for point in answer.worth.points
    )
    columns = say.WORTH_COLUMNS
    grid = Grid(caption=WORTH_CAPTION, table=Table(columns=columns, rows=rows), fold=True)
    return Section(key="worth", title=TITLES["worth"], blocks=[*(Words(text=line) for line in said), grid])


def sure_section(answer: GaugeAnswer) -> Section | None:
    """What was looked at, the doubtful first."""
    ordered = sorted(answer.checks, key=lambda check: check.verdict == "fine")
    items = tuple(f"{check.verdict.capitalize()}: {plain(say_check(check))}" for check in ordered)
    return Section(key="sure", title=TITLES["sure"], blocks=[Items(items=items)]) if items else None


def made_section(answer: GaugeAnswer) -> Section:
    """The method, the table of mean squares, and the same by averages and ranges."""
    said = [plain(line) for line in (*say_methods(answer), say_ranges(answer)) if line]
    blocks: list[Block] = [Items(items=tuple(said))]
    for fit in answer.fits:
        if fit.table:
            rows = tuple(
                (
                    say_term(line.term),
                    str(line.df),
                    say_number(line.sum_sq),
                    say_number(line.mean_sq),
                    "–" if line.f is None else say_number(line.f),
                    "–" if line.p is None else say_p(line.p),
                )
                for line in fit.table
            )
            table = Table(columns=say.FIT_COLUMNS, rows=rows)
            blocks.append(Grid(caption=f"{TABLE_CAPTION}, {title_of_fit(fit)}", table=table, fold=True))
    blocks += [Grid(caption=BY_HAND, table=_by_hand(answer))] if answer.ranges is not None else []
    blocks.append(Words(text=plain(say_left_out_readings(answer)), tone="quiet"))
    return Section(key="made", title=TITLES["made"], blocks=blocks)


def _by_hand(answer: GaugeAnswer) -> Table:
    """Both ways side by side."""
    hand, used = answer.ranges, answer.used.components
    assert hand is not None
    pairs = (
        ("repeatability", hand.repeatability),
        ("reproducibility", hand.reproducibility),
        ("gauge", hand.gauge),
        ("piece", hand.piece),
        ("total", hand.total),
    )
    rows = tuple(
        (say_term(key), say_number(value, value / 10 or None), say_number(used[key].sd, used[key].sd / 10 or None))
        for key, value in pairs
    )
    return Table(columns=say.HAND_COLUMNS, rows=rows)
