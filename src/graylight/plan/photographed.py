"""A photo kept together with the row that names it: both, or neither."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from graylight.country.folder import Country
from graylight.country.photos import put_back, set_aside, settle, take_up
from graylight.country.rows import Rows

__all__ = ["with_photo"]

TABLES = ("places", "sightings", "sign")
"""Tables whose rows may name a photo."""


@contextmanager
def with_photo(country: Country, rows: Rows, data: bytes | None) -> Iterator[str | None]:
    """Write a row and its photo as one step; yields the photo's name, None without one.

    What is refused, or fails, leaves no photo behind; a program killed in the middle leaves either both or none, which
    the next photo that is kept sees to.

    Raises
    ------
    BadInput
        Not a picture, or too large.
    """
    with rows.together():
        if data is None:
            yield None
            return
        settle(country, _named(rows))
        name = set_aside(country, data)
        try:
            yield name
        except BaseException:
            put_back(country, name)
            raise
    take_up(country, name)


def _named(rows: Rows) -> frozenset[str]:
    """Photos that rows name."""
    return frozenset(str(row.values.get("photo")) for table in TABLES for row in rows.read(table))
