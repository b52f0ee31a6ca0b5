"""Running the stages, in their one direction, on a country."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import Point

from graylight.chance.prior import prior
from graylight.country.apron import apron_stamp
from graylight.country.feature import Feature
from graylight.country.folder import Country
from graylight.country.frame import check_memory
from graylight.country.layers import LAYERS
from graylight.country.masks import burn
from graylight.errors import BadInput
from graylight.ground.cover import Cover, cover
from graylight.ground.landforms import Landforms, landforms
from graylight.ground.relief import Relief, relief
from graylight.ground.water import Water, water
from graylight.habitat.habitat import Found, Habitat, dawn_use, found_habitat
from graylight.habitat.land import Land
from graylight.habitat.profile import Profile
from graylight.habitat.suitability import at_rim
from graylight.plan.animals import is_animal
from graylight.plan.around import beyond_of
from graylight.plan.data_truth import canopy_on_top
from graylight.plan.edits import Edits, read_edits
from graylight.plan.holdings import is_shut
from graylight.plan.ids import Given
from graylight.plan.odds import Found as FoundOdds
from graylight.plan.own import Chosen, chosen_pockets, scores
from graylight.plan.record import Record, read_record
from graylight.plan.record_in_plan import odds_for_plan, old_features
from graylight.plan.seats import APART_M, Seats, seats_of
from graylight.plan.stages_kept import Kept, fingerprint
from graylight.plan.starts import WayIn, starts
from graylight.reach.ground import WalkGround, walk_ground
from graylight.reach.walking import Reach, quiet, reach
from graylight.settings import Settings
from graylight.sight.answers import Obstacles, answers_through, obstacles, parts_seen
from graylight.sight.foliage import through
from graylight.sight.viewshed import reach_cells
from graylight.sight.watching import Sampled, bytes_needed, sample, windows
from graylight.siting.field import Seat, Targets, field
from graylight.siting.held import with_held
from graylight.siting.lookouts import Siting, siting
from graylight.siting.seat import distance_worth, liking, suited
from graylight.sky.first_last_sun import sharpened
from graylight.sky.shade import Shade, shade
from graylight.units import distance
from graylight.work import Tick, part, silent, spread

__all__ = [
    "Read",
    "Walked",
    "Watched",
    "Watching",
    "Worked",
    "closed_to_sitting",
    "country_water",
    "read_ground",
    "sightings_near",
    "walk",
    "watch",
    "work_out",
]

Raster = NDArray[np.float32]
Mask = NDArray[np.bool_]

MOST_SIGHTINGS = 3
"""More sightings than this near one pocket say no more: they are likely the same animals."""
TARGETS = 240
"""Target cells from which sight is reckoned for siting; they are shared out among the pockets."""
LEAST_TARGETS = 8
"""Fewest for one pocket, however many the person adds."""


SEATS_AT_ONCE = 8
"""Seats of the shortlist that are looked from in one job."""


@dataclass(frozen=True, slots=True)
class Read:
    """The ground as read from the layers; `key` is a fingerprint of all it was made from but the date."""

    key: str
    elevation_m: Raster
    relief: Relief
    landforms: Landforms
    cover: Cover
    water: Water
    private: Mask
    outside_unit: Mask
    paths: Mask
    shade: Shade


@dataclass(frozen=True, slots=True)
class Walked:
    """The country on foot: what it costs, from where, and how long."""

    ground: WalkGround
    starts: tuple[WayIn, ...]
    reach: Reach | None
    quiet_s: Raster


@dataclass(frozen=True, slots=True)
class Watched:
    """Sight and siting; the first picks are the person's own, whose ids are `own`."""

    land: Obstacles
    use: Raster
    siting: Siting
    own: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Worked:
    """Everything that was worked out."""

    edits: Edits
    read: Read
    walked: Walked
    chosen: Chosen
    seen_before: tuple[int, ...]
    chance: tuple[float, ...]
    watched: Watched
    odds: FoundOdds | None

    @property
    def habitat(self) -> Habitat:
        """The habitat with the pockets of the plan."""
        return self.chosen.habitat


