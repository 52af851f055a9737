"""How does a tablet come to trust the bench?

Its root certificate is given out to whoever asks, since it holds nothing secret; whether it is
the right one shows in its fingerprint, which stands in the terminal in which the bench was
started. Trusting it is done in the settings of the tablet, and only there.
"""

from __future__ import annotations

import hashlib

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from tracker.bench.kit import page, settings_of

router = APIRouter()
NAME = "bench-root.crt"


@router.get("/trust")
def show(request: Request) -> Response:
    return page(request, "trust/trust.html", fingerprint=_fingerprint(_root(request)))


@router.get("/trust/root")
def root(request: Request) -> Response:
    headers = {"content-disposition": f'attachment; filename="{NAME}"'}
    return Response(_root(request), media_type="application/x-x509-ca-cert", headers=headers)


def _root(request: Request) -> bytes:
    found = settings_of(request).root_der
    if not found:
        raise HTTPException(404)
    return found


def _fingerprint(certificate: bytes) -> str:
    """As browsers and the terminal write it."""
    return hashlib.sha256(certificate).digest().hex(":").upper()
