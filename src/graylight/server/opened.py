"""A country opened for the page: its layers in memory, read or worked out when first asked for."""

from __future__ import annotations

import datetime as dt
from collections import OrderedDict
from functools import partial
from hashlib import sha256
from typing import Any

import numpy as np
from numpy.typing import NDArray

from graylight.country.folder import Country
from graylight.drawing.hillshade import fill_gaps, hillshade
from graylight.drawing.holdings import Holding, Pattern, on_the_web
from graylight.drawing.overlay import two_band_colours
from graylight.drawing.tile import Stack
from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.ground.relief import Relief, relief
from graylight.plan.composing import survey_of
from graylight.plan.holdings import is_shut
from graylight.plan.keeping import belongs_together, kept_plan, plan_text
from graylight.plan.looking import Looked, Ready, look_from, ready_to_look
from graylight.plan.model import Plan
from graylight.plan.morning_ready import MorningReady, kept_lookout, ready_for_morning
from graylight.plan.survey import Survey
from graylight.server.kept import Kept
from graylight.server.problems import NoPlan
from graylight.sky.shade import moment
from graylight.sky.surface import Surface

__all__ = ["Opened"]

LOOKS, MOMENTS, QUESTIONS, SIGHTS = 24, 24, 8, 6
"""At most so many looks, moments of shade, answered questions and sights as tiles are kept ..."""
KEPT_PART = 0.08
"""... and no more of looks, or of moments, than this part of `memory_gb` holds; proposed."""
LOOK_BYTES, MOMENT_BYTES = 5, 6
"""Of a cell: answers and margins; shade at its own size and halved again and again."""
VIEWS, ANSWERS = 12, 32
"""Views of the horizon (16 bytes a pixel), and days, mornings and marks as they were answered."""
OPEN = frozenset({"open", "public", "yes"})