def work_out(
    country: Country,
    profile: Profile,
    *,
    given: Given | None = None,
    kept: Kept | None = None,
    tick: Tick = silent,
) -> Worked:
    """Run every stage; progress from 0 to 1.

    Parameters
    ----------
    country, profile
    given
        Ids given so far; the ones given now are noted in it.
    kept
        Results of earlier runs: stages whose inputs are the same are not run again.

    Raises
    ------
    BadInput
        The country is too big for the memory allowed, or its ground can't be planned on.
    """
    country.check_whole()
    check_memory(country.grid, country.settings.memory_gb)
    _check_radius(country.settings.sight.radius_m, profile)
    given, kept = Given() if given is None else given, Kept() if kept is None else kept
    edits = read_edits(country, given)
    read = read_ground(country, kept, tick=part(tick, 0.0, 0.3))
    walked = walk(country, read, edits, kept, tick=part(tick, 0.3, 0.45))
    land, found = _habitat(country, read, walked, profile, kept, tick=part(tick, 0.45, 0.65))
    chosen = chosen_pockets(found, land, profile, edits=edits, given=given, grid=country.grid)
    record = read_record(country)
    seen = _seen_before(country, chosen.habitat, profile, record)
    before = _chances(chosen, seen, profile, read.cover.confidence)
    odds = odds_for_plan(country, record, chosen, _walls(country, read, kept), before, profile)
    chance = before if odds is None else odds.odds.pockets
    places = seats_of(edits, given, country, read.elevation_m)
    watching = Watching(country, read, walked, chosen.habitat, chance, profile)
    watched = watch(watching, places, kept, tick=part(tick, 0.65, 1.0))
    return Worked(edits, read, walked, chosen, seen, chance, watched, odds)


def _habitat(
    country: Country, read: Read, walked: Walked, profile: Profile, kept: Kept, *, tick: Tick
) -> tuple[Land, Found]:
    """What the ground says by itself."""
    shut = read.private | read.outside_unit
    traces = burn((f.geometry for f in country.features("traces")), country.grid)
    land = Land(
        read.elevation_m, country.grid.cell_m, read.relief, read.landforms, read.cover, read.water,
        read.shade.midday, walked.quiet_s, shut, traces,
    )  # fmt: skip
    key = fingerprint(read.key, country.settings.date, walked.quiet_s, shut, traces, profile)
    return land, kept.get("habitat", key, lambda: found_habitat(land, profile, tick=tick))


def _check_radius(radius_m: float, profile: Profile) -> None:
    standoff_m = profile.watch.standoff_m
    if radius_m <= standoff_m:
        raise BadInput(
            f"sight.radius_m is {radius_m:g} m, and the profile {profile.name} keeps watch.standoff_m, {standoff_m:g} m, "
            "from the animals; accepted is a radius above the standoff; raise sight.radius_m in settings.toml, or lower "
            "standoff_m in a copy of the profile in animals/"
        )


@dataclass(frozen=True, slots=True)
class _Ground:
    """What hangs on the layers and not on the date."""

    elevation_m: Raster
    relief: Relief
    landforms: Landforms
    cover: Cover
    water: Water


def read_ground(country: Country, kept: Kept, *, tick: Tick = silent) -> Read:
    """Relief, landforms, cover, water and shade from the country's layers."""
    grid, day = country.grid, country.settings.date
    layers = [country.stamp(name) for name, spec in LAYERS.items() if spec.writer == "entry"]
    layers.append(apron_stamp(country))
    wet = [country.features(table) for table in ("streams", "lakes")]
    key = fingerprint(
        str(country.folder), grid, layers, country.cover_scheme, country.settings.treeline_m, wet
    )
    land = kept.get("ground", key, lambda: _ground(country, tick=part(tick, 0.0, 0.75)))
    private = burn((f.geometry for f in country.features("ownership") if is_shut(f.properties)), grid)
    paths = burn((f.geometry for table in ("trails", "roads") for f in country.features(table)), grid)
    dark = kept.get("shade", fingerprint(key, day), lambda: _shade(country, land, part(tick, 0.75, 1.0)))
    return Read(
        key, land.elevation_m, land.relief, land.landforms, land.cover, land.water, private, _outside_unit(country),
        paths, dark,
    )  # fmt: skip


