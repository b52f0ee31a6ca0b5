"""A country made: whatever was handed over brought onto one grid, checked, and written as a folder."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from graylight.country.apron import apron_grid, write_apron
from graylight.country.atomic import building, sync, write_bytes
from graylight.country.elevation import heights
from graylight.country.feature import plain_text
from graylight.country.folder import FACTS, PACKAGE, SETTINGS, Country, facts_text
from graylight.country.frame import check_memory, frame
from graylight.country.package import make_tables
from graylight.country.settings_file import write_settings
from graylight.country.source import Source, opened
from graylight.country.vectors import Vectors, read_vectors
from graylight.country.vegetation import Plants, Scheme, canopy, imagery, land_cover
from graylight.errors import BadInput
from graylight.grid import Bounds, Grid
from graylight.plan.model import LayerFact
from graylight.settings import Settings
from graylight.work import Tick, part, silent

__all__ = ["Origin", "Sources", "check_place", "make_country"]


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a file handed over is from, as far as it does not say so itself.

    Parameters
    ----------
    source
        What to call it instead of the file's name.
    date
        Date of the data, where known.
    licence, credit
        On which terms, and whom to name.
    done
        Sentences: what was done to it before.
    """

    source: str
    date: str | None = None
    licence: str | None = None
    credit: str | None = None
    done: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sources:
    """What a country is made from.

    Parameters
    ----------
    elevation
        Raster of heights.
    cover, canopy, imagery
        Rasters of land cover codes; canopy height (and closure); red and near infrared, or colours.
    apron
        Raster of heights far around, coarse.
    vectors
        Vector files.
    bounds
        What is wanted of the elevation, WGS 84 degrees; None: all of it.
    cell_m
        Cell size; None: the elevation's own, but not finer than 10 m.
    name
        None: the folder's name.
    invented
        Whether the ground does not exist.
    feet
        Whether heights are in feet; None: as the file says.
    surface
        Whether heights are those of tree tops and roofs; None: as the file's name says.
    origins
        Where files are from, by path.
    record
        Sentences for the record: what could not be had.
    own_vectors
        Whether the program wrote the vector files itself, of what it gathered: they may lie outside the country, for they were
        asked for by a box that is a little larger.
    """

    elevation: Path
    cover: Path | None = None
    canopy: Path | None = None
    imagery: Path | None = None
    apron: Path | None = None
    vectors: tuple[Path, ...] = ()
    bounds: Bounds | None = None
    cell_m: float | None = None
    name: str | None = None
    invented: bool = False
    feet: bool | None = None
    surface: bool | None = None
    origins: Mapping[Path, Origin] = field(default_factory=dict)
    record: tuple[str, ...] = ()
    own_vectors: bool = False


@dataclass
class _Gathered:
    """What has been brought in so far."""

    sources: Sources
    grid: Grid
    layers: dict[str, NDArray[Any]]
    facts: list[LayerFact]
    record: list[str]
    scheme: Scheme = "worldcover"
    apron: NDArray[np.float32] | None = None


def make_country(folder: Path, sources: Sources, settings: Settings, *, tick: Tick = silent) -> Country:
    """Make a country's folder from rasters and vector files.

    Parameters
    ----------
    folder
        A folder that is not there yet, or is empty.
    sources
        What to make it from.
    settings
        What its settings file will hold.

    Returns
    -------
    Country

    Raises
    ------
    BadInput
        Something handed over can't be used. Nothing is left behind then, nor when the run is stopped or
        killed: everything is made in a folder beside it, which is renamed at the end.
    """
    folder = Path(os.path.abspath(folder))
    check_place(folder)
    gathered = _elevation(sources, settings, part(tick, 0.0, 0.3))
    _plants(sources, gathered, part(tick, 0.3, 0.65))
    _apron(sources, gathered, part(tick, 0.65, 0.7))
    vectors = read_vectors(sources.vectors, gathered.grid, own=sources.own_vectors, tick=part(tick, 0.7, 0.8))
    country = Country(
        folder=folder,
        name=plain_text(sources.name or folder.name),
        invented=sources.invented,
        grid=gathered.grid,
        settings=settings,
        facts=(*gathered.facts, *_vector_facts(vectors, sources)),
        record=(*gathered.record, *vectors.left_out, *sources.record),
        cover_scheme=gathered.scheme,
    )
    _write(country, gathered, vectors, part(tick, 0.8, 1.0))
    return country


def check_place(folder: Path) -> None:
    """See that a country's folder can be made, before any work.

    Raises
    ------
    BadInput
        Something is there already, the place does not exist, or it may not be written to.
    """
    folder = Path(os.path.abspath(folder))
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        what = "is not empty" if folder.is_dir() else "is a file"
        raise BadInput(
            f"{str(folder)!r} {what}; accepted is a folder that is not there yet or is empty; choose "
            "another name"
        )
    if not folder.parent.is_dir():
        raise BadInput(
            f"there is no folder {str(folder.parent)!r} to make {folder.name!r} in; accepted is a place "
            "that exists; make it first or choose another"
        )
    try:
        with building(folder, "making"):
            pass
    except OSError as error:
        raise _unwritable(folder, error.strerror or str(error)) from None


def _unwritable(folder: Path, why: str) -> BadInput:
    return BadInput(
        f"the folder {str(folder)!r} can't be made ({why}); accepted is a place that may be written to, "
        "with room for it; change its rights or choose another"
    )


