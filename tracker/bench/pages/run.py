"""What happens to one run at the bench?"""

from __future__ import annotations

from fastapi import APIRouter

router = APIRouter()