def _shade(country: Country, land: _Ground, tick: Tick) -> Shade:
    """Shade on the plan's date, its first and last sun sharpened to each cell's own horizon."""
    grid, day = country.grid, country.settings.date
    bend, place = grid.convergence_deg(), grid.center
    dark = shade(
        land.elevation_m, land.relief.slope_deg, land.relief.aspect_deg, cell_m=grid.cell_m, convergence_deg=bend,
        place=place, day=day, closure=land.cover.closure,
        beyond=beyond_of(country, land.elevation_m), tick=part(tick, 0.0, 0.6),
    )  # fmt: skip
    beyond = dark.beyond_s or (None, None)
    first, last = (
        sharpened(
            land.elevation_m, sun_s, last=last, cell_m=grid.cell_m, convergence_deg=bend, place=place, day=day,
            beyond_s=beyond[last], tick=part(tick, begin, begin + 0.2),
        )
        for sun_s, last, begin in ((dark.first_sun_s, False, 0.6), (dark.last_sun_s, True, 0.8))
    )  # fmt: skip
    return replace(dark, first_sun_s=first, last_sun_s=last)


def _ground(country: Country, *, tick: Tick) -> _Ground:
    grid = country.grid
    elevation = country.read("elevation")
    bend = grid.convergence_deg()
    rel = relief(elevation, cell_m=grid.cell_m, convergence_deg=bend, tick=part(tick, 0.0, 0.25))
    forms = landforms(elevation, rel, cell_m=grid.cell_m, convergence_deg=bend, tick=part(tick, 0.25, 0.8))
    kinds = _cover(country, elevation, rel)
    tick(0.95)
    return _Ground(elevation, rel, forms, kinds, country_water(country, elevation, kinds.kind))


def _optional(country: Country, layer: str) -> NDArray[Any] | None:
    return country.read(layer) if country.has(layer) else None


def _cover(country: Country, elevation: Raster, rel: Relief) -> Cover:
    return cover(
        elevation, rel, cell_m=country.grid.cell_m, lat_deg=country.grid.center.lat,
        codes=_optional(country, "cover_codes"), scheme=country.cover_scheme,
        canopy_m=_optional(country, "canopy_height"), closure=_optional(country, "canopy_closure"),
        red=_optional(country, "red"), nir=_optional(country, "nir"), picture=_optional(country, "picture"),
        treeline_m=country.settings.treeline_m,
    )  # fmt: skip


def country_water(country: Country, elevation: Raster, kind: NDArray[np.uint8]) -> Water:
    """Lakes and streams, from vectors and cover."""
    streams, lakes = country.features("streams"), country.features("lakes")
    sure = [f.geometry for f in streams if f.properties.get("kind") != "intermittent"]
    return water(
        elevation, cell_m=country.grid.cell_m, kind=kind,
        stream_cells=burn((f.geometry for f in streams), country.grid) if streams else None,
        stream_sure=burn(sure, country.grid) if streams else None,
        lake_cells=burn((f.geometry for f in lakes), country.grid) if lakes else None,
    )  # fmt: skip


def _outside_unit(country: Country) -> Mask:
    """Ground outside the unit boundary; none where no boundary is known."""
    unit = country.features("unit")
    return ~burn((f.geometry for f in unit), country.grid) if unit else np.zeros(country.grid.shape, bool)


def walk(country: Country, read: Read, edits: Edits, kept: Kept, *, tick: Tick = silent) -> Walked:
    """Walking ground, starts, times from the nearest start and back, and quiet."""
    settings = country.settings
    tables = [country.features(table) for table in ("streams", "roads", "trailheads", "starts")]
    key = fingerprint(
        read.key, read.private, read.paths, tables, edits.starts, settings.walk, settings.start,
        settings.watch.walk_limit_hours,
    )  # fmt: skip
    return kept.get("walk", key, lambda: _walk(country, read, edits.starts, tick=tick))


