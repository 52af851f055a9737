"""What is to be done now?"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.responses import Response

from tracker.bench.kit import needs, page, store_of
from tracker.bench.remembered import remembered
from tracker.workflow.accounts import AccountLine
from tracker.workflow.today import today

router = APIRouter()
Baker = Annotated[AccountLine, Depends(needs("baker"))]


@router.get("/")
def show(request: Request, who: Baker) -> Response:
    return page(request, "today/today.html", today=remembered(request, "today", lambda: today(store_of(request))))
