"""Files taken into a country: read, placed, looked over for doubles, and put into its tables."""

from __future__ import annotations

import tempfile
from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from pyproj import Transformer
from shapely.geometry.base import BaseGeometry

from graylight.country.brought_rows import add_brought
from graylight.country.feature import Feature, plain_text
from graylight.country.folder import FACTS, Country, facts_text
from graylight.country.kinds import columns, kind_of
from graylight.country.outline import Crossings, Tangled, clipped
from graylight.country.rows import Rows
from graylight.country.tables import LIVE, TABLES, Shape
from graylight.errors import BadInput
from graylight.intake.doubles import doubles
from graylight.intake.found import Found, Unusable
from graylight.intake.gpx import read_gpx
from graylight.intake.kml import read_kml
from graylight.intake.layers import read_layers
from graylight.intake.parcel import KINDS, RASTERS, Item, items, unpacked
from graylight.intake.table import read_table
from graylight.plan.model import LayerFact
from graylight.work import Tick, part, silent

__all__ = ["Taken", "take_in"]

MOST_THINGS = 50_000
TRACES = (
    "lines became traces: trails that animals are seen to use, which the plan makes easier for them. A walk of your own is none: "
    "take the step back on the map page, and record it with 'graylight outing'"
)
MOST_SAID = 30
"""Of things that can't be used, a file: more are counted."""
LONGEST_TEXT = 2000
LIVE_NAMES = frozenset(spec.name for spec in LIVE)
FOR_SHAPE: dict[Shape, str] = {"point": "places", "line": "traces"}
"""Where a thing goes whose layer and file do not tell what it is."""
_DIMENSIONS: dict[int, Shape] = {0: "point", 1: "line", 2: "area"}
_READERS: dict[str, Callable[[Path], tuple[list[Found], list[str]]]] = {
    "gpx": read_gpx, "kml": read_kml, "table": read_table, "layers": read_layers,
}  # fmt: skip


@dataclass
class Taken:
    """What was taken in, how much of it was there already, and what could not be used.

    Parameters
    ----------
    added
        By table and file.
    known
        Things that were there already, by file.
    unused
        Sentences, each about one thing or file.
    """

    added: Counter[tuple[str, str]] = field(default_factory=Counter)
    known: Counter[str] = field(default_factory=Counter)
    unused: list[str] = field(default_factory=list)

    def lines(self) -> list[str]:
        """All of it in sentences."""
        told = [
            f"taken in: {count:,} into {table}, from {called}"
            for (table, called), count in sorted(self.added.items())
        ]
        told += [f"there already: {count:,} of {called}" for called, count in sorted(self.known.items())]
        if any(table == "traces" for table, _ in self.added):
            told.append(TRACES)
        return told + self.unused or ["there was nothing to take in"]


@dataclass(frozen=True)
class _Row:
    """A thing ready for its table: shape in the country's CRS, values by column."""

    table: str
    called: str
    shape: BaseGeometry
    values: dict[str, Any]

    @property
    def name(self) -> str:
        return str(self.values.get("name") or self.values.get("animal") or self.values.get("owner") or "")


def take_in(country: Country, paths: Sequence[Path], *, tick: Tick = silent) -> Taken:
    """Take files and folders of files into a country.

    Parameters
    ----------
    country
        Its live tables (places, traces, sightings) and those of what was brought in are added to.
    paths
        GPX, KML, KMZ, GeoJSON, GeoPackage, shapefiles (zipped or not), CSV with coordinates; folders of them.

    Returns
    -------
    Taken
        What became of each.

    Raises
    ------
    BadInput
        A path is not there; nothing of what was handed over can be used; the country can't be written to.
    """
    taken = Taken()
    handed = items(paths)
    rows = _rows(country, handed, taken, part(tick, 0.0, 0.7))
    fresh = _without_doubles(country, rows, taken)
    if not fresh and not taken.known:
        raise BadInput(
            taken.unused[0]
            if taken.unused
            else f"nothing was found in {_called(handed)}; accepted are GPX, KML, KMZ, GeoJSON, GeoPackage, zipped "
            "shapefiles, CSV with coordinates, and folders of them; check the path"
        )
    tick(0.8)
    _write(country, fresh)
    taken.added.update((row.table, row.called) for row in fresh)
    tick(1.0)
    return taken


def _called(handed: Sequence[Item]) -> str:
    """The files handed over, the first few by name."""
    names = ", ".join(item.called[:60] for item in handed[:3])
    return f"{names} and {len(handed) - 3:,} more" if len(handed) > 3 else names or "an empty folder"