def _walk(country: Country, read: Read, only: tuple[str, ...], *, tick: Tick) -> Walked:
    settings, grid = country.settings, country.grid
    streams = burn((f.geometry for f in country.features("streams")), grid)

    def footing(dark: bool) -> WalkGround:
        return walk_ground(
            read.relief.slope_deg, read.cover.kind, deep_water=read.water.deep, path_cells=read.paths,
            private_cells=read.private, settings=settings.walk, dark=dark, stream_cells=streams,
        )  # fmt: skip

    ground = footing(dark=True)
    found = tuple(starts(country, np.isfinite(ground.factor), only=only))
    reached = None
    if found:
        cells = np.array([w.cell for w in found], np.int64)
        reached = reach(
            read.elevation_m, ground, (cells[:, 0], cells[:, 1]), cell_m=grid.cell_m, settings=settings.walk,
            limit_s=1.2 * settings.watch.walk_limit_hours * 3600.0, tick=part(tick, 0.0, 0.6),
        )  # fmt: skip
    rows, cols = _people_come_from(country, found)
    hushed = quiet(
        read.elevation_m, footing(dark=False), rows, cols, cell_m=grid.cell_m, tick=part(tick, 0.6, 1.0)
    )
    return Walked(ground, found, reached, hushed)


def _people_come_from(
    country: Country, found: tuple[WayIn, ...]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Cells of every road, trailhead and start."""
    mask = burn(
        (f.geometry for table in ("roads", "trailheads") for f in country.features(table)), country.grid
    )
    for way in found:
        mask[way.cell] = True
    rows, cols = np.nonzero(mask)
    return rows, cols


def _seen_before(country: Country, lived: Habitat, profile: Profile, record: Record) -> tuple[int, ...]:
    """Old sightings near each pocket."""
    known = old_features(country, record)
    reach_m = profile.chance.sighting_reach_m
    return tuple(
        sightings_near(known, country.grid.xy(p.row, p.col), profile.name, reach_m) for p in lived.pockets
    )


def _chances(
    chosen: Chosen, seen_before: tuple[int, ...], profile: Profile, confidence: str
) -> tuple[float, ...]:
    numbers = profile.chance
    odds = [numbers.sighting_odds ** min(n, MOST_SIGHTINGS) for n in seen_before]
    elsewhere = float(getattr(numbers, f"elsewhere_{confidence}"))
    return tuple(prior(scores(chosen), odds, elsewhere=elsewhere, sharpness=numbers.sharpness))


def sightings_near(sightings: list[Feature], centre: tuple[float, float], animal: str, reach_m: float) -> int:
    """How many of the animals seen before (of this animal, or of none named) were within reach of a place."""
    middle = Point(centre)
    named = [f for f in sightings if is_animal(f.properties.get("animal"), animal)]
    return sum(f.geometry.distance(middle) <= reach_m for f in named)


@dataclass(frozen=True, slots=True)
class Watching:
    """What sight and siting are worked out from."""

    country: Country
    read: Read
    walked: Walked
    lived: Habitat
    chance: tuple[float, ...]
    profile: Profile


def _walls(country: Country, read: Read, kept: Kept) -> Obstacles:
    """What sight lines meet."""
    sight = country.settings.sight
    return kept.get(
        "obstacles",
        fingerprint(read.key, sight),
        lambda: obstacles(
            read.elevation_m,
            *canopy_on_top(country, read.cover.canopy_m, read.cover.closure),
            sight,
            cell_m=country.grid.cell_m,
        ),
    )


def watch(of: Watching, places: Seats, kept: Kept, *, tick: Tick = silent) -> Watched:
    """From which ground the pockets can be watched, and the best of it, with the person's own places."""
    country, settings, cell_m = of.country, of.country.settings, of.country.grid.cell_m
    read, sight, animal_m = of.read, settings.sight, of.profile.watch.animal_m
    land = _walls(country, read, kept)
    use = dawn_use(of.lived, of.profile, cell_m)
    targets = _targets(of.lived, use, of.chance, country)
    key = fingerprint(read.key, sight, animal_m, targets.row, targets.col)
    seen = kept.get(
        "windows",
        key,
        lambda: windows(
            land, targets, cell_m=cell_m, animal_m=animal_m, settings=sight, tick=part(tick, 0, 0.6)
        ),
    )
    seat, worth = (
        _seat(of, use, places),
        distance_worth(seen.shape[1] // 2, cell_m=cell_m, watch=settings.watch),
    )
    whole = Targets(targets.row, targets.col, targets.weight, targets.pocket)
    light = partial(_through_foliage, land, targets, settings, cell_m, animal_m)
    free = kept.get(
        "siting",
        fingerprint(key, whole, seat, worth, settings.lookouts, settings.watch),
        lambda: siting(
            seen,
            whole,
            seat,
            worth,
            cell_m=cell_m,
            k=settings.lookouts,
            light=light,
            tick=part(tick, 0.6, 1.0),
        ),
    )
    if not places.own:
        return Watched(land, use, free, ())
    found = with_held(
        field(seen, whole, seat, worth, light), free, [one.cell for one in places.own],
        held=sum(one.held for one in places.own), k=settings.lookouts, apart=APART_M / cell_m,
    )  # fmt: skip
    return Watched(land, use, found, tuple(one.id for one in places.own))


def _seat(of: Watching, use: Raster, places: Seats) -> Seat:
    """Ground to sit on, without what lies about lookouts that the person dropped."""
    read, watch, cell_m = of.read, of.country.settings.watch, of.country.grid.cell_m
    walk_s = None if of.walked.reach is None else of.walked.reach.seconds
    fit = suited(
        read.relief.slope_deg, read.cover.closure, walk_s, closed_to_sitting(read, of.walked), use > 0,
        cell_m=cell_m, standoff_m=of.profile.watch.standoff_m, watch=watch,
    )  # fmt: skip
    rows, cols = np.ogrid[: fit.shape[0], : fit.shape[1]]
    for row, col in places.left:
        fit &= np.hypot(rows - row, cols - col) * cell_m >= APART_M
    return Seat(fit, liking(read.relief.slope_deg, read.landforms.forms, walk_s, watch=watch))


def _through_foliage(
    land: Obstacles,
    targets: Sampled,
    settings: Settings,
    cell_m: float,
    animal_m: float,
    cells: NDArray[np.int64],
    wanted: Mask,
) -> Raster:
    """Sight of the wanted pairs of seats and targets through the canopy: (3, seats, targets) low, likely, high."""
    seats = np.column_stack(np.divmod(cells, land.ground_m.shape[1]))
    out = np.zeros((3, *wanted.shape), np.float32)

    def look(first: int) -> None:
        for i in range(first, min(first + SEATS_AT_ONCE, len(seats))):
            some = wanted[i]
            found = through(
                land.leaves, eye=(int(seats[i, 0]), int(seats[i, 1])), rows=targets.row[some], cols=targets.col[some],
                cell_m=cell_m, eye_m=settings.sight.eye_m, target_m=animal_m, settings=settings.sight,
                openings_m=(settings.watch.seat_open_m, 0.0),
            )  # fmt: skip
            out[:, i, some] = parts_seen(found, answers_through(found, settings.sight), settings.sight)

    spread([partial(look, first) for first in range(0, len(seats), SEATS_AT_ONCE)])
    return out


def closed_to_sitting(read: Read, walked: Walked) -> Mask:
    """Closed ground, and the cells at the rim of known ground, whose slope is a guess."""
    return np.asarray(~np.isfinite(walked.ground.factor) | at_rim(read.elevation_m), bool)


def _targets(lived: Habitat, use: Raster, chance: tuple[float, ...], country: Country) -> Sampled:
    """Target cells, fewer where memory is short.

    Raises
    ------
    BadInput
        Not even a few cells a pocket fit the memory allowed.
    """
    radius = reach_cells(country.settings.sight.radius_m, country.grid.cell_m, country.grid.shape)
    ranked = max(1, sum(1 for c in chance if c > 0))
    room = 0.4 * country.settings.memory_gb * 2**30 // bytes_needed(1, radius)
    each = int(min(max(TARGETS // ranked, LEAST_TARGETS), room // ranked))
    if each < LEAST_TARGETS:
        within = distance(country.settings.sight.radius_m, country.settings.units)
        raise BadInput(
            f"{country.settings.memory_gb:g} GB of memory is too little to watch {ranked} pockets within "
            f"{within} on {country.grid.cell_m:g} m cells; raise memory_gb, lower "
            "sight.radius_m, or use larger cells"
        )
    return sample(lived.labels, use, list(chance), per_pocket=each)
