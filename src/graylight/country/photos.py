"""Photos that belong to marks: kept in the country's folder under names made from what they hold."""

from __future__ import annotations

import re
from dataclasses import dataclass
from hashlib import sha256

from graylight.country.feature import plain_text
from graylight.country.folder import Country
from graylight.errors import BadInput

__all__ = ["MOST_BYTES", "Photo", "keep_photo", "read_photo"]

MOST_BYTES = 40 * 2**20
_FOLDER = "photos"
_NAME = re.compile(r"[0-9a-f]{32}\.(jpg|png|webp)")
_MEDIA = {"jpg": "image/jpeg", "png": "image/png", "webp": "image/webp"}


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo's bytes and media type."""

    data: bytes
    media: str


def keep_photo(country: Country, data: bytes) -> str:
    """Keep a photo as it is, and return its name; the same photo has the same name, so it is kept once.

    Raises
    ------
    BadInput
        Not a JPEG, PNG or WebP picture, or too large; or the folder can't be written to.
    """
    kind = _kind(data)
    if kind is None or len(data) > MOST_BYTES:
        got = f"{len(data) / 2**20:.1f} MB" + (
            "" if kind else f" beginning with {plain_text(repr(data[:8]))}"
        )
        raise BadInput(
            f"the photo can't be kept: {got}; accepted is a JPEG, PNG or WebP picture of at most "
            f"{MOST_BYTES // 2**20} MB; save it as one of these"
        )
    name = f"{sha256(data).hexdigest()[:32]}.{kind}"
    country.write_bytes(f"{_FOLDER}/{name}", data)
    return name


def _kind(data: bytes) -> str | None:
    """What a picture is by its first bytes: JPEG (ISO 10918), PNG (ISO 15948), WebP (RFC 9649)."""
    if data[:3] == b"\xff\xd8\xff":
        return "jpg"
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return "png"
    return "webp" if data[:4] == b"RIFF" and data[8:12] == b"WEBP" else None


def read_photo(country: Country, name: str) -> Photo | None:
    """A photo by the name that `keep_photo` gave; None for any other name, and when it is gone."""
    if not _NAME.fullmatch(name):
        return None
    data = country.read_bytes(f"{_FOLDER}/{name}")
    return None if data is None else Photo(data, _MEDIA[name.rsplit(".", 1)[1]])