def _rows(country: Country, handed: list[Item], taken: Taken, tick: Tick) -> list[_Row]:
    """Everything that can be used, in the order handed over."""
    placer = _Placer(country)
    rows: list[_Row] = []
    with tempfile.TemporaryDirectory(prefix="graylight-take-") as scratch:
        for number, item in enumerate(handed):
            inner, said = _opened(item, Path(scratch) / str(number))
            taken.unused += said
            for one in inner:
                found, lacking = _read(one)
                _say(taken, one, [*lacking, *placer.place(one, found, rows)])
            if len(rows) > MOST_THINGS:
                raise BadInput(
                    f"more than {MOST_THINGS:,} things were handed over; accepted are that many at once; take them in in parts"
                )
            tick((number + 1) / len(handed))
    taken.unused += _others(handed)
    return rows


def _opened(item: Item, scratch: Path) -> tuple[list[Item], list[str]]:
    """A file, or the files of an archive; or why not."""
    kind = KINDS.get(item.path.suffix.lower())
    if kind is None:
        return [], [] if _plainly_other(item) else [f"not used: {item.called}; {_why_not(item)}"]
    if kind != "archive":
        return [item], []
    scratch.mkdir()
    try:
        inner = unpacked(item.path, scratch)
    except Unusable as error:
        return [], [f"not used: {item.called}; {error}"]
    return inner, [] if inner else [f"not used: {item.called}; it holds no file that can be read"]


def _plainly_other(item: Item) -> bool:
    """Whether a file only lies in a folder with others and was never meant; they are counted."""
    return item.in_folder and item.path.suffix.lower() not in {*KINDS, *RASTERS}


def _why_not(item: Item) -> str:
    if item.path.suffix.lower() in RASTERS:
        return "rasters come in when a country is made: 'graylight new' with --elevation, --cover, --canopy or --imagery"
    return "accepted are GPX, KML, KMZ, GeoJSON, GeoPackage, zipped shapefiles and CSV"


def _others(handed: list[Item]) -> list[str]:
    """The files in folders that were never meant, in one sentence."""
    other = [item for item in handed if _plainly_other(item)]
    if not other:
        return []
    endings = ", ".join(sorted({item.path.suffix.lower() or "no ending" for item in other}))
    return [f"not used: {len(other):,} file{'s' if len(other) != 1 else ''} of other kinds ({endings[:80]})"]


def _read(item: Item) -> tuple[list[Found], list[str]]:
    """What a file holds, and what of it can't be used; a file that can't be read at all says so."""
    suffix = item.path.suffix.lower()
    try:
        found, said = _READERS[KINDS[suffix]](item.path)
    except (Unusable, OSError) as error:
        return [], [f"{error}"]
    if suffix == ".shp":  # an unpacked one has a name of our own
        found = [replace(thing, layer=item.stem) for thing in found]
        said = [words.replace(repr(item.path.stem), repr(item.stem)) for words in said]
    return found, said


def _say(taken: Taken, item: Item, said: list[str]) -> None:
    taken.unused += [f"not used: {item.called}; {words}" for words in said[:MOST_SAID]]
    if len(said) > MOST_SAID:
        taken.unused.append(f"not used: {item.called}; {len(said) - MOST_SAID} more things")


class _Placer:
    """Puts things where they belong: into a table, onto the country's frame, inside its box."""

    def __init__(self, country: Country) -> None:
        self._box = country.grid.bounds
        self._crossings = Crossings()
        self._mover = Transformer.from_crs("EPSG:4326", country.grid.crs, always_xy=True)

    def place(self, item: Item, found: list[Found], rows: list[_Row]) -> list[str]:
        """Add what can be used to the rows, and say what can't."""
        outside = 0
        said: list[str] = []
        for thing in found:
            try:
                pieces = self._pieces(thing.shape)
            except Tangled as error:
                said.append(f"an area of layer {thing.layer[:40]!r}: {error}")
                continue
            outside += not pieces
            for shape, piece in pieces:
                row = _row(item, thing, shape, piece)
                if row is None:
                    said.append(
                        f"an area of layer {thing.layer[:40]!r}: no name tells what it is (unit, ownership, lakes)"
                    )
                else:
                    rows.append(row)
        if outside:
            said.append(f"{outside:,} of {len(found):,} things lie outside the country")
        return list(dict.fromkeys(said))

    def _pieces(self, shape: BaseGeometry) -> list[tuple[Shape, BaseGeometry]]:
        """The points, lines and areas of a shape inside the country, in its frame."""
        moved = shapely.transform(
            shape, lambda xy: np.column_stack(self._mover.transform(xy[:, 0], xy[:, 1]))
        )
        if not np.isfinite(moved.bounds).all():
            return []
        by_shape: dict[Shape, list[BaseGeometry]] = defaultdict(list)
        for piece in _simple(clipped(moved, self._box, self._crossings)):
            by_shape[_DIMENSIONS[int(shapely.get_dimensions(piece))]].append(piece)
        return _joined(by_shape, moved)


