"""The odds: the habitat's chances moved by the record, with how sure and from what."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from shapely import Point, Polygon, distance, points
from shapely.geometry.base import BaseGeometry

from graylight.chance.pushed import moves_when_pushed
from graylight.chance.update import Evidence, Fading, Odds, Step, follow, odds_on, seen_at
from graylight.grid import Grid, LonLat
from graylight.plan.animals import is_animal
from graylight.plan.effort import Ground, Searched, effort_of
from graylight.plan.model import Pocket, Share
from graylight.plan.record import AGES, Outing, Record, Seen, Sign, outings_of_day, sun_day
from graylight.settings import RecordSettings

__all__ = [
    "LEAST_LOOK", "Found", "Places", "PocketRecord", "area_of", "as_of", "belongs_to", "day_number", "old_sightings",
    "outline_in_crs", "reckon", "watched_indices", "when_seen",
]  # fmt: skip

Floats: TypeAlias = NDArray[np.float64]

NOON = 0.5
LEAST_PUSHED = 0.5
"""Nobody was pushed out of a pocket that the place belongs to less than this. Proposed."""
LEAST_LOOK = 0.15
"""Outings that had less of a pocket in sight are not told where others had more. Proposed."""
LEAST_HELD = 0.1
"""A sighting that belongs to a pocket less than this is not told with it. Proposed."""
WAY_POINTS = 40
"""A track is asked at about so many of its points whether it ran into a pocket."""
_SAMPLES = np.linspace(-2.0, 2.0, 9)
"""Where an error ellipse is looked at, in standard deviations along either axis."""
_OTHER = {"male": "female", "female": "male"}


@dataclass(frozen=True, slots=True)
class Places:
    """The pockets as the odds need them: ids, ground in the country's CRS, the habitat's chances, ends of the ways out."""

    ids: tuple[str, ...]
    areas: tuple[BaseGeometry, ...]
    prior: Odds
    ways_out: tuple[tuple[Point, ...], ...]


@dataclass(frozen=True, slots=True)
class PocketRecord:
    """What the record says of one pocket.

    Parameters
    ----------
    prior
        From the habitat.
    chance
        Now: low, likely and high by how much of it was in sight.
    empty
        Outings that searched it and saw nothing there.
    in_sight
        Part of it that was in sight on these, the mean.
    searched
        Chance that these would have found what is there, faded as the odds are.
    sightings, inside
        On how many outings or days they were seen in it or close by, and on how many of these in it.
    sign
        Finds of sign there; those of one kind and day count once.
    maybe
        Numbers of sightings whose animals may have been in it.
    pushed
        Outings that pushed animals out of it.
    """

    prior: float
    chance: Share
    empty: int
    in_sight: float
    searched: float
    sightings: int
    inside: int
    sign: int
    pushed: int
    maybe: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Found:
    """The odds on a day.

    Parameters
    ----------
    at
        For when, in days since 1970 (UTC).
    odds, prior
        Likely, and the habitat's.
    elsewhere
        Low, likely and high.
    pockets
        In the order of the plan's.
    steps
        How they came about.
    searched
        What each outing searched, by its number.
    counted
        Numbers of outings, sightings and sign that counted.
    left_out
        What did not count, and why.
    lon_deg
        Of the country's middle: its day begins there.
    pushed
        To which degree an outing that pushed animals pushed them out of each pocket, by its number; all 0: not known.
    fading
        How what is known fades.
    """

    at: float
    odds: Odds
    prior: Odds
    elsewhere: Share
    pockets: tuple[PocketRecord, ...]
    steps: tuple[Step, ...]
    searched: dict[int, Searched]
    counted: tuple[int, int, int]
    left_out: tuple[str, ...]
    lon_deg: float
    pushed: dict[int, Floats]
    fading: Fading

    def odds_at(self, at: float) -> Odds:
        """The odds on a later day, nothing more being recorded."""
        return odds_on(self.prior, [step.evidence for step in self.steps], at, self.fading)


@dataclass(frozen=True, slots=True)
class _Case:
    """What the odds are reckoned from.

    Parameters
    ----------
    searched
        By the outing's number.
    seen
        Sightings that count, and to which degree each lies in each pocket (`held`, by number).
    signs
        Sign, with the same.
    lon_deg
        Of the country's middle.
    pushed
        See `Found`.
    """

    places: Places
    settings: RecordSettings
    at: float
    outings: tuple[Outing, ...]
    searched: dict[int, Searched]
    seen: list[Seen]
    held: dict[int, Floats]
    signs: list[tuple[Sign, Floats]]
    lon_deg: float
    pushed: dict[int, Floats]


def day_number(at: dt.datetime) -> float:
    """Days since 1970, UTC."""
    return at.timestamp() / 86_400.0


def when_seen(one: Seen | Sign) -> float | None:
    """When it was seen, in days; a date alone is its noon; None where nothing is known."""
    if one.at is not None:
        return day_number(one.at)
    if one.day is None:
        return None
    return (one.day - dt.date(1970, 1, 1)).days + NOON


def as_of(record: Record, date: dt.date) -> float:
    """For when the odds are reckoned: noon of the date, or the last entry where that is later."""
    days = [day_number(o.ended) for o in record.outings]
    entries: list[Seen | Sign] = [*record.sightings, *record.sign]
    days += [d for one in entries if (d := when_seen(one)) is not None]
    return max([(date - dt.date(1970, 1, 1)).days + NOON, *days])


def old_sightings(record: Record, at: float, settings: RecordSettings) -> frozenset[int]:
    """Numbers of sightings too old (or without a date) to tell of a pocket: they count for the basin."""
    found = set()
    for one in record.sightings:
        day = when_seen(one)
        if day is None or at - day > settings.season_days:
            found.add(one.id)
    return frozenset(found)


def area_of(pocket: Pocket, grid: Grid) -> BaseGeometry:
    """A pocket's ground in the country's CRS."""
    return outline_in_crs(
        [[grid.locate(LonLat(lon, lat)) for lon, lat in ring] for ring in pocket.outline], grid
    )


def outline_in_crs(rings: Sequence[Sequence[tuple[float, float]]], grid: Grid) -> BaseGeometry:
    """Rings of (row, col) as a polygon in the country's CRS."""
    outer, *holes = [[grid.xy(row, col) for row, col in ring] for ring in rings]
    shape = Polygon(outer, [h for h in holes if len(h) > 3]) if len(outer) > 3 else Polygon()
    return shape if shape.is_valid else shape.buffer(0.0)


