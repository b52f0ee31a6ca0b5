"""What an outing searched: of each pocket what was in sight, for how long, and the chance of having found it."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from graylight.chance.detection import Stand, found_part, glass_part
from graylight.chance.hours import DayLight, Slice, slices
from graylight.errors import BadInput
from graylight.grid import Grid, LonLat, RowCol
from graylight.plan.model import Share
from graylight.plan.record import Outing
from graylight.plan.sight_facts import PocketCells, seen_cells, view_from
from graylight.settings import Settings
from graylight.sight.answers import Obstacles
from graylight.sight.answers import share as share_of
from graylight.sight.optics import Glass, farthest, tasks
from graylight.sky.light import light_of_day
from graylight.sky.sun import sun_path

__all__ = ["Effort", "Ground", "Searched", "Sitting", "effort_of", "glass_named", "searched", "sitting"]

SPAN = dt.timedelta(minutes=10)
MOST_STANDS = 12
"""A track is looked from in at most so many places; a longer one in longer spans."""
STILL_MS = 0.15
"""Someone who moves more slowly than this sits. Proposed."""
PLACES_KEPT = 64
CARE = 0.005
"""A pocket whose chance of having been found is below this was not searched."""


class _Seen(NamedTuple):
    """Sight of a pocket's cells, low, likely and high (3, n), and how far off they are (n,)."""

    sight: NDArray[np.float32]
    away_m: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Ground:
    """What effort is reckoned on: the same for every outing.

    Parameters
    ----------
    cells
        Used cells of each pocket, in the order of the plan's.
    """

    grid: Grid
    land: Obstacles
    cells: tuple[PocketCells, ...]
    animal_m: float
    settings: Settings
    _seen: dict[RowCol, dict[int, _Seen]] = field(default_factory=dict, compare=False)

    def seen_from(self, eye: RowCol) -> dict[int, _Seen]:
        """The pockets that show from a cell, by index; the last few places are kept."""
        if eye not in self._seen:
            while len(self._seen) >= PLACES_KEPT:
                del self._seen[next(iter(self._seen))]
            self._seen[eye] = _look(self, eye)
        return self._seen[eye]


@dataclass(frozen=True, slots=True)
class Sitting:
    """A place watched from, from a moment to another."""

    place: LonLat
    begin: dt.datetime
    end: dt.datetime
    walking: bool = False


@dataclass(frozen=True, slots=True)
class Effort:
    """What one outing searched of one pocket.

    Parameters
    ----------
    pocket
        Its index.
    share
        Part of what uses it that was in sight, as a mean over the time that counted.
    found
        Chance of having found animals that use it: low, likely and high.
    distance_m
        To the middle of what was in sight, likewise.
    """

    pocket: int
    share: Share
    found: Share
    distance_m: float


@dataclass(frozen=True, slots=True)
class Searched:
    """All that one outing searched, hours in twilight and by day, and how many of them the animals were likely out."""

    efforts: tuple[Effort, ...]
    twilight_h: float
    day_h: float
    out_h: float

    def found(self, pockets: int, which: str = "likely") -> list[float]:
        """Chance of having found what is there, by pocket."""
        told = [0.0] * pockets
        for one in self.efforts:
            told[one.pocket] = getattr(one.found, which)
        return told


@dataclass(frozen=True, slots=True)
class _Watched:
    """A pocket from one place: sight of its cells (3, n), coverage (n,), distance (n,)."""

    sight: NDArray[np.float32]
    coverage: NDArray[np.float64]
    away_m: NDArray[np.float64]


def effort_of(outing: Outing, ground: Ground, watched: Sequence[int] | None = None) -> Searched:
    """What an outing searched.

    Parameters
    ----------
    outing
        From a lookout or along a track.
    ground
        Of the plan in force: the effort follows the pockets as they are now.
    watched
        Indices of the pockets that were looked at; None: all in sight.
    """
    glasses = tuple(glass_named(name) for name in outing.glasses)
    return searched(_sittings(outing, ground.grid), ground, glasses, weather=outing.weather, watched=watched)


def searched(
    sittings: Sequence[Sitting],
    ground: Ground,
    glasses: tuple[Glass, ...],
    *,
    weather: str,
    watched: Sequence[int] | None = None,
) -> Searched:
    """The same for any places and times."""
    wanted = list(range(len(ground.cells)) if watched is None else watched)
    farthest_m = ground.settings.record.fog_m if weather == "fog" else math.inf
    by_pocket: dict[int, list[_Watched]] = {}
    all_slices: list[Slice] = []
    for one in sittings:
        cut = _slices(one, ground, weather)
        all_slices += cut
        for pocket, seen in sitting(one, ground, glasses, cut, wanted, farthest_m=farthest_m).items():
            by_pocket.setdefault(pocket, []).append(seen)
    efforts = [_effort(i, ground, seen) for i, seen in sorted(by_pocket.items())]
    lit = [s for s in all_slices if s.light > 0.0]
    return Searched(
        tuple(e for e in efforts if e is not None),
        sum(s.hours for s in lit if s.dim),
        sum(s.hours for s in lit if not s.dim),
        sum(s.hours * s.open for s in lit),
    )


