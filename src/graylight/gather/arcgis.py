"""Features of a layer served by Esri's ArcGIS REST API: pages, errors under status 200, boxes halved when too much is asked."""

from __future__ import annotations

from typing import Any

from graylight.errors import SourceUnavailable
from graylight.gather.errand import Errand
from graylight.gather.gate import Refused, Trouble, as_json
from graylight.grid import Bounds

__all__ = ["features"]

MOST_PAGES = 200
MOST_HALVINGS = 4
TOO_MUCH = frozenset({500, 502, 504})
PAGE = 1000


class TooMuch(Trouble):
    """The service fails at a box of this size."""


def features(errand: Errand, box: Bounds) -> tuple[list[dict[str, Any]], str]:
    """GeoJSON features of a layer that meet a box of degrees, and when the oldest answer was had.

    Raises
    ------
    SourceUnavailable
        They can't be had as a whole: a part of who owns the ground would be worse than none.
    """
    page, key = _layer(errand)
    fetched: list[str] = []
    found = _box(errand, box, page, fetched, halvings=0)
    unique: dict[str, dict[str, Any]] = {}
    for number, feature in enumerate(found):
        told = feature.get("id") or (feature.get("properties") or {}).get(key) or f"#{number}"
        unique.setdefault(str(told), feature)
    return list(unique.values()), min(fetched, default="")


def _layer(errand: Errand) -> tuple[int, str]:
    """How many features a page may have, and the column that numbers them."""
    service = errand.service
    answer = errand.gate.ask(
        service,
        service.url,
        params={"f": "json"},
        check=lambda body: _no_error(as_json(body, service.title), service.title),
    )
    told = as_json(answer.body, service.title)
    most = told.get("maxRecordCount")
    page = most if isinstance(most, int) and 0 < most < PAGE else PAGE
    return page, str(told.get("objectIdField") or "OBJECTID")


def _no_error(given: Any, title: str) -> None:
    if not isinstance(given, dict):
        raise Trouble(f"{title} sent JSON of another kind")
    error = given.get("error")
    if error is not None:
        code = error.get("code") if isinstance(error, dict) else None
        words = error.get("message") if isinstance(error, dict) else error
        kind = TooMuch if code in TOO_MUCH else (Trouble if code in {429, 503} else Refused)
        raise kind(f"{title} answered 200 with an error, {code}: {words}")


def _box(
    errand: Errand, box: Bounds, page: int, fetched: list[str], *, halvings: int
) -> list[dict[str, Any]]:
    """All pages of a box; a box at which the service fails is halved."""
    try:
        return _pages(errand, box, page, fetched)
    except Trouble as error:
        if halvings >= MOST_HALVINGS or not (isinstance(error, TooMuch) or "answered 50" in str(error)):
            raise
    return [
        feature
        for half in _halves(box)
        for feature in _box(errand, half, page, fetched, halvings=halvings + 1)
    ]


def _halves(box: Bounds) -> tuple[Bounds, Bounds]:
    west, south, east, north = box
    if east - west >= north - south:
        middle = (west + east) / 2
        return Bounds(west, south, middle, north), Bounds(middle, south, east, north)
    middle = (south + north) / 2
    return Bounds(west, south, east, middle), Bounds(west, middle, east, north)


def _pages(errand: Errand, box: Bounds, page: int, fetched: list[str]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    for _ in range(MOST_PAGES):
        given = _page(errand, box, page, len(found), fetched)
        found += given["features"]
        more = given.get("exceededTransferLimit") or (given.get("properties") or {}).get(
            "exceededTransferLimit"
        )
        if not more or not given["features"]:
            return found
    raise SourceUnavailable(f"{errand.service.title} has more than {MOST_PAGES} pages here")


def _page(errand: Errand, box: Bounds, page: int, offset: int, fetched: list[str]) -> dict[str, Any]:
    service = errand.service
    asked = {
        "where": "1=1", "geometry": ",".join(f"{v:.6f}" for v in box), "geometryType": "esriGeometryEnvelope",
        "inSR": "4326", "outSR": "4326", "spatialRel": "esriSpatialRelIntersects", "outFields": "*",
        "returnGeometry": "true", "f": "geojson", "resultOffset": str(offset), "resultRecordCount": str(page),
    }  # fmt: skip

    def check(body: bytes) -> None:
        given = as_json(body, service.title)
        _no_error(given, service.title)
        if not isinstance(given.get("features"), list):
            raise Trouble(f"{service.title} sent features that can't be read")

    answer = errand.gate.ask(service, f"{service.url}/query", params=asked, check=check)
    fetched.append(answer.fetched)
    given: dict[str, Any] = as_json(answer.body, service.title)
    return given
