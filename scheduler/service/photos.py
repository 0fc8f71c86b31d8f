"""Pictures from the site: told by what they are, and made small once, when they come in.

What is kept is a new JPEG of what is seen: no place, no device, no other hidden word of the file
that came. One picture is decoded at a time, and none whose size says that it would fill memory.
"""

from __future__ import annotations

import io
import struct
import threading
from typing import TYPE_CHECKING, Final

from rules.errors import BadInput

if TYPE_CHECKING:
    from PIL.Image import Image

MOST_BYTES: Final = 8_000_000  # a telephone's picture has two to five million
# A JPEG is decoded at a half, a quarter or an eighth of its size; the others can only be whole.
MOST_PIXELS: Final = {
    "JPEG": 50_000_000, "MPO": 50_000_000, "PNG": 12_000_000, "WEBP": 12_000_000,
}  # fmt: skip
KEPT: Final = 2048  # longest side of what is kept, pixels: a crack in a joint is still seen
SHOWN: Final = 480  # and of what a page shows of it
QUALITY: Final = 85  # of JPEG; common practice, no source
MEDIA_TYPE: Final = "image/jpeg"  # of what is kept
WANTED: Final = "want a JPEG, PNG or WebP picture"
_ONE: Final = threading.Lock()  # at a time, whoever asks


def made_small(raw: bytes, side: int = KEPT) -> bytes:
    """Return a picture as a new JPEG, upright, with nothing of the file but what is seen.

    Parameters
    ----------
    raw : bytes
        A JPEG, PNG or WebP file.
    side : int
        Longest side it may have; a smaller picture is not made larger. [pixels]

    Raises
    ------
    BadInput
        If it is none of these, is damaged, or is too large to be opened.
    """
    from PIL import Image

    if len(raw) > MOST_BYTES:
        raise BadInput(f"the photo has {len(raw)} bytes; want {MOST_BYTES} at the most")
    try:
        with _ONE, Image.open(io.BytesIO(raw), formats=["JPEG", "PNG", "WEBP"]) as picture:
            width, height = picture.size
            most = MOST_PIXELS[str(picture.format)]
            if width * height <= most:
                return _jpeg(picture, side)
    except (OSError, SyntaxError, ValueError, EOFError, struct.error, Image.DecompressionBombError,
            Image.DecompressionBombWarning) as error:  # fmt: skip
        raise BadInput(f"the photo cannot be read; {WANTED}") from error
    raise BadInput(
        f"the photo has {width} × {height} pixels; {WANTED} of {most // 1_000_000} million at most"
    )


def _jpeg(picture: Image, side: int) -> bytes:
    from PIL import ImageOps

    picture.draft("RGB", (side, side))  # a JPEG is decoded no larger than is needed
    if picture.mode not in {"RGB", "L"}:
        small = picture.convert("RGB")
        small.info = dict(picture.info)
    else:
        small = picture
    small.thumbnail((side, side))
    upright = ImageOps.exif_transpose(small)
    out = io.BytesIO()
    upright.save(out, "JPEG", quality=QUALITY, comment=b"")
    return out.getvalue()
