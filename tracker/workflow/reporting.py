"""How does an answer leave the kitchen?

As one page (HTML or PDF), with its pictures and tables as files of their own where they are
wished for. All of it is made first and written then, so that nothing is left half done.
"""

from __future__ import annotations

import shlex
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from tracker.errors import UsageError
from tracker.workflow.files import write_together

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from reports.kinds import Told
    from reports.page import Page
    from tracker.store import Store
    from tracker.workflow.analysing import TrialAnalysis
    from tracker.workflow.asking import Columns
    from tracker.workflow.options import Options

DECIMALS: Mapping[str, Literal[".", ","]] = {"point": ".", "comma": ","}
Decimal = Literal["point", "comma"]
Warmth = Literal["C", "F"]
Paper = Literal["A4", "Letter"]
LOOKS = ("--for", "--decimal", "--temperature")
PAGES = (".html", ".htm", ".pdf")


@dataclass(frozen=True, kw_only=True)
class Look:
    """What changes the page itself and is therefore told in its provenance: its reader, how numbers are written."""

    reader: str = "kitchen"
    decimal: Decimal = "point"
    temperature: Warmth = "C"

    def writing(self) -> AbstractContextManager[object]:
        """Numbers said inside are written so."""
        from analysis.words.numbers import writing

        return writing(decimal=DECIMALS[self.decimal], temperature=self.temperature)

    def said(self) -> list[str]:
        """As it would be typed again, without what is left at its default."""
        values = (self.reader, self.decimal, self.temperature)
        defaults = ("kitchen", "point", "C")
        said = zip(LOOKS, values, defaults, strict=True)
        return [word for option, value, default in said if value != default for word in (option, value)]


@dataclass(frozen=True, kw_only=True)
class Beside:
    """What else is written, and on which paper. ``tables`` is a folder for CSV or a file that ends in .xlsx."""

    pictures: Path | None = None
    tables: Path | None = None
    paper: Paper = "A4"


@dataclass(frozen=True, kw_only=True)
class Written:
    """What was written where; ``remarks`` are sentences to read with it."""

    report: Path
    pictures: tuple[Path, ...] = ()
    tables: tuple[Path, ...] = ()
    remarks: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        return {
            "report": str(self.report),
            "pictures": [str(path) for path in self.pictures],
            "tables": [str(path) for path in self.tables],
            "remarks": list(self.remarks),
        }


def report_page(answer: TrialAnalysis, look: Look | None = None) -> str:
    """The answer as one HTML document."""
    page, _ = _drawn(answer, look or Look(), points=False)
    return page


def write_report(
    answer: TrialAnalysis, path: str | Path, *, look: Look | None = None, beside: Beside | None = None
) -> Written:
    """Write the answer as one HTML or PDF file, and what is wished for beside it: all of it or nothing.

    Raises UsageError (an ending that is neither), InputError (cannot be written), NotPossible (no PDF here).
    """
    path, look, beside = Path(path), look or Look(), beside or Beside()
    require_page(path)  # before anything is drawn
    page, (pictures, tables) = _drawn(answer, look, points=beside.pictures is not None, beside=beside)
    files: dict[Path, str | bytes] = {path: in_its_format(page, path, beside.paper), **pictures, **tables}
    write_together(files)
    remarks = answer.remarks if answer.why_none is None else (answer.why_none.what, *answer.remarks)
    return Written(report=path, pictures=tuple(pictures), tables=tuple(tables), remarks=remarks)


def report_trial(
    store: Store,
    trial: str,
    path: str | Path,
    *,
    responses: Sequence[str] = (),
    options: Options | None = None,
    look: Look | None = None,
    beside: Beside | None = None,
) -> Written:
    """Analyse a trial and write its report; one that cannot be analysed yet gets a page that says what is missing."""
    require_page(Path(path))
    look = look or Look()
    require_reader(look.reader)
    with look.writing():  # remarks are sentences of the analysis
        answer = answer_for_report(store, trial, responses, options)
    return write_report(answer, path, look=look, beside=beside)


def report_file(
    source: str | Path,
    path: str | Path,
    *,
    columns: Columns,
    options: Options | None = None,
    sheet: str | None = None,
    look: Look | None = None,
    beside: Beside | None = None,
) -> Written:
    """Analyse a spreadsheet and write its report."""
    from tracker.workflow.analysing import analyse_file

    answer = analyse_file(source, columns=columns, options=options, sheet=sheet)
    return write_report(answer, path, look=look, beside=beside)


def answer_for_report(
    store: Store, trial: str, responses: Sequence[str] = (), options: Options | None = None
) -> TrialAnalysis:
    """The analysis of a trial, or why there is none yet.

    Raises what analyse_trial raises; NotPossible only when something was wished for, which may be why.
    """
    from analysis.errors import NotPossible
    from tracker.workflow.analysing import analyse_trial, unanswered_trial
    from tracker.workflow.report_photos import photos_of

    try:
        answer = analyse_trial(store, trial, responses=responses, options=options)
        return replace(answer, photos=photos_of(store, trial))
    except NotPossible as problem:
        if options is not None and options.said():
            raise
        return unanswered_trial(store, trial, problem, responses=responses, options=options)


