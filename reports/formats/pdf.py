"""How does a report become a PDF file?

The page is laid out by WeasyPrint, which brings its own layout of paper and needs no browser.
Same page in, same bytes out: nothing in the file tells when it was made. The file is tagged
(PDF/UA), so that a screen reader finds headings, tables and the texts of pictures.
"""

from __future__ import annotations

import logging
from typing import Literal, NoReturn

from analysis.errors import NotPossible
from reports.figures.svg import fixed_colours

Paper = Literal["A4", "Letter"]
PAPERS: tuple[Paper, ...] = ("A4", "Letter")

_HEAD_END = "</head>"


def as_pdf(page: str, *, paper: Paper = "A4") -> bytes:
    """``page`` (a whole HTML document of ours) as a PDF on ``paper``.

    Raises NotPossible where WeasyPrint or the library it draws letters with (Pango) is missing.
    """
    try:
        import weasyprint
    except ImportError as error:
        _refuse("WeasyPrint is not installed here", "pip install 'crumbwise[pdf]'", error)
    except OSError as error:  # the package is there, the system library it calls is not
        _refuse("Pango, which lays out the letters, is missing here", "apt-get install libpangoft2-1.0-0", error)
    logging.getLogger("weasyprint").setLevel(logging.ERROR)  # it remarks on every CSS word meant for browsers
    size = f"<style>@page {{ size: {paper}; }}</style>{_HEAD_END}"
    laid_out = fixed_colours(page).replace(_HEAD_END, size, 1)
    # As the page's own policy says: pictures carried in the page, nothing from outside.
    carried = weasyprint.URLFetcher(allowed_protocols=("data",))
    made: bytes = weasyprint.HTML(string=laid_out, url_fetcher=carried).write_pdf(pdf_variant="pdf/ua-1")
    return made


def _refuse(why: str, way_out: str, error: Exception) -> NoReturn:
    raise NotPossible(
        f"A PDF cannot be made: {why}.",
        where="--out",
        try_this=f"{way_out}; or write .html and print it from a browser",
    ) from error
