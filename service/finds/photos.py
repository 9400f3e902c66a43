"""Photos of what was found: any of three forms in, a JPEG of bounded size out.

It is decoded and written anew, so that it is a picture whatever it was called, and holds nothing
else: no name, no time, and where it was taken only where that is wanted.
"""

from __future__ import annotations

from io import BytesIO
from typing import Literal

from PIL import Image, ImageOps, UnidentifiedImageError

FORMS = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
LARGEST_BYTES = 15_000_000
MOST_PIXELS = 50_000_000
MOST_PHOTOS = 6
"""Of one vine."""

_SIDE_PX, _QUALITY = 1600, 82
_GPS = 0x8825  # of Exif, the tag under which the place is

_NO_PICTURE = (
    *(UnidentifiedImageError, OSError, SyntaxError, ValueError),
    *(Image.DecompressionBombError, Image.DecompressionBombWarning),
)


Kind = Literal["large", "pixels", "form", "many"]


class PhotoError(ValueError):
    """A file that is not taken as a photo, and why."""

    def __init__(self, kind: Kind, why: str) -> None:
        super().__init__(why)
        self.kind: Kind = kind


def rewrite_photo(content: bytes, keeps_place: bool) -> bytes:
    """Return a photo as JPEG, upright, its longer side 1600 pixels at most.

    Raises
    ------
    PhotoError
        Where it is too large, or no JPEG, PNG or WebP.
    """
    if len(content) > LARGEST_BYTES:
        raise PhotoError(
            "large", f"it has {len(content):,} bytes, {LARGEST_BYTES:,} are taken; make it smaller"
        )
    try:
        image = Image.open(BytesIO(content), formats=tuple(FORMS))
        if image.width * image.height > MOST_PIXELS:
            raise PhotoError(
                "pixels",
                f"it has {image.width} x {image.height} pixels, {MOST_PIXELS:,} are taken; make it "
                "smaller",
            )
        place = image.getexif().get_ifd(_GPS) if keeps_place else {}
        image.draft("RGB", (_SIDE_PX, _SIDE_PX))  # a JPEG need not be decoded whole
        image = ImageOps.exif_transpose(image).convert("RGB")
    except PhotoError:
        raise
    except _NO_PICTURE:
        raise PhotoError(
            "form", "it cannot be read as JPEG, PNG or WebP; send one of these"
        ) from None
    image.thumbnail((_SIDE_PX, _SIDE_PX))
    exif = Image.Exif()
    if place:
        exif[_GPS] = place
    written = BytesIO()
    image.save(written, "JPEG", quality=_QUALITY, exif=exif)
    return written.getvalue()