def _elevation(sources: Sources, settings: Settings, tick: Tick) -> _Gathered:
    """Grid and heights."""
    with opened(sources.elevation, "elevation") as source:
        grid, words = frame(source, bounds=sources.bounds, cell_m=sources.cell_m)
        check_memory(grid, settings.memory_gb, made=False)
        found = heights(source, grid, feet=sources.feet, tick=tick)
        fact = _fact("elevation", source, (*words, *found.done), grid, sources)
    fact = fact.model_copy(update={"surface": _is_surface(sources)})
    cautions = [f"caution: {words}" for words in found.cautions]
    return _Gathered(sources, grid, {"elevation": found.values}, [fact], cautions)


def _is_surface(sources: Sources) -> bool:
    """Whether the heights are those of a surface model: as was said, else by the file's name (DSM)."""
    if sources.surface is not None:
        return sources.surface
    return _is_surface_named(sources.elevation)


def _is_surface_named(path: Path) -> bool:
    return "dsm" in re.split(r"[^a-z]+", path.stem.lower())


def _plants(sources: Sources, gathered: _Gathered, tick: Tick) -> None:
    """Land cover, canopy and imagery, as far as they were given."""
    grid = gathered.grid
    if sources.cover is not None:
        with opened(sources.cover, "land cover") as source:
            found, gathered.scheme = land_cover(source, grid)
            _add(gathered, found, source)
    tick(0.3)
    if sources.canopy is not None:
        with opened(sources.canopy, "canopy") as source:
            _add(gathered, canopy(source, grid, tick=part(tick, 0.3, 0.6)), source)
    if sources.imagery is not None:
        with opened(sources.imagery, "imagery") as source:
            _add(gathered, imagery(source, grid, tick=part(tick, 0.6, 1.0)), source)


def _apron(sources: Sources, gathered: _Gathered, tick: Tick) -> None:
    """Heights far around, where they were given; what is doubtful about them is no caution about the country."""
    if sources.apron is None:
        return
    around = apron_grid(gathered.grid)
    try:
        with opened(sources.apron, "apron") as source:
            found = heights(source, around, feet=False, tick=tick)
            fact = _fact("apron", source, found.done, around, sources)
    except BadInput as error:
        gathered.record.append(f"caution: the heights around the country could not be used ({error})")
        return
    gathered.facts.append(fact.model_copy(update={"surface": _is_surface_named(sources.apron)}))
    gathered.apron = found.values


def _add(gathered: _Gathered, found: Plants, source: Source) -> None:
    gathered.layers |= found.layers
    for name in found.layers:
        gathered.facts.append(_fact(name, source, found.done, gathered.grid, gathered.sources))
    gathered.record += [f"caution: {words}" for words in found.cautions]


def _fact(name: str, source: Source, done: tuple[str, ...], grid: Grid, sources: Sources) -> LayerFact:
    box = source.window_of(grid.bounds, grid.crs)
    cell = None if box is None else max(source.sides_m(box))
    told = [*done, *source.markers_met()]
    fact = LayerFact(name=name, source=source.name, date=_date(source), resolution_m=cell, done=told)
    return _with_origin(fact, sources.origins.get(Path(source.file.name)))


def _with_origin(fact: LayerFact, origin: Origin | None) -> LayerFact:
    """A fact with what is known of the file beside what the file says."""
    if origin is None:
        return fact
    more = {"source": origin.source, "licence": origin.licence, "credit": origin.credit}
    return fact.model_copy(
        update={**more, "date": origin.date or fact.date, "done": [*origin.done, *fact.done]}
    )


def _vector_facts(vectors: Vectors, sources: Sources) -> list[LayerFact]:
    by_name = {path.name: origin for path, origin in sources.origins.items()}
    return [_with_origin(fact, by_name.get(fact.source)) for fact in vectors.facts]


def _date(source: Source) -> str | None:
    """The date of the data, where the file tells it as a date."""
    tags = {**source.file.tags(ns="IMAGERY"), **source.file.tags()}
    plain = {key.lower(): str(value) for key, value in tags.items()}
    for key in ("acquisitiondatetime", "acquisition_date", "acquisitiondate", "date"):
        text = plain.get(key, "")[:10].replace(":", "-").replace("/", "-")
        if len(text) >= 4 and text[:4].isdigit():
            return text
    return None


def _write(country: Country, gathered: _Gathered, vectors: Vectors, tick: Tick) -> None:
    """Write everything into a folder beside the place, then rename it."""
    folder = country.folder
    try:
        with building(folder, "making") as fresh:
            inside = replace(country, folder=fresh)
            inside.write_layers(
                {name: np.asarray(v) for name, v in gathered.layers.items()}, tick=part(tick, 0.0, 0.8)
            )
            if gathered.apron is not None:
                write_apron(fresh, gathered.apron, country.grid)
            make_tables(fresh / PACKAGE, vectors.tables, country.grid.crs)
            sync(fresh / PACKAGE)
            write_bytes(fresh / SETTINGS, write_settings(country.settings).encode())
            write_bytes(fresh / FACTS, facts_text(country).encode())
            tick(1.0)
            if folder.is_dir():
                folder.rmdir()
            fresh.rename(folder)
            sync(folder.parent)
    except OSError as error:
        raise _unwritable(folder, error.strerror or str(error)) from None