def _simple(shape: BaseGeometry) -> list[BaseGeometry]:
    """The simple parts of a shape, those of collections, too."""
    waiting, found = [shape], []
    while waiting:
        piece = waiting.pop()
        if piece.is_empty:
            continue
        if hasattr(piece, "geoms"):
            waiting += reversed(list(piece.geoms))
        else:
            found.append(piece)
    return found


def _joined(
    by_shape: dict[Shape, list[BaseGeometry]], whole: BaseGeometry
) -> list[tuple[Shape, BaseGeometry]]:
    """Points one by one, lines and areas together; what clipping made of a shape's edge is left out."""
    highest = int(shapely.get_dimensions(whole))
    found: list[tuple[Shape, BaseGeometry]] = []
    if highest == 0 or whole.geom_type == "GeometryCollection":
        found += [("point", point) for point in by_shape.get("point", [])]
    lines: list[Any] = by_shape.get("line", [])
    areas: list[Any] = by_shape.get("area", [])
    if lines and (highest == 1 or whole.geom_type == "GeometryCollection"):
        found.append(("line", lines[0] if len(lines) == 1 else shapely.MultiLineString(lines)))
    if areas:
        found.append(("area", shapely.MultiPolygon(areas)))
    return found


def _row(item: Item, thing: Found, shape: Shape, piece: BaseGeometry) -> _Row | None:
    """A thing as a row of the table that its layer or file names, or that takes things of its shape."""
    table = kind_of(thing.layer, item.stem, shape) or FOR_SHAPE.get(shape)
    if table is None:
        return None
    told = {key: value for key, value in thing.told.items() if isinstance(key, str)}
    values = {key: _short(value) for key, value in columns(table, told).items()}
    if table in FOR_SHAPE.values():
        values |= _spoken(thing, table, values)
    if TABLES[table].shape == "point" and shape == "area":
        piece = piece.centroid
    return _Row(table, item.called, piece, values)


def _spoken(thing: Found, table: str, values: dict[str, Any]) -> dict[str, Any]:
    """Kind and note of a place or a trace, from what files usually say."""
    told = thing.told
    kind = (
        values.get("kind")
        or told.get("sym")
        or ("mark" if table == "places" else thing.layer.rstrip("s") or "line")
    )
    notes = [told.get("desc") or told.get("description") or told.get("note"), told.get("cmt")]
    when = str(told.get("time") or "")[:10]
    words = [plain_text(note) for note in dict.fromkeys(n for n in notes if n)]
    if len(when) == 10 and when[:4].isdigit():
        words.append(f"recorded {when}")
    return {"kind": _short(plain_text(kind)), **({"note": _short("; ".join(words))} if words else {})}


def _short(value: Any) -> Any:
    return value[:LONGEST_TEXT] if isinstance(value, str) else value


def _without_doubles(country: Country, rows: list[_Row], taken: Taken) -> list[_Row]:
    """The rows that are not there yet; the others are counted."""
    by_table: dict[str, list[_Row]] = defaultdict(list)
    for row in rows:
        by_table[row.table].append(row)
    fresh: list[_Row] = []
    for table, mine in by_table.items():
        there = [
            (
                f.geometry,
                str(
                    f.properties.get("name") or f.properties.get("animal") or f.properties.get("owner") or ""
                ),
            )
            for f in country.features(table)
        ]
        for row, double in zip(mine, doubles([(r.shape, r.name) for r in mine], there), strict=True):
            if double:
                taken.known[row.called] += 1
            else:
                fresh.append(row)
    return fresh


def _write(country: Country, rows: list[_Row]) -> None:
    """Put rows into their tables: the live ones as one step that can be taken back, the others with a fact each."""
    brought: dict[str, list[Feature]] = defaultdict(list)
    live: dict[str, list[_Row]] = defaultdict(list)
    for row in rows:
        if row.table in LIVE_NAMES:
            live[row.table].append(row)
        else:
            brought[row.table].append(Feature(row.shape, row.values))
    if brought:
        add_brought(country, brought)
        counted = Counter((row.table, row.called) for row in rows if row.table in brought)
        facts = [
            LayerFact(
                name=table, source=plain_text(called), date=None, resolution_m=None,
                done=[f"{count:,} taken in after the country was made", "clipped to the country"],
            )
            for (table, called), count in sorted(counted.items())
        ]  # fmt: skip
        changed = replace(country, facts=(*country.facts, *facts))
        country.write_text(FACTS, facts_text(changed))
    if live:
        kept = Rows(country)
        with kept.together():
            for table, mine in sorted(live.items()):
                kept.add_all(table, [(row.shape, row.values) for row in mine])