def sitting(
    one: Sitting, ground: Ground, glasses: tuple[Glass, ...], cut: Sequence[Slice], wanted: Sequence[int],
    *, farthest_m: float = math.inf,
) -> dict[int, _Watched]:  # fmt: skip
    """The pockets as watched from one place for a while; those out of sight are not in it.

    `farthest_m` is how far the air lets one see.
    """
    record, cell_m = ground.settings.record, ground.grid.cell_m
    all_seen = ground.seen_from(ground.grid.rowcol(one.place))
    seen = {i: all_seen[i] for i in wanted if i in all_seen}
    hectares = sum(float(s.sight[1].sum(dtype=np.float64)) for s in seen.values()) * cell_m**2 / 1e4
    rate = record.glass_ha_per_hour / max(hectares, record.least_ha)
    rate *= record.walking_part if one.walking else 1.0
    return {
        i: _Watched(
            s.sight, rate * _glassed(s.away_m, cut, glasses, ground) * (s.away_m <= farthest_m), s.away_m
        )
        for i, s in seen.items()
    }


def _look(ground: Ground, eye: RowCol) -> dict[int, _Seen]:
    """Look at all pockets from a cell."""
    if math.isnan(float(ground.land.ground_m[eye])):
        return {}
    cell_m = ground.grid.cell_m
    view = view_from(
        (eye.row, eye.col), ground.land, cell_m=cell_m, animal_m=ground.animal_m, settings=ground.settings
    )
    found: dict[int, _Seen] = {}
    for i, used in enumerate(ground.cells):
        margin = view.sight.margin_m[used.rows, used.cols]
        if len(margin) == 0 or np.isnan(margin).all():
            continue
        sight = np.stack(seen_cells(view, used, margin))
        if sight[2].any():
            away = np.hypot(used.rows - eye.row, used.cols - eye.col) * cell_m
            found[i] = _Seen(sight, np.asarray(away, np.float64))
    return found


def _glassed(
    away_m: NDArray[np.float64], cut: Sequence[Slice], glasses: tuple[Glass, ...], ground: Ground
) -> NDArray[np.float64]:
    """Hours of each cell that count: animals out, light, and what the best glass leaves at its distance."""
    total = np.zeros(len(away_m))
    find = tasks(ground.animal_m, ground.settings.optics)[0]
    lit = [s for s in cut if s.open * s.light > 0.0]
    for piece, sun_deg in zip(lit, _sun_deg(ground.grid.center, tuple(s.at for s in lit)), strict=True):
        part = np.zeros(len(away_m))
        for glass in glasses:
            half_m = farthest(find, glass, ground.settings.optics, sun_deg=sun_deg).field_m
            slow = min(1.0, ground.settings.record.wide_power / glass.power)
            part = np.maximum(part, slow * glass_part(away_m, half_m))
        total += piece.hours * piece.open * piece.light * part
    return total


@lru_cache(maxsize=256)
def _sun_deg(place: LonLat, moments: tuple[dt.datetime, ...]) -> tuple[float, ...]:
    if not moments:
        return ()
    times = np.array([at.replace(tzinfo=None) for at in moments], "datetime64[us]")
    return tuple(float(v) for v in sun_path(place, height_m=0.0, times=times).altitude_deg)


def _effort(index: int, ground: Ground, seen: list[_Watched]) -> Effort | None:
    """What was searched of a pocket from all places; None where it is next to nothing."""
    weight, shows = ground.cells[index].weight, ground.settings.record.shows
    found = [found_part(weight, [Stand(s.sight[k], s.coverage) for s in seen], shows=shows) for k in range(3)]
    if found[2] < CARE:
        return None
    time = np.array([max(float(s.coverage.mean()), 1e-9) for s in seen])
    shares = np.array([share_of((s.sight[0], s.sight[1], s.sight[2]), weight) for s in seen])
    mean = (shares * time[:, None]).sum(axis=0) / time.sum()
    away = [float(np.average(s.away_m, weights=np.maximum(s.sight[1], 1e-6))) for s in seen]
    return Effort(
        index, Share(low=mean[0], likely=mean[1], high=mean[2]),
        Share(low=found[0], likely=found[1], high=found[2]), float(np.average(away, weights=time)),
    )  # fmt: skip