def reckon(record: Record, places: Places, ground: Ground, *, animal: str, at: float) -> Found:
    """The odds on a day from the record.

    Parameters
    ----------
    record
        As kept.
    places
        The pockets in force.
    ground
        What effort is reckoned on.
    animal
        Name of the profile: sightings of other animals don't count.
    at
        See `as_of`.
    """
    left_out = list(record.left_out)
    case = _case(record, places, ground, animal, at, left_out)
    settings = case.settings
    fading = Fading(settings.fade_days, settings.seen_fade_days, settings.habitat_worth)
    told = follow(places.prior, _evidence(case, "likely"), at, fading)
    odds = told.odds
    ends = {which: odds_on(places.prior, _evidence(case, which), at, fading) for which in ("low", "high")}
    all_odds = [ends["low"], odds, ends["high"]]
    return Found(
        at, odds, places.prior, _range([one.elsewhere for one in all_odds], odds.elsewhere),
        tuple(_pocket(case, i, [one.pockets[i] for one in all_odds]) for i in range(len(places.ids))),
        told.steps, case.searched, (len(case.outings), len(case.seen), len(case.signs)), tuple(left_out), case.lon_deg,
        case.pushed, fading,
    )  # fmt: skip


def _case(
    record: Record, places: Places, ground: Ground, animal: str, at: float, left_out: list[str]
) -> _Case:
    settings = ground.settings.record
    old = old_sightings(record, at, settings)
    seen = [s for s in record.sightings if s.id not in old and _counts(s, animal, left_out)]
    plain = (settings.place_error_m, settings.place_error_m, 0.0)
    held = {s.id: belongs_to(s.point, _errors(s, settings), places.areas, settings) for s in seen}
    searched = {o.id: effort_of(o, ground, watched_indices(o, places.ids)) for o in record.outings}
    seen = [_on_an_outing(s, held[s.id], record, searched, ground, left_out) for s in seen]
    return _Case(
        places, settings, at, record.outings, searched, seen, held,
        [(s, belongs_to(s.point, plain, places.areas, settings)) for s in record.sign], ground.grid.center.lon,
        {o.id: _pushed_from(o, seen, held, places, ground) for o in record.outings if o.pushed},
    )  # fmt: skip


