"""Files handed over by a page: known by what they hold, never by what they are called, and kept in a scratch folder.

Nothing outside decides a path: a name from outside is cleaned to letters and figures and put below a numbered
folder. What could make a reader look elsewhere (virtual rasters, links, document types, entities) is refused.
"""

from __future__ import annotations

import json
import re
import struct
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, TypeAlias
from xml.parsers import expat

from graylight.country.archive import SIGNATURE, BadArchive, Readable, packed
from graylight.country.elsewhere import frame_elsewhere
from graylight.country.feature import plain_text
from graylight.country.sealed import why_unsealed
from graylight.errors import BadInput

__all__ = ["Incoming", "Kept", "Readable", "check_content", "receiving"]

Kind: TypeAlias = Literal["raster", "vector", "beside"]
"""Beside: a part of another file, such as the columns of a shapefile."""

MOST_FILES = 200
MOST_BYTES = 4 * 2**30
"""Of all files together, unpacked."""
MOST_TABLES = 2**30
"""Bytes of a GeoPackage: what it holds is read at once; proposed."""
MOST_TEXT = 256 * 2**20
MOST_JSON = 64 * 2**20
"""JSON is taken apart as a whole, which takes about seven times its size of memory (points of two numbers); proposed."""
_HEAD = 64
_BESIDE = {".shx", ".dbf", ".prj", ".cpg"}
_TIFF = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_GEOJSON = {
    "FeatureCollection", "Feature", "Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon",
    "GeometryCollection",
}  # fmt: skip
_HGT = re.compile(r"[NS]\d{2}[EW]\d{3}\.hgt", re.IGNORECASE)
_HGT_BYTES = {1201 * 1201 * 2, 3601 * 3601 * 2}


@dataclass(frozen=True, slots=True)
class Kept:
    """A file in the scratch folder: where it lies, what it is, and what it was called."""

    path: Path
    kind: Kind
    called: str


@dataclass(slots=True)
class Incoming:
    """The scratch folder, and what has come in so far.

    Parameters
    ----------
    folder
        Where files are put.
    kept
        What can be used.
    left_out
        What can't, and why, in words.
    most_bytes
        Of all files together, unpacked.
    """

    folder: Path
    kept: list[Kept] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)
    most_bytes: int = MOST_BYTES
    _used: int = 0
    _count: int = 0
    _stems: dict[str, Path] = field(default_factory=dict)

    def take(self, name: str, stream: Readable) -> None:
        """Take a file in; a packed one is unpacked.

        Raises
        ------
        BadInput
            It is dangerous, or there is too much of it. What is merely of no use is left out, and said.
        """
        called = plain_text(name)[-80:] or "a file without a name"
        head = stream.read(_HEAD)
        if head[:4] == SIGNATURE:
            self._unpack(called, head, stream)
        else:
            self._take_one(called, head, stream)

    def _take_one(self, called: str, head: bytes, stream: Readable) -> None:
        self._count += 1
        if self._count > MOST_FILES:
            raise BadInput(
                f"more than {MOST_FILES} files; accepted are at most so many at once; leave some out"
            )
        found = _kind_of(called, head)
        if found is None:
            self.left_out.append(f"not used: {called}; it is none of the kinds of file that are taken")
            return
        kind, ending = found
        path = self._path(called, ending)
        self._copy(head, stream, path)
        check_content(path, called, ending)
        self.kept.append(Kept(path, kind, called))

    def _copy(self, head: bytes, stream: Readable, path: Path) -> None:
        """Write a stream to a path, as far as there is room."""
        self._used += len(head)
        with path.open("xb") as out:
            out.write(head)
            while data := stream.read(2**20):
                self._used += len(data)
                if self._used > self.most_bytes:
                    raise BadInput(
                        f"more than {self.most_bytes // 2**20:,} MB in all; accepted is at most that; leave some out"
                    )
                out.write(data)

    def _path(self, called: str, ending: str) -> Path:
        """A path of our own making: parts of one shapefile lie together, all else apart."""
        stem = (
            re.sub(r"[^A-Za-z0-9_-]+", "_", re.split(r"[/\\]", called)[-1].rsplit(".", 1)[0]).strip("_")[:40]
            or "file"
        )
        if ending == ".hgt":
            stem = re.split(r"[/\\]", called)[-1].rsplit(".", 1)[0].upper()
        together = ending in _BESIDE | {".shp", ".asc"}
        home = self._stems.get(stem.lower()) if together else None
        if home is None or (home / f"{stem}{ending}").exists():
            home = self.folder / f"{self._count:03d}"
            home.mkdir()
        if together:
            self._stems[stem.lower()] = home
        return home / f"{stem}{ending}"

    def _unpack(self, called: str, head: bytes, stream: Readable) -> None:
        self._count += 1
        path = self.folder / f"{self._count:03d}.packed"
        self._copy(head, stream, path)
        try:
            with packed(path, most_files=MOST_FILES, most_bytes=self.most_bytes) as inside:
                for name, file in inside:
                    self._take_packed(called, plain_text(name)[-80:], file)
        except BadArchive as error:
            raise BadInput(
                f"{called} can't be unpacked: {error}; accepted is a whole zip file of plain files; pack it again, or send "
                "what is in it unpacked"
            ) from None
        finally:
            path.unlink(missing_ok=True)

    def _take_packed(self, called: str, name: str, file: Readable) -> None:
        head = file.read(_HEAD)
        if head[:4] == SIGNATURE:
            self.left_out.append(f"not used: {name}; a packed file inside {called}")
        else:
            self._take_one(name, head, file)


