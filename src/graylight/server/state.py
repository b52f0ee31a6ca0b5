"""The state of everything, as the page asks for it first."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from graylight.drawing.ground import LayerLook
from graylight.drawing.palettes import COVER, INK, LIGHT, hex_of
from graylight.ground.cover import Kind
from graylight.ground.kind import WORDS
from graylight.habitat.profile import shipped_names
from graylight.plan.composing import PROGRAM
from graylight.server.desk import Desk
from graylight.server.layers import TileLayer, available
from graylight.server.models import CountryNow, Held, JobTold, LayerNow, Now, Ramp, SettingsNow
from graylight.server.notes import for_page
from graylight.server.opened import Opened
from graylight.sight.optics import glasses
from graylight.sky.zone import timezone_of

__all__ = ["state_of"]

STEPS = 33
"""Colours of a ramp that the page is told."""


def state_of(desk: Desk) -> Now:
    """Everything the page must know at first."""
    opened, rows = desk.opened, desk.rows
    return Now(
        program=PROGRAM,
        country=_country(opened, desk.opening),
        settings=_settings(opened),
        animals=[*opened.country.own_profiles(), *shipped_names()],
        glasses=_glasses(opened),
        revision=rows.revision(),
        planned=opened.planned,
        stale=desk.stale(),
        undo=_step(rows.can_undo()),
        redo=_step(rows.can_redo()),
        layers=[_layer(one, opened) for one in available(opened)],
        attribution=_attribution(opened),
        jobs=[JobTold.model_validate(job.told()) for job in desk.jobs.all()],
    )


def _step(words: str | None) -> str | None:
    return None if words is None else for_page(words)


def _country(opened: Opened, opening: int) -> CountryNow:
    country = opened.country
    low, high = opened.once("heights", lambda: _ends(opened.raster("elevation")))
    center = country.grid.center
    return CountryNow(
        key=country.folder.resolve().name, name=country.name, opening=opening, invented=country.invented,
        bounds=[round(v, 6) for v in country.grid.lonlat_bounds()], center=[round(center.lon, 6), round(center.lat, 6)],
        crs=country.grid.crs, cell_m=country.grid.cell_m, timezone=timezone_of(center), lowest_m=low, highest_m=high,
    )  # fmt: skip


def _ends(elevation_m: NDArray[np.float32]) -> tuple[float | None, float | None]:
    if np.isnan(elevation_m).all():
        return None, None
    return round(float(np.nanmin(elevation_m)), 1), round(float(np.nanmax(elevation_m)), 1)


def _settings(opened: Opened) -> SettingsNow:
    settings = opened.country.settings
    return SettingsNow(
        animal=settings.animal, date=settings.date, units=settings.units, start=settings.start,
        lookouts=settings.lookouts, all=settings.model_dump(mode="json"),
    )  # fmt: skip


def _glasses(opened: Opened) -> list[str]:
    """The glasses that answers tell of."""
    return [glass.name for glass in glasses(opened.country.settings.optics)]


def _attribution(opened: Opened) -> list[str]:
    """Where the layers come from, in the words that their licences ask for."""
    return sorted({fact.credit or fact.source for fact in opened.country.facts})


def _layer(one: TileLayer, opened: Opened) -> LayerNow:
    return LayerNow(
        name=one.name, title=one.title, group=one.group, unit=one.unit, needs=list(one.needs),
        tiles=f"/api/tiles/{one.name}/{{z}}/{{x}}/{{y}}.png?v={opened.version}",
        ramp=None if one.look is None else _ramp(one.look),
        legend=_cover_key() if one.name == "cover" else [],
        lines=_lines(one, opened),
    )  # fmt: skip


def _ramp(look: LayerLook) -> Ramp:
    at = np.linspace(0, len(look.ramp) - 1, STEPS).round().astype(int)
    return Ramp(
        low=look.low,
        high=look.high,
        ends=list(look.ends),
        cyclic=look.cyclic,
        colours=list(_hexes(look.ramp[at])),
    )


def _hexes(colours: NDArray[np.uint8]) -> Iterable[str]:
    for red, green, blue in colours.tolist():
        yield hex_of((red, green, blue))


def _cover_key() -> list[Held]:
    return [
        Held(value=kind.value, words=WORDS[kind], colour=hex_of(COVER[kind.value]))
        for kind in Kind
        if kind.value
    ]


def _lines(one: TileLayer, opened: Opened) -> list[Held]:
    colours = (hex_of(LIGHT), hex_of(INK))
    found = one.lines(opened).items()
    return [
        Held(value=value, words=words, colour=colour)
        for (words, value), colour in zip(found, colours, strict=False)
    ]