def _on_an_outing(
    one: Seen,
    held: Floats,
    record: Record,
    searched: dict[int, Searched],
    ground: Ground,
    left_out: list[str],
) -> Seen:
    """A sighting of a day with several outings: of the one that had its pocket in sight; else that is doubted."""
    day = outings_of_day(one, record.outings, ground.grid.center.lon)
    if one.outing is not None or len(day) < 2:
        return one
    pocket = int(np.argmax(held)) if held.max(initial=0.0) > 0.0 else -1
    shows = [o for o in day if any(e.pocket == pocket for e in searched[o.id].efforts)]
    if len(shows) == 1:
        return replace(one, outing=shows[0].id)
    left_out.append(
        f"on which of the outings {' and '.join(str(o.id) for o in day)} of {one.day} sighting {one.id} was made is not known: "
        "it counts, but these count as empty there; give its time or --outing"
    )
    return one


def watched_indices(outing: Outing, ids: Sequence[str]) -> list[int] | None:
    """Where the pockets that were looked at stand in the plan; None: all in sight. Those gone since are passed over."""
    wanted = {name.lower() for name in outing.watched}
    return [i for i, name in enumerate(ids) if name.lower() in wanted] if wanted else None


def _counts(one: Seen, animal: str, left_out: list[str]) -> bool:
    if is_animal(one.animal, animal):
        return True
    left_out.append(f"sighting {one.id} is of another animal ({one.animal}) and does not count")
    return False


# --- where it belongs ----------------------------------------------------------------------------------------------


def _errors(one: Seen, settings: RecordSettings) -> tuple[float, float, float]:
    """Along, across, and the true bearing of the ellipse's axis."""
    plain = settings.place_error_m
    return one.along_m or plain, one.across_m or plain, one.bearing_true_deg or 0.0


def belongs_to(
    point: Point, errors: tuple[float, float, float], areas: Sequence[BaseGeometry], settings: RecordSettings
) -> Floats:
    """To which degree a place with its error lies in each pocket: 1 inside, a half `near_m` outside it.

    Parameters
    ----------
    point
        In the country's CRS.
    errors
        Standard deviation along the axis and across it, metres, and the axis's bearing. The mean is taken over
        a normal distribution, cut off at two of them.
    areas
        The pockets.
    """
    along, across, azimuth = errors
    a, c = np.meshgrid(_SAMPLES, _SAMPLES)
    weight = np.exp(-0.5 * (a**2 + c**2)).ravel()
    turn = np.radians(azimuth)
    east = a * along * np.sin(turn) + c * across * np.cos(turn)
    north = a * along * np.cos(turn) - c * across * np.sin(turn)
    spots = points((point.x + east).ravel(), (point.y + north).ravel())
    away = [np.inf * weight if area.is_empty else np.asarray(distance(spots, area)) for area in areas]
    near = [np.exp2(-((one / settings.near_m) ** 2)) for one in away]
    return np.array([float(np.average(one, weights=weight)) for one in near], np.float64)


