"""How does a photo of a bake come in, and who sees it?

It is decoded and encoded anew by one of two threads of their own: neither the one that writes
nor the one that answers waits for a picture, and two large ones at most are in memory. Those
who taste never see one, since a crumb can be known again.
"""

from __future__ import annotations

import asyncio
import hashlib
from concurrent.futures import ThreadPoolExecutor
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.responses import Response

from tracker.bench.kit import form_of, keep, needs, status_of, store_of, text
from tracker.bench.pages.run import address_of, refused_page, whole_number
from tracker.errors import InputError, TrackerError
from tracker.intake.pictures import LARGEST_BYTES, Picture, read_picture
from tracker.workflow.accounts import AccountLine
from tracker.workflow.erasing import erase_photo, run_of_photo
from tracker.workflow.photos import keep_photo, photo

router = APIRouter()
Baker = Annotated[AccountLine, Depends(needs("baker"))]
Owner = Annotated[AccountLine, Depends(needs("owner"))]
# A large file lies on the disk while it is looked at, and is gone with the answer.
Form = Annotated[FormData, Depends(form_of)]

PLACE = "photos"  # where on the page of the run
_DARKROOM = ThreadPoolExecutor(max_workers=2, thread_name_prefix="photo")


@router.post("/photo/{number:int}/erase")
def erase(request: Request, who: Owner, form: Form, number: int) -> Response:
    """The picture goes for good; the page of its run says by whom and why. Asked before ``add``, which is alike."""
    trial, code = run_of_photo(store_of(request), number)
    if text(form, "sure") != "yes":
        raise InputError(
            "Nothing was erased: tick that the picture shall go for good.",
            where="photo",
            try_this="go back and tick it",
        )
    return keep(
        request,
        who,
        form,
        lambda store: erase_photo(store, number, reason=text(form, "reason"), person=who.person),
        then=f"{address_of(trial, code)}#{quote(PLACE)}",
    )


@router.post("/photo/{trial:path}/{code}")
async def add(request: Request, who: Baker, form: Form, trial: str, code: str) -> Response:
    """Keep a photo of the run; without a script its page is shown again."""
    try:
        picture, sent = await asyncio.get_running_loop().run_in_executor(_DARKROOM, _developed, form)
        piece = whole_number(text(form, "piece"))
        words = text(form, "words")
        # The file is a part of what was entered: the same key with another one is another entry.
        entered = FormData([*form.multi_items(), ("sha256", sent)])
        return await run_in_threadpool(
            keep,
            request,
            who,
            entered,
            lambda store: keep_photo(store, trial, code, picture, piece=piece, words=words, person=who.person),
            then=f"{address_of(trial, code)}#{quote(PLACE)}",
        )
    except TrackerError as error:
        if status_of(error) not in (409, 422):
            raise
        return await run_in_threadpool(refused_page, request, form, error, trial, code, PLACE)


def _developed(form: FormData) -> tuple[Picture, str]:
    """The picture as it is kept, and the hash of the file as it was sent."""
    sent = form.get("photo")
    data = sent.file.read(LARGEST_BYTES + 1) if isinstance(sent, UploadFile) else b""
    return read_picture(data), hashlib.sha256(data).hexdigest()


@router.api_route("/photo/{number:int}", methods=["GET", "HEAD"])
def large(request: Request, who: Baker, number: int) -> Response:
    return _shown(photo(store_of(request), number), number)


@router.api_route("/photo/{number:int}/small", methods=["GET", "HEAD"])
def small(request: Request, who: Baker, number: int) -> Response:
    """For the page of the run, which would otherwise weigh megabytes."""
    return _shown(photo(store_of(request), number, small=True), number)


def _shown(content: bytes, number: int) -> Response:
    headers = {"content-disposition": f'inline; filename="photo-{number}.jpg"'}
    return Response(content, media_type="image/jpeg", headers=headers)
