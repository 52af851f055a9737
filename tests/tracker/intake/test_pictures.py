"""Is only the picture kept, upright and without metadata, and does a hostile file end in one sentence?"""

from __future__ import annotations

import io
import os
import random
import struct
import subprocess
import sys
import textwrap
import zlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms, ImageFile, PngImagePlugin

from tracker.errors import InputError
from tracker.intake.picture_heads import MOST_PASSES, picture_head
from tracker.intake.pictures import LARGEST_BYTES, LONGEST_SIDE, SMALL_SIDE, read_picture, small_picture

SECRET = b"51.5074 N of the kitchen, taken by Grace"
LARGE = bool(os.environ.get("CRUMBWISE_LARGE"))  # 20,000 broken files of each kind instead of 120


def crumb(width: int = 60, height: int = 40) -> Image.Image:
    """Red at the left, blue at the right, green at the bottom: it shows how it is turned."""
    pixels = np.zeros((height, width, 3), np.uint8)
    pixels[:, : width // 2, 0] = 230
    pixels[:, width // 2 :, 2] = 230
    pixels[-height // 4 :, :, :] = (0, 200, 0)
    return Image.fromarray(pixels)


def encoded(image: Image.Image, kind: str = "JPEG", **how: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **how)
    return out.getvalue()


def pixels_of(content: bytes) -> Image.Image:
    image = Image.open(io.BytesIO(content), formats=["JPEG"])
    image.load()
    return image


def with_everything() -> bytes:
    """A JPEG with place, thumbnail, comment, XMP and a colour profile that names somebody."""
    exif = Image.Exif()
    exif[0x010E] = SECRET.decode()
    exif[0x8825] = {1: "N", 2: (51.0, 30.0, 26.6), 29: SECRET.decode()}
    whole = encoded(
        crumb(),
        exif=exif.tobytes(),
        comment=SECRET,
        xmp=b"<x:xmpmeta>" + SECRET + b"</x:xmpmeta>",
        icc_profile=ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes(),
        dpi=(301, 301),
    )
    thumbnail = b"\xff\xe9" + struct.pack(">H", 2 + len(SECRET)) + SECRET
    return whole[:2] + thumbnail + whole[2:]


def segments(content: bytes) -> list[int]:
    """Every marker of a JPEG in order, by its structure; nothing may stand behind the last."""
    assert content[:2] == b"\xff\xd8"
    found, at = [], 2
    while True:
        assert content[at] == 0xFF
        marker = content[at + 1]
        found.append(marker)
        if marker == 0xD9:
            assert at + 2 == len(content)
            return found
        at += 2 + int.from_bytes(content[at + 2 : at + 4], "big")
        if marker == 0xDA:
            while content[at] != 0xFF or content[at + 1] in (0, *range(0xD0, 0xD8)):
                at += 1


# What a JPEG needs and no more: JFIF's own head, tables, one frame, one scan, the end.
NEEDED = {0xE0, 0xDB, 0xC0, 0xC4, 0xDA, 0xD9}


def test_nothing_but_the_picture_is_kept():
    sent = with_everything()
    assert sent.count(SECRET) >= 4
    kept = read_picture(sent).content
    assert SECRET not in kept
    assert set(segments(kept)) == NEEDED
    assert kept[2:6] == b"\xff\xe0\x00\x10"  # sixteen bytes: no thumbnail within
    image = pixels_of(kept)
    assert not image.getexif()
    assert image.info.keys() <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert image.info["jfif_density"] == (1, 1)


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_metadata_of_other_kinds_stay_behind_too(kind):
    exif = Image.Exif()
    exif[0x010E] = SECRET.decode()
    texts = PngImagePlugin.PngInfo()
    texts.add_text("Author", SECRET.decode())
    more = {"pnginfo": texts} if kind == "PNG" else {"xmp": SECRET}
    sent = encoded(crumb(), kind, exif=exif.tobytes(), **more)
    assert SECRET in sent
    kept = read_picture(sent)
    assert set(segments(kept.content)) == NEEDED
    assert (kept.width, kept.height) == (60, 40)


@pytest.mark.parametrize("tail", [b"<script>alert(1)</script>", b"PK\x03\x04" + b"a" * 500, encoded(crumb(9, 9))])
@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_a_file_that_is_two_files_loses_the_other(kind, tail):
    kept = read_picture(encoded(crumb(), kind) + tail).content
    assert tail[:20] not in kept[20:]
    assert set(segments(kept)) == NEEDED


def test_several_pictures_in_one_jpeg_are_the_first_of_them():
    """As telephones write them: a depth map or a brighter copy behind the photo."""
    sent = io.BytesIO()
    crumb(60, 40).save(sent, "MPO", save_all=True, append_images=[crumb(20, 30)])
    kept = read_picture(sent.getvalue())
    assert (kept.width, kept.height) == (60, 40)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("held", range(1, 9))
def test_it_comes_out_upright_however_the_camera_was_held(kind, held):
    """Exif 2.32, 4.6.4, tag 274: which row and column of the stored picture is the top and the left."""
    undo = {
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_90,
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_270,
    }
    stored = crumb().transpose(undo[held]) if held in undo else crumb()
    exif = Image.Exif()
    exif[0x0112] = held
    kept = read_picture(encoded(stored, kind, exif=exif.tobytes()))
    assert (kept.width, kept.height) == (60, 40)
    image = pixels_of(kept.content)
    at = {place: image.getpixel(place) for place in ((8, 8), (52, 8), (30, 36))}
    assert [max(range(3), key=pixel.__getitem__) for pixel in at.values()] == [0, 2, 1]


def test_it_is_made_small_and_never_larger():
    assert (read_picture(encoded(crumb(3000, 2000))).width, read_picture(encoded(crumb())).width) == (LONGEST_SIDE, 60)
    kept = read_picture(encoded(crumb(800, 3200), "PNG"))
    assert (kept.width, kept.height) == (400, 1600)
    small = pixels_of(small_picture(kept.content))
    assert max(small.size) == SMALL_SIDE
    assert set(segments(small_picture(kept.content))) == NEEDED


def test_colours_come_out_as_they_were_meant():
    """A profile with red and blue exchanged: what was stored as red was meant to be blue."""
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    places = {bytes(profile[at : at + 4]): at for at in range(132, 132 + 12 * 20, 12)}
    red, blue = places[b"rXYZ"], places[b"bXYZ"]
    profile[red : red + 4], profile[blue : blue + 4] = b"bXYZ", b"rXYZ"
    plain, meant = (
        pixels_of(read_picture(encoded(Image.new("RGB", (16, 16), (200, 40, 40)), icc_profile=icc)).content)
        for icc in (b"", bytes(profile))
    )
    assert plain.getpixel((8, 8))[0] > 190
    assert meant.getpixel((8, 8))[2] > 190
    broken = read_picture(encoded(crumb(), icc_profile=b"no profile" * 20))
    assert broken.content == read_picture(encoded(crumb())).content


@pytest.mark.parametrize(
    ("mode", "white"),
    [("1", 1), ("L", 255), ("P", 255), ("I;16", 65535), ("RGBA", (9, 9, 9, 0)), ("LA", (9, 0)), ("CMYK", (0, 0, 0, 0))],
)
def test_every_kind_of_pixel_comes_out_as_it_looks(mode, white):
    """Clear is the white of the page."""
    image = Image.new(mode, (20, 20), white)
    if mode == "P":
        image.putpalette([0, 0, 0] * 255 + [255, 255, 255])
    kept = pixels_of(read_picture(encoded(image, "JPEG" if mode == "CMYK" else "PNG")).content)
    assert min(kept.getpixel((10, 10))) > 250


def chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png_of(width: int, height: int, rows: bytes) -> bytes:
    head = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def bomb() -> bytes:
    """It says that it is 50,000 pixels wide and high, 312 MB at one bit each, in 12 KB of compressed zeros."""
    return png_of(50_000, 50_000, zlib.compress(bytes(1 + 6_250) * 2_000, 9))


def with_sides(content: bytes, width: int, height: int) -> bytes:
    """The same JPEG, saying that it is of another size."""
    at = content.index(b"\xff\xc0") + 5
    return content[:at] + struct.pack(">HH", height, width) + content[at + 4 :]


def svg() -> bytes:
    return b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'


def moving_picture(kind: str) -> bytes:
    out = io.BytesIO()
    crumb().save(out, kind, save_all=True, append_images=[crumb().rotate(180)], duration=100)
    return out.getvalue()


def passes(number: int) -> bytes:
    """A progressive JPEG with one scan again and again."""
    whole = encoded(crumb(), progressive=True)
    at = whole.index(b"\xff\xda")
    return whole[:at] + whole[at:-2] * number + whole[-2:]


REFUSED = {
    "nothing": (b"", "empty"),
    "text": (b"hello", "no picture"),
    "svg": (svg(), "no picture"),
    "gif": (encoded(crumb(), "GIF") + svg(), "no picture"),
    "tiff": (encoded(crumb(), "TIFF"), "no picture"),
    "bmp": (encoded(crumb(), "BMP"), "no picture"),
    "pdf": (encoded(crumb(), "PDF"), "no picture"),
    "a program": (b"MZ" + b"\x00" * 200, "no picture"),
    "heic": (b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic", "most compatible"),
    "avif": (encoded(crumb(), "AVIF"), "most compatible"),
    "a bomb": (bomb(), "50,000"),
    "a bomb in webp": (b"RIFF\x1e\x00\x00\x00WEBPVP8X\x0a\x00\x00\x00\x00\x00\x00\x00" + b"\xff\x3f\x00" * 2, "16,384"),
    "a bomb in jpeg": (with_sides(encoded(crumb()), 65_000, 65_000), "65,000"),
    "no sides": (with_sides(encoded(crumb()), 60, 0), "broken"),
    "a moving png": (moving_picture("PNG"), "moves"),
    "a moving webp": (moving_picture("WEBP"), "moves"),
    "half a jpeg": (encoded(crumb(400, 400), quality=95)[:2000], "broken"),
    "half a png": (encoded(crumb(400, 400), "PNG")[:300], "broken"),
    "half a webp": (encoded(crumb(400, 400), "WEBP")[:120], "broken"),
    "only a beginning": (b"\xff\xd8\xff", "broken"),
    "passes without end": (passes(MOST_PASSES), "broken"),
    "chunks without end": (png_of(9, 9, b"")[:-24] + chunk(b"tEXt", b"") * 30_000, "broken"),
    "a text that unpacks": (
        png_of(9, 9, zlib.compress(bytes(27)))[:33]
        + chunk(b"zTXt", b"a\0\0" + zlib.compress(bytes(200_000_000), 9))
        + png_of(9, 9, zlib.compress(bytes(27)))[33:],
        "broken",
    ),
    "larger than the bench takes": (b"\xff\xd8\xff" + bytes(LARGEST_BYTES), "15 MB"),
}


@pytest.mark.parametrize("lenient", [False, True])
@pytest.mark.parametrize("what", REFUSED)
def test_what_is_no_picture_is_refused_in_words(what, lenient, monkeypatch):
    """Also when another part of the program told the decoder to take half pictures, as the writing of PDFs does."""
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", lenient)
    data, words = REFUSED[what]
    with pytest.raises(InputError) as refused:
        read_picture(data)
    assert words in refused.value.what + refused.value.try_this
    assert refused.value.try_this
    assert refused.value.__cause__ is None


def test_a_bomb_takes_neither_time_nor_memory():
    """In a process of its own, whose memory may not grow by the rows that are there."""
    told = textwrap.dedent("""
        import importlib.util, resource, sys, time
        spec = importlib.util.spec_from_file_location("pictures_test", sys.argv[1])
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        data = module.bomb()
        import PIL.PngImagePlugin
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        began = time.perf_counter()
        for _ in range(20):
            try:
                module.read_picture(data)
            except module.InputError:
                pass
            else:
                raise SystemExit("it was taken")
        print(time.perf_counter() - began, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
    """)
    ended = subprocess.run([sys.executable, "-c", told, __file__], capture_output=True, text=True, cwd=Path.cwd())
    assert ended.returncode == 0, ended.stderr
    took, grew = map(float, ended.stdout.split())
    assert took / 20 < 0.1
    assert grew < 20_000  # KB


def test_a_large_photo_of_a_camera_is_taken():
    """As large as is taken at all: 50 million pixels."""
    kept = read_picture(encoded(crumb(8100, 6100), quality=80))
    assert (kept.width, kept.height) == (1600, 1205)
    assert read_picture(encoded(crumb(4000, 3000), "WEBP", method=0)).width == 1600
    with pytest.raises(InputError, match="12 million"):
        read_picture(encoded(crumb(4010, 3000), "WEBP", method=0))
    with pytest.raises(InputError, match="25 million"):
        read_picture(encoded(crumb(8100, 6100), "PNG", compress_level=1))


WHOLE = {kind: encoded(crumb(90, 70), kind) for kind in ("JPEG", "PNG", "WEBP")} | {
    "all": with_everything(),
    "passes": encoded(crumb(90, 70), progressive=True),
}


@pytest.mark.filterwarnings("default")
@pytest.mark.parametrize("kind", WHOLE)
def test_broken_files_end_in_a_picture_or_in_words(kind):
    """Bytes changed, cut, doubled and exchanged by a seeded hand."""
    hand, whole = random.Random(20_26), WHOLE[kind]
    refused = 0
    for _ in range(20_000 if LARGE else 120):
        data = bytearray(whole)
        for _ in range(hand.randint(1, 12)):
            at = hand.randrange(len(data))
            if hand.random() < 0.7:
                data[at] = hand.randrange(256)
            elif hand.random() < 0.5:
                del data[at : at + hand.randint(1, 60)]
            else:
                data[at:at] = data[max(0, at - hand.randint(1, 60)) : at]
            if not data:
                break
        try:
            kept = read_picture(bytes(data))
        except InputError:
            refused += 1
        else:
            assert set(segments(kept.content)) == NEEDED
            assert max(kept.width, kept.height) <= LONGEST_SIDE
    assert refused > 10


@settings(max_examples=150, deadline=None)
@given(st.sampled_from([b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF\0\0\0\0WEBP", b""]), st.binary(max_size=300))
def test_any_bytes_end_in_words(begins, rest):
    with pytest.raises(InputError):
        read_picture(begins + rest)


@given(st.integers(1, 700), st.integers(1, 700), st.sampled_from(["JPEG", "PNG", "WEBP"]))
@settings(max_examples=30, deadline=None)
def test_the_sides_are_read_as_the_decoder_reads_them(width, height, kind):
    head = picture_head(encoded(Image.new("RGB", (width, height)), kind))
    assert (head.kind, head.width, head.height) == (kind, width, height)