def _pushed_from(
    outing: Outing, seen: Sequence[Seen], held: dict[int, Floats], places: Places, ground: Ground
) -> Floats:
    """Out of which pockets an outing pushed animals: those where they were seen on it, else those it went into itself."""
    here = [held[s.id] for s in seen if s.outing == outing.id]
    if not here:
        step = max(1, len(outing.track) // WAY_POINTS)
        on_track = [ground.grid.locate(LonLat(f.lon, f.lat)) for f in outing.track[::step]]
        spots = [Point(*ground.grid.xy(*cell)) for cell in on_track] or [outing.point]
        error = ground.settings.record.place_error_m
        here = [belongs_to(s, (error, error, 0.0), places.areas, ground.settings.record) for s in spots]
    found = np.max(here, axis=0) if len(places.ids) else np.zeros(0)
    return np.asarray(np.where(found >= LEAST_PUSHED, found, 0.0), np.float64)


def _moves(case: _Case, outing: Outing) -> tuple[tuple[float, ...], ...] | None:
    """Where the animals went that an outing pushed; None where it pushed none, or nobody knows from where."""
    pushed = case.pushed.get(outing.id)
    if pushed is None or not pushed.any():
        return None
    places = case.places
    away = [
        [min((float(end.distance(area)) for end in ends or (own.centroid,)), default=np.inf) for area in places.areas]
        for ends, own in zip(places.ways_out, places.areas, strict=True)
    ]  # fmt: skip
    moves = moves_when_pushed(
        pushed, np.array(away), places.prior, leave=case.settings.pushed_leave, half_m=case.settings.pushed_m
    )
    return tuple(tuple(float(v) for v in row) for row in moves)


# --- evidence ------------------------------------------------------------------------------------------------------


def _evidence(case: _Case, which: str) -> list[Evidence]:
    """What every outing, sighting and sign says, with the low, likely or high chance of having found."""
    told = [_of_outing(case, outing, which) for outing in case.outings]
    told += [_of_a_day(case, seen) for _, seen in sorted(_by_day(case).items())]
    for found in _sign_once(case):
        sign, belongs = found[0]
        seen = seen_at(belongs.tolist(), stray=case.settings.sign_stray, roam=case.settings.roam)
        numbers = ", ".join(str(one.id) for one, _ in found)
        told.append(_nothing_missed(case, _made(sign), f"sign {numbers}", seen))
    return told


def _sign_once(case: _Case) -> list[list[tuple[Sign, Floats]]]:
    """Sign with a date; that of one kind in one pocket on one day together, the freshest first: it counts once."""
    groups: dict[tuple[int, str, int], list[tuple[Sign, Floats]]] = {}
    for sign, belongs in case.signs:
        if when_seen(sign) is not None:
            where = int(np.argmax(belongs)) if belongs.max(initial=0.0) > 0.5 else -1
            groups.setdefault((where, sign.kind, _local_day(sign, case.lon_deg)), []).append((sign, belongs))
    return [sorted(group, key=lambda one: (-_made(one[0]), one[0].id)) for group in groups.values()]


def _made(sign: Sign) -> float:
    """When sign of a known date was made, in days."""
    found = when_seen(sign)
    assert found is not None
    return found - AGES[sign.age]


def _by_day(case: _Case) -> dict[int, list[Seen]]:
    """Sightings that belong to no outing, by the day: those of one day may be the same animals."""
    known = {o.id for o in case.outings}
    found: dict[int, list[Seen]] = {}
    for one in case.seen:
        day = when_seen(one)
        if one.outing not in known and day is not None:
            found.setdefault(_local_day(one, case.lon_deg), []).append(one)
    return found


def _local_day(one: Seen | Sign, lon_deg: float) -> int:
    """The day by the sun, as a number."""
    if one.at is None:
        assert one.day is not None
        return one.day.toordinal()
    return sun_day(one.at, lon_deg).toordinal()


def _of_a_day(case: _Case, seen: Sequence[Seen]) -> Evidence:
    first = min(when for one in seen if (when := when_seen(one)) is not None)
    numbers = ", ".join(str(one.id) for one in seen)
    return _nothing_missed(
        case, first, f"sighting{'s' if len(seen) > 1 else ''} {numbers}", _seen_at(case, seen)
    )


def _nothing_missed(case: _Case, day: float, name: str, seen: tuple[float, ...]) -> Evidence:
    """What was seen, where nothing was searched beside."""
    return Evidence(day, (1.0,) * len(case.places.ids), 1.0, name, seen=seen)


def _of_outing(case: _Case, outing: Outing, which: str) -> Evidence:
    """Seen counts where it was seen; not seen counts everywhere else that was searched."""
    seen = [s for s in case.seen if s.outing == outing.id]
    found = case.searched[outing.id].found(len(case.places.ids), which)
    there = case.pushed.get(outing.id, np.zeros(len(found)))
    for one in seen:
        there = np.maximum(there, case.held[one.id] * _weight(one, case.settings))
    missed = np.ones(len(found)) if _unplaced(case, outing.id) else 1.0 - np.array(found) * (1.0 - there)
    return Evidence(
        day_number(outing.began),
        tuple(float(v) for v in missed),
        1.0,
        f"outing {outing.id}",
        _moves(case, outing),
        _seen_at(case, seen),
    )


def _unplaced(case: _Case, number: int) -> bool:
    """Whether animals were pushed on an outing, and nobody knows out of which pocket: it was no empty one anywhere."""
    pushed = case.pushed.get(number)
    return pushed is not None and not pushed.any()


def _seen_at(case: _Case, seen: Sequence[Seen]) -> tuple[float, ...]:
    """What the sightings of one outing are worth by place; several in one pocket count once: they may be the same animals."""
    best: dict[int, Seen] = {}
    for one in seen:
        belongs = case.held[one.id]
        where = int(np.argmax(belongs)) if belongs.max(initial=0.0) > 0.5 else -1
        if where not in best or _weight(one, case.settings) > _weight(best[where], case.settings):
            best[where] = one
    worth = np.zeros(len(case.places.ids) + 1)
    for _, one in sorted(best.items()):
        worth += seen_at(
            case.held[one.id].tolist(), stray=case.settings.stray, roam=case.settings.roam,
            counts=_weight(one, case.settings),
        )  # fmt: skip
    return tuple(float(v) for v in worth)


def _weight(one: Seen, settings: RecordSettings) -> float:
    """How much a sighting counts: less where it was of the other sex."""
    return settings.other_part if _OTHER.get(settings.wanted) == one.sex else 1.0


# --- told by pocket ------------------------------------------------------------------------------------------------


def _range(values: Sequence[float], likely: float) -> Share:
    return Share(low=min(values), likely=likely, high=max(values))


def _pocket(case: _Case, i: int, chances: Sequence[float]) -> PocketRecord:
    """What the record says of one pocket; `chances` by low, likely and high."""
    here = [s for s in case.seen if case.held[s.id][i] >= 0.5]
    full = {s.outing for s in here}
    full |= {o for o, pushed in case.pushed.items() if pushed[i] >= LEAST_PUSHED or _unplaced(case, o)}
    empty = [
        (outing, effort)
        for outing in case.outings if outing.id not in full
        for effort in case.searched[outing.id].efforts if effort.pocket == i
    ]  # fmt: skip
    looked = [effort for _, effort in empty if effort.share.likely >= LEAST_LOOK] or [e for _, e in empty]
    missed = 1.0
    for outing, effort in empty:
        keep = 0.5 ** (max(case.at - day_number(outing.began), 0.0) / case.settings.fade_days)
        missed *= (1.0 - effort.found.likely) ** keep
    shares = [effort.share.likely for effort in looked]
    return PocketRecord(
        case.places.prior.pockets[i], _range(chances, chances[1]), len(looked),
        float(np.mean(shares)) if shares else 0.0, 1.0 - missed,
        _times_seen(case, here), _times_seen(case, [s for s in here if _lies_in(s, case.places.areas[i], case.settings)]),
        sum(bool(found[0][1][i] >= 0.5) for found in _sign_once(case)),
        sum(bool(pushed[i] >= LEAST_PUSHED) for pushed in case.pushed.values()),
        tuple(s.id for s in case.seen if LEAST_HELD <= case.held[s.id][i] < 0.5),
    )  # fmt: skip


def _times_seen(case: _Case, seen: Sequence[Seen]) -> int:
    """On how many outings, or days without one."""
    return len({s.outing or f"day {_local_day(s, case.lon_deg)}" for s in seen if when_seen(s) is not None})


def _lies_in(one: Seen, area: BaseGeometry, settings: RecordSettings) -> bool:
    """Whether a sighting lies in a pocket, as far as its error lets one say; else it was close by."""
    along, across, _ = _errors(one, settings)
    return not area.is_empty and float(area.distance(one.point)) <= max(along, across)
