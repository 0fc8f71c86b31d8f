"""Pictures from the site: told by what they are, not by what they say they are."""

from __future__ import annotations

import io
import warnings
from typing import Final

from rules.errors import BadInput

MOST_BYTES: Final = 8_000_000  # a telephone's picture has two to five million
MOST_PIXELS: Final = 50_000_000
MEDIA_TYPES: Final = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
SMALL: Final = 480  # longest side of what a page shows, pixels


def photo_type(raw: bytes) -> str:
    """Return a picture's media type, found by reading it whole.

    Raises
    ------
    BadInput
        If it is none of JPEG, PNG and WebP, is damaged, or is too large.
    """
    from PIL import Image

    if len(raw) > MOST_BYTES:
        raise BadInput(f"the photo has {len(raw)} bytes; want {MOST_BYTES} at the most")
    wanted = "want a JPEG, PNG or WebP picture"
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(raw), formats=list(MEDIA_TYPES)) as picture:
                kind, (width, height) = str(picture.format), picture.size
                if width * height > MOST_PIXELS:
                    raise BadInput(f"the photo has {width} × {height} pixels; {wanted}, smaller")
                picture.load()
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError, Warning) as error:
        raise BadInput(f"the photo cannot be read; {wanted}") from error
    return MEDIA_TYPES[kind]


def small(raw: bytes) -> bytes:
    """Return a picture for a page: a new JPEG with nothing of the file but what is seen."""
    from PIL import Image, ImageOps

    with Image.open(io.BytesIO(raw), formats=list(MEDIA_TYPES)) as picture:
        upright = ImageOps.exif_transpose(picture).convert("RGB")
        upright.thumbnail((SMALL, SMALL))
        out = io.BytesIO()
        upright.save(out, "JPEG", quality=80)
    return out.getvalue()