# --- light ---------------------------------------------------------------------------------------------------------


def _slices(one: Sitting, ground: Ground, weather: str) -> list[Slice]:
    settings = ground.settings
    day = _day_of(one.begin, one.end, ground)
    return slices(
        one.begin, one.end, day, weather=weather, settings=settings.record,
        bed_by_minutes=float(settings.sit.bed_by_minutes),
    )  # fmt: skip


def _day_of(begin: dt.datetime, end: dt.datetime, ground: Ground) -> DayLight:
    """The light of the day on which most of a span falls by the sun."""
    middle = begin + (end - begin) / 2
    local = middle + dt.timedelta(hours=ground.grid.center.lon / 15.0)
    return _light(ground.grid.center, local.date(), ground.settings.usable_light_sun_deg)


@lru_cache(maxsize=64)
def _light(place: LonLat, date: dt.date, usable_sun_deg: float) -> DayLight:
    found = light_of_day(place, date, usable_sun_deg=usable_sun_deg)
    if found.usable_from is None and found.usable_until is None:
        half = dt.timedelta(hours=12)
        first, last = found.noon - half, found.noon + half
        if min(_sun_deg(place, (first, last))) >= usable_sun_deg:  # it is light all night
            return DayLight(first, found.sunrise, found.sunset, last)
    return DayLight(found.usable_from, found.sunrise, found.sunset, found.usable_until)


# --- where -----------------------------------------------------------------------------------------------------------


def _sittings(outing: Outing, grid: Grid) -> list[Sitting]:
    """An outing as places watched from: one for a lookout, some along a track."""
    if len(outing.track) < 2:
        return [Sitting(_lonlat(outing, grid), outing.began, outing.ended)]
    first, last = (
        max(outing.track[0].at, outing.began).timestamp(), min(outing.track[-1].at, outing.ended).timestamp()
    )  # fmt: skip
    span_s = max(SPAN.total_seconds(), (last - first) / MOST_STANDS)
    times = np.array([f.at.timestamp() for f in outing.track])
    lon, lat = (np.array([getattr(f, side) for f in outing.track]) for side in ("lon", "lat"))
    found = []
    edges = np.linspace(first, last, max(1, math.ceil((last - first) / span_s - 1e-9)) + 1)
    for begin, end in pairwise(edges):
        middle = (begin + end) / 2
        place = LonLat(float(np.interp(middle, times, lon)), float(np.interp(middle, times, lat)))
        if grid.contains(place):
            found.append(Sitting(place, _at(begin), _at(end), _moves(times, lon, lat, begin, end)))
    return found


def _moves(
    times: NDArray[np.float64], lon: NDArray[np.float64], lat: NDArray[np.float64], begin: float, end: float
) -> bool:
    """Whether someone got on between two moments, by where they were at either."""
    x, y = np.interp([begin, end], times, lon), np.interp([begin, end], times, lat)
    east = float(x[1] - x[0]) * 111_320.0 * math.cos(math.radians(float(y[0])))
    north = float(y[1] - y[0]) * 111_320.0
    return math.hypot(east, north) / max(end - begin, 1.0) > STILL_MS


def _at(stamp: float) -> dt.datetime:
    return dt.datetime.fromtimestamp(round(stamp), dt.UTC)


def _lonlat(outing: Outing, grid: Grid) -> LonLat:
    a, _, west, _, _, north = grid.transform
    return grid.lonlat((north - outing.point.y) / a - 0.5, (outing.point.x - west) / a - 0.5)


def glass_named(name: str) -> Glass:
    """A glass by its name, such as "10x42"; "naked eye" or "none" is the naked eye.

    Raises
    ------
    BadInput
        Not a name of that form, or a glass that there is not.

    >>> glass_named("15x56")
    Glass(name='15x56', power=15.0, aperture_mm=56.0)
    """
    text = " ".join(name.lower().split())
    if text in {"naked eye", "eye", "none", ""}:
        return Glass("naked eye", 1.0, None)
    match = re.fullmatch(r"(\d+(?:\.\d+)?)\s*x\s*(\d+(?:\.\d+)?)", text)
    if match is None or not (2.0 <= float(match[1]) <= 100.0 and 10.0 <= float(match[2]) <= 150.0):
        raise BadInput(
            f'the glass {name!r} can\'t be read; accepted is magnification x aperture in mm, such as "10x42" (2 to 100, 10 to '
            '150), or "naked eye"; several with commas between'
        )
    return Glass(text.replace(" ", ""), float(match[1]), float(match[2]))
