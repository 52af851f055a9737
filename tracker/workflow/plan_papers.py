"""How does a paper for the bench come onto a page that allows no style of its own?

The papers are whole documents with their style inside, allowed by its hash. Pages of the bench
allow style sheets of their own address only, so that the style is handed out beside the paper.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from tracker.errors import NotFound
from tracker.workflow.sheets import make_sheet

if TYPE_CHECKING:
    from tracker.store import Store

PAPERS = {"sheet": "Bench sheet", "labels": "Code labels", "weighing": "Weighing list", "oven": "Oven map"}
_STYLE = re.compile(r"<style>(.*?)</style>", re.DOTALL)
_POLICY = re.compile(r'<meta http-equiv="Content-Security-Policy"[^>]*>\n?')


def paper(store: Store, trial: str, kind: str, *, address: str, style: str, icon: str) -> str:
    """The paper as HTML with its style and icon at these addresses; ``address`` is that of the bench, for its codes."""
    html = _made(store, trial, kind, address)
    links = f'<link rel="icon" href="{icon}">\n<link rel="stylesheet" href="{style}">'
    linked = _STYLE.sub(lambda _: links, html, count=1)
    return _POLICY.sub("", linked, count=1)


def paper_style(store: Store, trial: str, kind: str) -> str:
    """The style sheet of a paper."""
    found = _STYLE.search(_made(store, trial, kind, ""))
    assert found is not None, "every paper carries its style"
    return found[1]


def _made(store: Store, trial: str, kind: str, address: str) -> str:
    from reports.labels import code_labels
    from reports.oven_map import oven_map
    from reports.sheet import bench_sheet
    from reports.weighing_list import weighing_list

    makers = {"sheet": bench_sheet, "labels": code_labels, "weighing": weighing_list, "oven": oven_map}
    if kind not in makers:
        raise NotFound(f'There is no paper "{kind}".', where="papers", try_this="one of " + ", ".join(makers))
    return makers[kind](make_sheet(store, trial, address=address))
