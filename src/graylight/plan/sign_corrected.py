"""Sign put right: what is given is changed, the rest stays."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from graylight.grid import LonLat
from graylight.place import read_place
from graylight.plan.notebook import Notebook
from graylight.plan.photographed import with_photo
from graylight.plan.record import AGES, KINDS, RECORD
from graylight.plan.record_model import SignTold
from graylight.plan.record_said import kept_date, on_its_day, one_of
from graylight.plan.sighted import told_sign

__all__ = ["CorrectedSign", "change_sign"]


@dataclass(frozen=True, slots=True)
class CorrectedSign:
    """What of a row of sign is put right; None: it stays."""

    at: str | LonLat | None = None
    kind: str | None = None
    age: str | None = None
    when: str | dt.datetime | None = None
    outing: int | None = None
    note: str | None = None
    photo: str | None = None


def change_sign(book: Notebook, number: int, given: CorrectedSign, *, photo: bytes | None = None) -> SignTold:
    """Correct sign; what is not given stays.

    Parameters
    ----------
    photo
        A photo to be kept with it; only once all else is found good.

    Raises
    ------
    BadInput
        There is no such sign, or a newer version wrote it; the place lies outside the country; something isn't understood.
    """
    book.record()  # refuses what a newer version wrote
    values = {key: value for key, value in _columns(book, given).items() if value is not None}
    if given.outing is not None or given.when is not None:
        told = {**book.rows.get("sign", number).values, **values}
        on_its_day(book, told.get("outing"), str(told.get("date") or ""))
    shape: dict[str, Any] = {}
    if given.at is not None:
        place = given.at if isinstance(given.at, LonLat) else read_place(given.at)
        shape["geometry"] = book.point(place)
    with with_photo(book.country, book.rows, photo) as name:
        values |= {} if name is None else {"photo": name}
        row = book.rows.change("sign", number, **shape, **values)
    return told_sign(book, row)


def _columns(book: Notebook, given: CorrectedSign) -> dict[str, Any]:
    """The columns, checked; None: not given."""
    if given.outing is not None:
        book.outing(given.outing)
    return {
        "kind": None if given.kind is None else one_of(given.kind, KINDS, "--kind"),
        "age": None if given.age is None else one_of(given.age, tuple(AGES), "--age"),
        "date": kept_date(book, given.when), "note": given.note, "photo": given.photo,
        "outing": None if given.outing is None else str(given.outing), "record": RECORD,
    }  # fmt: skip
