"""Photos as they come in: drawn anew, at a size that serves, without what else the file held."""

from __future__ import annotations

import io

from PIL import Image, ImageOps, UnidentifiedImageError

from graylight.errors import BadInput

__all__ = ["MOST_PIXELS", "cleaned"]

MOST_PIXELS = 80_000_000
"""A picture of more pixels is not unpacked: a small file can hold one that fills the memory."""
LONGEST_PX = 2560
QUALITY = 88


def cleaned(data: bytes) -> bytes:
    """A photo as a JPEG, turned upright, at most 2560 pixels long, with no metadata.

    Raises
    ------
    BadInput
        Not a JPEG, PNG or WebP picture, damaged, or of too many pixels.
    """
    try:
        with Image.open(io.BytesIO(data), formats=("JPEG", "PNG", "WEBP")) as image:
            if image.width * image.height > MOST_PIXELS:
                raise BadInput(
                    f"the photo has {image.width} x {image.height} pixels; accepted are at most {MOST_PIXELS:,} in all; "
                    "save it smaller"
                )
            image.draft("RGB", (LONGEST_PX, LONGEST_PX))
            upright = ImageOps.exif_transpose(image).convert("RGB")
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        raise BadInput(
            "the photo can't be read; accepted is a whole JPEG, PNG or WebP picture; save it as one"
        ) from None
    upright.thumbnail((LONGEST_PX, LONGEST_PX))
    out = io.BytesIO()
    upright.save(out, format="JPEG", quality=QUALITY, exif=b"")
    return out.getvalue()
