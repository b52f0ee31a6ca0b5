"""Sign put right: what is given is changed, the rest stays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.place import read_place
from graylight.plan.moments import read_day, read_moment, written
from graylight.plan.notebook import Notebook
from graylight.plan.record import AGES, KINDS, RECORD
from graylight.plan.record_model import SignTold

__all__ = ["CorrectedSign", "change_sign"]


@dataclass(frozen=True, slots=True)
class CorrectedSign:
    """What of a row of sign is put right; None: it stays."""

    at: str | LonLat | None = None
    kind: str | None = None
    age: str | None = None
    when: str | None = None
    outing: int | None = None
    note: str | None = None
    photo: str | None = None


def change_sign(book: Notebook, number: int, given: CorrectedSign) -> SignTold:
    """Correct sign; what is not given stays.

    Raises
    ------
    BadInput
        There is no such sign, or a newer version wrote it; the place lies outside the country; something isn't understood.
    """
    book.record()  # refuses what a newer version wrote
    values = {key: value for key, value in _columns(book, given).items() if value is not None}
    shape: dict[str, Any] = {}
    if given.at is not None:
        place = given.at if isinstance(given.at, LonLat) else read_place(given.at)
        shape["geometry"] = book.point(place)
    row = book.rows.change("sign", number, **shape, **values)
    kept = next(s for s in book.record().sign if s.id == number)
    error = book.country.settings.record.place_error_m
    pocket, belongs = book.pocket_at(kept.point, (error, error, 0.0))
    return SignTold(
        id=number, kind=kept.kind, age=kept.age, at=kept.at, date=kept.day, place=book.place(kept.point),
        pocket=pocket, belongs=belongs, outing=kept.outing, note=str(row.values.get("note") or ""), trace=False,
    )  # fmt: skip


def _columns(book: Notebook, given: CorrectedSign) -> dict[str, Any]:
    """The columns, checked; None: not given."""
    if given.outing is not None:
        book.outing(given.outing)
    return {
        "kind": _known(given.kind, tuple(KINDS), "--kind"), "age": _known(given.age, tuple(AGES), "--age"),
        "date": _date(given.when, book.timezone), "note": given.note, "photo": given.photo,
        "outing": None if given.outing is None else str(given.outing), "record": RECORD,
    }  # fmt: skip


def _known(text: str | None, known: tuple[str, ...], name: str) -> str | None:
    word = None if text is None else text.strip().lower().replace("-", " ")
    if word is not None and word not in known:
        raise BadInput(f"{name} is {text!r}; accepted is {', '.join(known)}; give one of them")
    return word


def _date(text: str | None, timezone: str) -> str | None:
    """A day or a moment as it is kept."""
    if text is None:
        return None
    day = read_day(text.strip())
    if day is not None and len(text.strip()) == 10:
        return day.isoformat()
    return written(read_moment(text, timezone, name="--when"))