class Opened:
    """One state of a country: its settings as edited, its plan, its layers. Another plan is another `Opened`.

    Parameters
    ----------
    country
        With the person's edits applied; the plan's own animal and date are taken for looks.
    """

    def __init__(self, country: Country, *, plan: Plan | None = None) -> None:
        self.country = country
        self.plan = _plan_of(country) if plan is None else plan
        self._text = "" if self.plan is None else plan_text(self.plan)
        self.planned = None if self.plan is None else sha256(self._text.encode()).hexdigest()[:16]
        if self.plan is not None:
            country = country.with_settings(animal=self.plan.animal, date=self.plan.light.date.isoformat())
        self.as_planned = country
        self._once: Kept[Any] = Kept(10_000)
        self._rasters: Kept[Any] = Kept(10_000)
        self._looks: Kept[Looked] = Kept(self._room(LOOK_BYTES, LOOKS))
        self._moments: Kept[Stack] = Kept(self._room(MOMENT_BYTES, MOMENTS))
        self._sights: Kept[Stack] = Kept(SIGHTS)
        self.views: Kept[Any] = Kept(VIEWS)
        self.answers: Kept[Any] = Kept(ANSWERS)
        self._watches: OrderedDict[str, Stack] = OrderedDict()

    def with_country(self, country: Country) -> Opened:
        """The same ground and plan under other settings; what was read stays in memory."""
        other = Opened(country, plan=self.plan)
        other._rasters = self._rasters
        other._watches = self._watches
        return other

    def _room(self, cell_bytes: int, most: int) -> int:
        """How many rasters of so many bytes a cell may be kept; two at the least."""
        cells = self.country.grid.rows * self.country.grid.cols
        allowed = KEPT_PART * self.country.settings.memory_gb * 2**30
        return max(2, min(most, int(allowed / (cell_bytes * cells))))

    def warm(self) -> None:
        """Read what the first looks and tiles need."""
        for stack in ("hillshade", "filled"):
            self.stack(stack)
        if self.plan is not None:
            self.look(self.country.grid.center)

    @property
    def version(self) -> str:
        """A short name for what the tiles show: another plan, another name."""
        grid = self.country.grid
        return self.planned or sha256(repr((self.country.name, grid)).encode()).hexdigest()[:16]

    def has(self, layer: str) -> bool:
        """Whether a layer is there; a result of the stages counts only with the plan it belongs to."""
        brought = {fact.name for fact in self.country.facts}
        return self.country.has(layer) and (layer in brought or self.plan is not None)

    def lookout_place(self, name: str) -> LonLat:
        """Where a lookout of the plan is.

        Raises
        ------
        BadInput
            There is none of that name.
        """
        place = kept_lookout(self.must_plan(), name).place
        return LonLat(place.lon, place.lat)

    def raster(self, layer: str) -> NDArray[Any]:
        """A layer of the country.

        Raises
        ------
        BadInput
            It is not there.
        """
        if layer in {"slope", "aspect"} and not self.has(layer):
            return self.relief.slope_deg if layer == "slope" else self.relief.aspect_deg
        if not self.has(layer):
            raise BadInput(f"there is no layer {layer} yet; accepted is a country with a plan; plan first")
        return self._rasters.get(("raster", layer), partial(self.country.read, layer))  # type: ignore[no-any-return]

    @property
    def relief(self) -> Relief:
        """Slope and facing, worked out here while there is no plan."""
        grid = self.country.grid
        return self._rasters.get(  # type: ignore[no-any-return]
            "relief",
            lambda: relief(
                self.raster("elevation"), cell_m=grid.cell_m, convergence_deg=grid.convergence_deg()
            ),
        )

    @property
    def survey(self) -> Survey:
        """Grid, heights, declination and names."""
        return self._once.get(  # type: ignore[no-any-return]
            "survey", lambda: survey_of(self.as_planned, self.raster("elevation"))
        )

    @property
    def ready(self) -> Ready:
        """What looks need.

        Raises
        ------
        NoPlan
            There is none.
        """
        plan = self.must_plan()
        return self._once.get("ready", lambda: ready_to_look(self.as_planned, plan))  # type: ignore[no-any-return]

    @property
    def mornings(self) -> MorningReady:
        """What mornings need.

        Raises
        ------
        NoPlan
            There is none.
        """
        plan = self.must_plan()
        return self._once.get(  # type: ignore[no-any-return]
            "mornings", lambda: ready_for_morning(self.as_planned, plan)
        )

    def must_plan(self) -> Plan:
        """The plan.

        Raises
        ------
        NoPlan
            There is none.
        """
        if self.plan is None:
            raise NoPlan("there is no plan yet; accepted is a country with one; plan first")
        return self.plan

    @property
    def plan_text(self) -> str:
        """The plan as JSON.

        Raises
        ------
        NoPlan
            There is none.
        """
        self.must_plan()
        return self._text

    def look(self, place: LonLat) -> Looked:
        """A look from a place; the same cell is looked from once."""
        cell = self.country.grid.rowcol(place)
        return self._looks.get(cell, lambda: look_from(self.ready, place))

    def sight_of(self, place: LonLat) -> Stack:
        """Answers of a look plus one, ready to be cut into tiles: 0 is nothing."""
        cell = self.country.grid.rowcol(place)
        return self._sights.get(
            cell, lambda: Stack(self.look(place).view.answers + np.uint8(1), smooth=False)
        )

    def once(self, key: object, make: Any) -> Any:
        """Anything else that is worked out once."""
        return self._once.get(("more", key), make)

    def stack(self, name: str) -> Stack:
        """A raster ready to be cut into tiles."""
        return self._rasters.get(("stack", name), partial(self._stacked, name))  # type: ignore[no-any-return]

    def _stacked(self, name: str) -> Stack:
        made = {
            "filled": lambda: Stack(self.filled),
            "hillshade": lambda: Stack(hillshade(self.raster("elevation"), cell_m=self.country.grid.cell_m)),
            "cover": lambda: Stack(self._read("cover"), smooth=False),
            "imagery": lambda: Stack(self._imagery()),
            "east": lambda: Stack(self._turned(np.sin)),
            "north": lambda: Stack(self._turned(np.cos)),
        }
        # read for this alone: what looks need is kept elsewhere
        return made[name]() if name in made else Stack(self._read(name))

    def _read(self, layer: str) -> NDArray[Any]:
        """A layer that is not kept as it is."""
        return self.raster(layer) if layer in {"slope", "aspect"} else self.country.read(layer)

    @property
    def filled(self) -> NDArray[np.float32]:
        """Heights without gaps."""
        return self._rasters.get("filled", lambda: fill_gaps(self.raster("elevation")))  # type: ignore[no-any-return]

    def _imagery(self) -> NDArray[np.uint8]:
        if self.has("picture"):
            bands = np.moveaxis(self._read("picture"), 0, -1)
            known = np.where(bands.any(axis=-1), 255, 0).astype(np.uint8)
            return np.dstack([bands, known])
        return two_band_colours(self._read("red"), self._read("nir"))

    def _turned(self, part: Any) -> NDArray[np.float32]:
        """Sine or cosine of the facing; 0 on level ground, which faces nowhere."""
        turned = np.asarray(part(np.radians(self.raster("aspect"))), np.float32)
        turned[np.isnan(turned) & np.isfinite(self.raster("elevation"))] = 0.0
        return turned

    @property
    def surface(self) -> Surface:
        """The ground as the sun meets it."""
        grid = self.country.grid
        return self._once.get(  # type: ignore[no-any-return]
            "surface",
            lambda: Surface.of(
                self.raster("elevation"), self.raster("slope"), self.raster("aspect"),
                self.raster("closure") if self.has("closure") else None,
                cell_m=grid.cell_m, convergence_deg=grid.convergence_deg(), beyond=self.survey.beyond,
            ),
        )  # fmt: skip

    def shade_at(self, time: dt.datetime) -> Stack:
        """Shade in per cent at a moment, to the minute."""
        minute = time.astimezone(dt.UTC).replace(second=0, microsecond=0)
        return self._moments.get(minute, partial(self._shade, minute))

    def _shade(self, minute: dt.datetime) -> Stack:
        found = moment(self.surface, place=self.country.grid.center, time=minute)
        percent = found.shade_percent.astype(np.float32)
        percent[found.shade_percent > 100] = np.nan
        return Stack(percent)

    def keep_watch(self, key: str, part_shown: NDArray[np.float32]) -> None:
        """Keep the answer of a question for its tiles."""
        self._watches[key] = Stack(part_shown)
        while len(self._watches) > QUESTIONS:
            self._watches.popitem(last=False)

    def watched(self, key: str) -> Stack:
        """How much of the marks of a question shows from every cell.

        Raises
        ------
        BadInput
            It was not asked, or too long ago.
        """
        found = self._watches.get(key)
        if found is None:
            raise BadInput(f"no answer {key!r} is kept; accepted is one of the last {QUESTIONS}; ask again")
        return found

    @property
    def holdings(self) -> list[Holding]:
        """Ownership with its patterns."""
        return self._once.get("holdings", self._holdings)  # type: ignore[no-any-return]

    def _holdings(self) -> list[Holding]:
        crs = self.country.grid.crs
        return [
            Holding(on_the_web(f.geometry, crs), _pattern(f.properties))
            for f in self.country.features("ownership")
        ]

    @property
    def unit_shapes(self) -> list[Any]:
        """Outlines of the unit, in EPSG:3857."""
        crs = self.country.grid.crs
        return self._once.get(  # type: ignore[no-any-return]
            "unit", lambda: [on_the_web(f.geometry, crs) for f in self.country.features("unit")]
        )


def _plan_of(country: Country) -> Plan | None:
    """The plan kept with its layers; None when there is none, or it and the layers are of two runs."""
    plan = kept_plan(country)
    return plan if plan is not None and belongs_together(country) else None


def _pattern(properties: dict[str, Any]) -> Pattern:
    if is_shut(properties):
        return "shut"
    return "open" if str(properties.get("access") or "").strip().lower() in OPEN else "ask"
