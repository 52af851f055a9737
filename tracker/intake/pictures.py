"""What of a photo is kept?

The picture itself and nothing beside it: it is decoded, turned upright, made smaller and
encoded anew from its pixels, so that place, time, names, thumbnails and whatever a stranger
put before or behind it stay behind. Kept is a JPEG in sRGB of at most 1600 pixels a side.
"""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tracker.errors import InputError
from tracker.intake.picture_heads import AGAIN, Head, broken, moving, picture_head

if TYPE_CHECKING:
    from collections.abc import Callable

    from PIL.Image import Image, Transpose

LARGEST_BYTES = 15_000_000  # of the file; a camera of 50 million pixels stays below
LONGEST_SIDE = 1600  # pixels; a crumb's pores are still seen
SMALL_SIDE = 320  # of the picture on a page
QUALITY = 82  # about 300 KB; common practice, no source
LARGEST_PROFILE = 65_536  # bytes of a colour profile that is believed; a camera's has some hundred
_SHADED = ("L", "RGB", "RGBA", "LA", "CMYK")  # modes whose values can be averaged as they are
_ORIENTATION = 0x0112  # Exif 2.32, tag 274


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A JPEG without metadata; sides in pixels."""

    content: bytes
    width: int
    height: int

    @property
    def sha256(self) -> str:
        return sha256_of(self.content)


def sha256_of(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def read_picture(data: bytes) -> Picture:
    """The picture in a file, encoded anew; takes up to 240 MB of memory and two seconds.

    Raises InputError for what is no JPEG, PNG or WebP, is broken, moves, or is too large.
    """
    if len(data) > LARGEST_BYTES:
        raise InputError(
            f"The file has {len(data) / 1e6:.0f} MB; at most {LARGEST_BYTES // 1_000_000} MB are taken.",
            where="photo",
            try_this="choose a smaller size in the settings of the camera",
        )
    head = picture_head(data)
    try:
        return _encoded(_upright(data, head))
    except InputError:
        raise
    except Exception:  # a decoder that is fed what a stranger made may raise anything
        raise broken() from None


def small_picture(content: bytes) -> bytes:
    """The same picture for a page, of at most 320 pixels a side; ``content`` is a ``Picture``'s."""
    from PIL import JpegImagePlugin
    from PIL.Image import Resampling

    with JpegImagePlugin.JpegImageFile(io.BytesIO(content)) as image:
        image.draft("RGB", (SMALL_SIDE, SMALL_SIDE))
        image.thumbnail((SMALL_SIDE, SMALL_SIDE), Resampling.BOX)
        return _encoded(image.convert("RGB")).content


def _upright(data: bytes, head: Head) -> Image:
    from PIL import ImageFile
    from PIL.Image import Resampling

    # The library that writes PDFs sets this for the whole program: half a picture would then pass for a whole one.
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    image = _opened(data, head)
    image.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))  # JPEG: decoded at an eighth to all of its size
    image.load()
    turn = _turn(image)
    profile = image.info.get("icc_profile", b"")
    if image.mode in _SHADED:
        image.thumbnail((LONGEST_SIDE, LONGEST_SIDE), Resampling.LANCZOS)
    plain = _in_srgb(_opaque(image), profile)
    plain.thumbnail((LONGEST_SIDE, LONGEST_SIDE), Resampling.LANCZOS)
    return plain if turn is None else plain.transpose(turn)


def _opened(data: bytes, head: Head) -> Image:
    """By the one decoder that is meant: the general way in tries others, and takes several pictures in a file."""
    from PIL import JpegImagePlugin, PngImagePlugin, WebPImagePlugin

    decoders: dict[str, Callable[[io.BytesIO], Image]] = {
        "JPEG": JpegImagePlugin.JpegImageFile,
        "PNG": PngImagePlugin.PngImageFile,
        "WEBP": WebPImagePlugin.WebPImageFile,
    }
    image = decoders[head.kind](io.BytesIO(data))
    if image.size != (head.width, head.height):
        raise InputError("The picture says two things of its size.", where="photo", try_this=AGAIN)
    if getattr(image, "n_frames", 1) > 1:
        raise moving()
    return image


def _turn(image: Image) -> Transpose | None:
    """How the camera was held."""
    from PIL.Image import Transpose as Turn

    try:
        held = int(image.getexif().get(_ORIENTATION, 1))
    except Exception:  # what it says of itself is broken; the picture need not be
        return None
    turns = {
        2: Turn.FLIP_LEFT_RIGHT,
        3: Turn.ROTATE_180,
        4: Turn.FLIP_TOP_BOTTOM,
        5: Turn.TRANSPOSE,
        6: Turn.ROTATE_270,
        7: Turn.TRANSVERSE,
        8: Turn.ROTATE_90,
    }
    return turns.get(held)


def _opaque(image: Image) -> Image:
    """In red, green and blue, on white where it was clear."""
    from PIL.Image import new

    if image.mode.startswith("I"):  # 16 bits of grey; dividing keeps what cutting off would lose
        return image.convert("I").point(lambda value: value / 257).convert("L").convert("RGB")
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        clear = image.convert("RGBA")
        paper = new("RGB", clear.size, "white")
        paper.paste(clear, mask=clear.getchannel("A"))
        return paper
    return image.convert("RGB")


def _in_srgb(image: Image, profile: bytes) -> Image:
    """Colours as every screen shows them; without a profile, or with one that makes no sense, as they are."""
    if not profile or len(profile) > LARGEST_PROFILE:
        return image
    from PIL import ImageCms

    try:
        meant = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        changed = ImageCms.profileToProfile(image, meant, ImageCms.createProfile("sRGB"), outputMode="RGB")
    except Exception:  # one for other inks, or broken
        return image
    return image if changed is None else changed


def _encoded(image: Image) -> Picture:
    from PIL.Image import new

    bare = new("RGB", image.size)  # without what the other one still knows of its file
    bare.paste(image)
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=QUALITY, optimize=True)
    return Picture(content=out.getvalue(), width=bare.width, height=bare.height)