@contextmanager
def receiving(*, most_bytes: int = MOST_BYTES) -> Iterator[Incoming]:
    """A scratch folder for what comes in, gone afterwards."""
    with tempfile.TemporaryDirectory(prefix="graylight-in-") as folder:
        yield Incoming(Path(folder), most_bytes=most_bytes)


def _kind_of(called: str, head: bytes) -> tuple[Kind, str] | None:
    """What a file is, by its first bytes, and the ending it gets; a name counts only where there are none."""
    ending = "." + called.rsplit(".", 1)[-1].lower()
    shape = len(head) >= 36 and struct.unpack(">i", head[:4])[0] == 9994
    by_bytes: tuple[tuple[bool, Kind, str], ...] = (
        (head.startswith(_TIFF), "raster", ".tif"),
        (head.startswith(b"SQLite format 3\0"), "vector", ".gpkg"),
        (shape and ending == ".shp", "vector", ".shp"),
        (shape and ending == ".shx", "beside", ".shx"),
        (ending in _BESIDE - {".shx"}, "beside", ending),
        (bool(_HGT.fullmatch(re.split(r"[/\\]", called)[-1])), "raster", ".hgt"),
        (head.lstrip()[:5].lower() == b"ncols", "raster", ".asc"),
    )
    found = next(((kind, given) for fits, kind, given in by_bytes if fits), None)
    return found or _text_kind(head, ending)


def _text_kind(head: bytes, ending: str) -> tuple[Kind, str] | None:
    text = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    wide = head[:2] in (b"\xff\xfe", b"\xfe\xff")
    if (text.startswith(b"<") or wide) and ending in {".gpx", ".kml", ".xml"}:
        return "vector", ".kml" if ending == ".kml" else ".gpx"
    return ("vector", ".geojson") if text.startswith(b"{") else None


def check_content(path: Path, called: str, ending: str) -> None:
    """See that a file is what it seems, and leads nowhere else.

    Raises
    ------
    BadInput
        It is not.
    """
    if ending in {".gpx", ".kml"}:
        _check_xml(path, called, ending[1:])
    elif ending == ".geojson":
        _check_json(path, called)
    elif ending == ".gpkg":
        _check_tables(path, called)
    elif ending == ".prj" and not re.match(rb"\s*[A-Z][A-Z_]{4,12}\s*[\[(]", path.read_bytes()[:200]):
        path.unlink()
    elif ending == ".hgt" and path.stat().st_size not in _HGT_BYTES:
        raise BadInput(
            f"{called} is not as long as a tile of heights is; accepted are 1201 or 3601 rows; send it whole"
        )


class _Stop(Exception):
    """Enough of a document was read."""


def _check_xml(path: Path, called: str, root: str) -> None:
    """See that a document is well formed, begins as it should, and has no document type (and so no entities)."""
    parser = expat.ParserCreate()
    met: list[str] = []

    def begin(name: str, _: dict[str, str]) -> None:
        if not met:
            met.append(name.rsplit(":", 1)[-1].lower())

    def doctype(*_: object) -> None:
        raise _Stop

    parser.StartElementHandler = begin
    parser.StartDoctypeDeclHandler = doctype
    _check_length(path, called, most=MOST_TEXT)
    try:
        with path.open("rb") as file:
            parser.ParseFile(file)
    except _Stop:
        raise BadInput(
            f"{called} has a document type, by which entities can be made; accepted is plain GPX or KML; save it again"
        ) from None
    except (expat.ExpatError, LookupError, ValueError):
        raise BadInput(
            f"{called} is not well-formed XML, or is cut short; accepted is whole GPX or KML"
        ) from None
    if met != [root]:
        raise BadInput(
            f"{called} begins with <{plain_text(met[0])[:40]}>; accepted is <{root}>; give it its right ending"
        )


def _check_length(path: Path, called: str, *, most: int, instead: str = "cut it down") -> None:
    size = path.stat().st_size
    if size > most:
        raise BadInput(f"{called} has {size / 2**20:.0f} MB; accepted is at most {most // 2**20}; {instead}")


def _check_json(path: Path, called: str) -> None:
    """See that a text is GeoJSON, and that its frame is named, not linked to."""
    _check_length(path, called, most=MOST_JSON, instead="cut it down, or save it as a GeoPackage")
    try:
        given = json.loads(path.read_text(encoding="utf-8-sig"))
    except (ValueError, RecursionError):
        raise BadInput(f"{called} is not JSON, or is cut short; accepted is whole GeoJSON") from None
    if not isinstance(given, dict) or given.get("type") not in _GEOJSON:
        raise BadInput(f"{called} is not GeoJSON; accepted is a FeatureCollection; save it as one")
    if frame_elsewhere(given) or not isinstance(given.get("crs"), (dict, type(None))):
        raise BadInput(
            f"{called} has a frame that is not named; accepted is EPSG:n or urn:ogc:def:crs:...; save it in WGS 84"
        )


def _check_tables(path: Path, called: str) -> None:
    """See that a GeoPackage holds plain tables only, and no more than a reader can take."""
    _check_length(path, called, most=MOST_TABLES, instead="cut it to the ground wanted")
    why = why_unsealed(path)
    if why is not None:
        raise BadInput(
            f"{called} can't be used: {why}; accepted is a GeoPackage of plain tables; export it again"
        )
