"""Photos: pictures come out as JPEG, upright and without a place; anything else is refused."""

from __future__ import annotations

from io import BytesIO

import pytest
from PIL import Image

from service.finds.photos import MOST_PIXELS, PhotoError, rewrite_photo

GPS, ORIENTATION = 0x8825, 0x0112  # source: [EXIF-2.32] tags of IFD0
NORTH = {1: "N", 2: (45.0, 6.0, 0.0)}


def picture(form: str, size: tuple[int, int] = (40, 20), mode: str = "RGB") -> bytes:
    exif = Image.Exif()
    exif[GPS], exif[ORIENTATION] = NORTH, 6
    written = BytesIO()
    Image.new(mode, size, "green").save(written, form, exif=exif)
    return written.getvalue()


def opened(content: bytes) -> Image.Image:
    image = Image.open(BytesIO(content))
    assert image.format == "JPEG"
    return image


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_a_picture_comes_out_upright_without_its_place(form: str) -> None:
    image = opened(rewrite_photo(picture(form), keeps_place=False))
    assert image.size == (20, 40)  # by hand: orientation 6 is a quarter turn
    assert dict(image.getexif()) == {}


def test_the_place_stays_where_it_is_wanted_and_nothing_else() -> None:
    exif = opened(rewrite_photo(picture("JPEG"), keeps_place=True)).getexif()
    assert list(exif) == [GPS]
    assert exif.get_ifd(GPS)[2] == (45.0, 6.0, 0.0)


def test_a_large_one_is_made_smaller() -> None:
    image = opened(rewrite_photo(picture("JPEG", (4000, 3000)), keeps_place=False))
    assert image.size == (1200, 1600)
    assert opened(rewrite_photo(picture("PNG", (30, 30), "RGBA"), keeps_place=False)).mode == "RGB"


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"<script>alert(1)</script>", "cannot be read as JPEG, PNG or WebP"),
        (picture("JPEG")[:300], "cannot be read as JPEG, PNG or WebP"),
        (b"GIF89a" + bytes(40), "cannot be read as JPEG, PNG or WebP"),
        (picture("PNG", (MOST_PIXELS // 1000 + 1, 1000), "1"), "pixels"),
        (bytes(15_000_001), "15,000,001 bytes"),
    ],
    ids=["script", "cut off", "other form", "many pixels", "large"],
)
def test_what_is_no_photo_is_refused(content: bytes, told: str) -> None:
    with pytest.raises(PhotoError, match=told):
        rewrite_photo(content, keeps_place=False)