def require_page(path: Path, *, option: str = "--out") -> None:
    """Raises UsageError for an ending that is no page's."""
    if path.suffix.lower() not in PAGES:
        raise UsageError(
            f"{path.name} ends neither in .html nor in .pdf.", where=option, try_this=f"{option} {path.stem}.html"
        )


def require_reader(reader: str) -> None:
    """Raises UsageError for a reader whom no report is made for."""
    from reports.kinds import KINDS

    if reader not in KINDS:
        known = ", ".join(KINDS)
        raise UsageError(f'No report is made for "{reader}".', where="--for", try_this=f"--for one of {known}")


def report_command(answer: TrialAnalysis, look: Look) -> str:
    """The command line that makes the page again, in which nothing depends on where the page lies."""
    words = shlex.split(str(answer.provenance["command"]))
    of_trial = words[:3] == ["crumbwise", "trial", "analyse"]
    if of_trial:
        return shlex.join([*words[:2], "report", *words[3:], *look.said()])
    return shlex.join([*words, *look.said(), "--report", "report.html"])


def _drawn(
    answer: TrialAnalysis, look: Look, *, points: bool, beside: Beside | None = None
) -> tuple[str, tuple[dict[Path, bytes], dict[Path, bytes]]]:
    """The page as HTML; the files of its pictures and of its tables."""
    from contextlib import nullcontext

    from reports.figures.svg import also_as_png

    require_reader(look.reader)
    beside = beside or Beside()
    as_points: AbstractContextManager[dict[str, bytes]] = also_as_png() if points else nullcontext({})
    with look.writing(), as_points as png:
        page = page_of(answer, look)
        files = _picture_files(page, beside.pictures, png), _table_files(page, beside.tables)
        return page.html(), files


def page_of(answer: TrialAnalysis, look: Look | None = None) -> Page:
    """The page part by part, before it is written."""
    from reports.page import trial_page, unanswered_page

    look = look or Look()
    told = told_of(answer, look)
    if answer.why_none is not None:
        return unanswered_page(told, why=answer.why_none.what, try_this=answer.why_none.try_this)
    return trial_page(told, kind=look.reader)


def told_of(answer: TrialAnalysis, look: Look | None = None) -> Told:
    """What the parts of a page are told."""
    from analysis.words.warmth import say_warmth
    from reports.kinds import Told
    from tracker.workflow.provenance import as_words

    look = look or Look()
    return Told(
        analysis=answer.analysis,
        notes=answer.taste_notes,
        plan=answer.plan,
        chemistry=answer.chemistry,
        provenance=as_words({**answer.provenance, "command": report_command(answer, look)}),
        title=answer.title,
        question=answer.question,
        invented=answer.invented,
        cautions=(*answer.remarks, *say_warmth(answer.analysis)),
        scores=answer.scores,
        tasting_open=answer.tasting_open,
        photos=answer.photos,
    )


def _picture_files(page: Page, folder: Path | None, png: Mapping[str, bytes]) -> dict[Path, bytes]:
    from reports.formats.pictures import as_file, pictures_of

    if folder is None:
        return {}
    files: dict[Path, bytes] = {}
    for name, figure in pictures_of(page.sections).items():
        files[folder / f"{name}.svg"] = as_file(figure)
        if figure.key in png:
            files[folder / f"{name}.png"] = png[figure.key]
    return files


def _table_files(page: Page, place: Path | None) -> dict[Path, bytes]:
    from reports.formats.tables import as_csv, as_workbook, tables_of

    if place is None:
        return {}
    tables = tables_of(page.sections)
    if place.suffix.lower() == ".xlsx":
        return {place: as_workbook(tables)}
    return {place / f"{name}.csv": as_csv(table) for name, (_, table) in tables.items()}


def write_page(page: Callable[[], str], path: Path, *, look: Look, paper: Paper, option: str = "--out") -> Path:
    """One page as an HTML or PDF file, whole or not at all; ``page`` draws it, numbers written as ``look`` says.

    Raises UsageError (an ending that is no page's), InputError (cannot be written), NotPossible (no PDF here).
    """
    require_page(path, option=option)
    with look.writing():
        drawn = page()
    write_together({path: in_its_format(drawn, path, paper)})
    return path


def in_its_format(page: str, path: Path, paper: Paper) -> str | bytes:
    """The page as it is written: HTML as it stands, a PDF on its paper."""
    if path.suffix.lower() != ".pdf":
        return page
    from reports.formats.pdf import as_pdf

    return as_pdf(page, paper=paper)
