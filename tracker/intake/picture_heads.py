"""What kind of picture is this and how large, before anything of it is decoded?

A file of a few kilobytes can say that it is 50,000 pixels wide, and a decoder would believe
it. So the sides, the number of pictures and, for JPEG, the number of passes are read here
from the structure of the file alone; the name and what a browser calls it mean nothing.
Structures: JPEG by ITU-T T.81 annex B, PNG third edition 5 and 11, WebP by its container
specification (all from memory).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from tracker.errors import InputError

MOST_PIXELS = 50_000_000  # a plain JPEG, which is made smaller while it is decoded
MOST_PIXELS_WHOLE = 25_000_000  # PNG and progressive JPEG, which are decoded whole: 240 MB of memory, measured
MOST_PIXELS_WEBP = 12_000_000  # whose decoder holds them several times: 200 MB
MOST_CHUNKS = 20_000  # of a PNG; writers that cut small have some thousand
MOST_PASSES = 64  # of a progressive JPEG; cameras write about ten, and each costs a pass over the picture
AGAIN = "take the photo again, or choose a JPEG, PNG or WebP"

_HEIC = {b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1", b"avif", b"avis"}
# A marker within the data of a scan: not a stuffed byte, not a restart, not a fill byte.
_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")
_PLAIN, _SEQUENTIAL, _PROGRESSIVE = 0xC0, 0xC1, 0xC2


@dataclass(frozen=True, kw_only=True)
class Head:
    """``kind`` "JPEG", "PNG" or "WEBP"; sides in pixels."""

    kind: str
    width: int
    height: int


def picture_head(data: bytes) -> Head:
    """Raises InputError for what is no picture of these kinds, is too large to decode, or moves."""
    if not data:
        raise InputError("No photo was chosen, or the file is empty.", where="photo", try_this=AGAIN)
    try:
        head, most = _head(data)
    except (IndexError, ValueError):
        raise broken() from None
    if head.width < 1 or head.height < 1:
        raise broken()
    if head.width * head.height > most:
        raise InputError(
            f"The picture has {head.width:,} × {head.height:,} pixels; at most {most // 1_000_000} million are taken.",
            where="photo",
            try_this="choose a smaller size in the settings of the camera",
        )
    return head


def broken() -> InputError:
    """The picture begins like one, and is none to the end."""
    return InputError("The picture is broken or not whole.", where="photo", try_this=AGAIN)


def _head(data: bytes) -> tuple[Head, int]:
    if data.startswith(b"\xff\xd8\xff"):
        return _jpeg(data)
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return _png(data), MOST_PIXELS_WHOLE
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return _webp(data), MOST_PIXELS_WEBP
    if data[4:8] == b"ftyp" and data[8:12] in _HEIC:
        raise InputError(
            "That picture is in the camera's own format (HEIC or AVIF), which the bench does not read.",
            where="photo",
            try_this='set the camera to "most compatible" (JPEG), or take a picture of the screen',
        )
    raise InputError("That file is no picture the bench can read.", where="photo", try_this=AGAIN)


def _whole(data: bytes, at: int, length: int, order: str = "big") -> int:
    part = data[at : at + length]
    if at < 0 or len(part) < length:
        raise IndexError
    return int.from_bytes(part, "big" if order == "big" else "little")


def _jpeg(data: bytes) -> tuple[Head, int]:
    """Walk from marker to marker; the data of a scan are stepped over, never read."""
    at, found, passes, most = 2, None, 0, MOST_PIXELS
    while True:
        while _whole(data, at, 2) == 0xFFFF:
            at += 1
        if data[at] != 0xFF:
            raise ValueError
        marker = data[at + 1]
        if marker == 0xD9:
            break
        length = _whole(data, at + 2, 2)
        if length < 2:
            raise ValueError
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            if found or marker not in (_PLAIN, _SEQUENTIAL, _PROGRESSIVE) or data[at + 4] != 8:
                raise ValueError  # a second frame, or a process that no camera uses
            most = MOST_PIXELS_WHOLE if marker == _PROGRESSIVE else MOST_PIXELS
            found = Head(kind="JPEG", height=_whole(data, at + 5, 2), width=_whole(data, at + 7, 2))
        at += 2 + length
        if marker == 0xDA:
            passes += 1
            following = _MARKER.search(data, at)
            if following is None or passes > MOST_PASSES:
                raise ValueError
            at = following.start()
    if found is None or not passes:
        raise ValueError
    return found, most


def _png(data: bytes) -> Head:
    """The first chunk has the sides; the others are walked for one that says the picture moves."""
    if data[12:16] != b"IHDR" or _whole(data, 8, 4) != 13:
        raise ValueError
    at, chunks = 8, 0
    while (name := data[at + 4 : at + 8]) != b"IEND":
        chunks += 1
        if len(name) < 4 or chunks > MOST_CHUNKS:
            raise ValueError
        if name == b"acTL":
            raise moving()
        at += 12 + _whole(data, at, 4)
    return Head(kind="PNG", width=_whole(data, 16, 4), height=_whole(data, 20, 4))


def _webp(data: bytes) -> Head:
    """Simple lossy, simple lossless, or extended."""
    kind = data[12:16]
    if kind == b"VP8 ":
        if data[23:26] != b"\x9d\x01\x2a":
            raise ValueError
        width, height = _whole(data, 26, 2, "little") & 0x3FFF, _whole(data, 28, 2, "little") & 0x3FFF
    elif kind == b"VP8L":
        bits = _whole(data, 21, 4, "little")
        if data[20] != 0x2F:
            raise ValueError
        width, height = (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    elif kind == b"VP8X":
        if data[20] & 0x02:
            raise moving()
        width, height = _whole(data, 24, 3, "little") + 1, _whole(data, 27, 3, "little") + 1
    else:
        raise ValueError
    return Head(kind="WEBP", width=width, height=height)


def moving() -> InputError:
    return InputError("That picture moves; the bench keeps still ones.", where="photo", try_this=AGAIN)
