"""Photos that belong to marks: kept in the country's folder under names made from what they hold."""

from __future__ import annotations

import re
from collections.abc import Container
from contextlib import suppress
from dataclasses import dataclass
from hashlib import sha256

from graylight.country.feature import plain_text
from graylight.country.folder import Country
from graylight.errors import BadInput

__all__ = ["MOST_BYTES", "Photo", "keep_photo", "put_back", "read_photo", "set_aside", "settle", "take_up"]

MOST_BYTES = 40 * 2**20
_FOLDER = "photos"
_WAITING = f"{_FOLDER}/waiting"
"""Photos whose row is being written: a killed program leaves none that belongs to nothing, and loses none."""
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
    name = _name(data)
    country.write_bytes(f"{_FOLDER}/{name}", data)
    return name


def _name(data: bytes) -> str:
    """The name of a photo by what it holds."""
    kind = _kind(data)
    if kind is None or len(data) > MOST_BYTES:
        got = f"{len(data) / 2**20:.1f} MB" + (
            "" if kind else f" beginning with {plain_text(repr(data[:8]))}"
        )
        raise BadInput(
            f"the photo can't be kept: {got}; accepted is a JPEG, PNG or WebP picture of at most "
            f"{MOST_BYTES // 2**20} MB; save it as one of these"
        )
    return f"{sha256(data).hexdigest()[:32]}.{kind}"


def set_aside(country: Country, data: bytes) -> str:
    """Keep a photo for a row that is still to be written, and return its name; `take_up` or `put_back` must follow.

    Raises
    ------
    BadInput
        As `keep_photo`.
    """
    name = _name(data)
    if country.read_bytes(f"{_FOLDER}/{name}") is None:
        country.write_bytes(f"{_WAITING}/{name}", data)
    return name


def take_up(country: Country, name: str) -> None:
    """The row is written: its photo stays."""
    with suppress(FileNotFoundError):  # kept before, or another process has settled it
        (country.folder / _WAITING / name).replace(country.folder / _FOLDER / name)
    _tidy(country)


def put_back(country: Country, name: str) -> None:
    """The row is not written: its photo goes."""
    country.remove(f"{_WAITING}/{name}")
    _tidy(country)


def settle(country: Country, in_use: Container[str]) -> None:
    """Finish what a killed program has left: photos of rows that were written stay, others go.

    Call it while nothing else writes rows.

    Parameters
    ----------
    in_use
        Names that the rows give.
    """
    folder = country.folder / _WAITING
    for waiting in sorted(folder.iterdir()) if folder.is_dir() else ():
        if waiting.name in in_use:
            take_up(country, waiting.name)
        else:
            put_back(country, waiting.name)


def _tidy(country: Country) -> None:
    """Leave no empty folder behind."""
    with suppress(OSError):  # another photo waits, or the folder is gone already
        (country.folder / _WAITING).rmdir()


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
    data = country.read_bytes(f"{_FOLDER}/{name}") or country.read_bytes(f"{_WAITING}/{name}")
    return None if data is None else Photo(data, _MEDIA[name.rsplit(".", 1)[1]])
