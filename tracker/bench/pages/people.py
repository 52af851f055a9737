"""Who works in this kitchen, and what may they do?"""

from __future__ import annotations

from fastapi import APIRouter

router = APIRouter()
