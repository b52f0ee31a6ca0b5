"""A small but complete plan and look, for any test that needs one. Everything in it is invented.

The places lie about `CENTER` (or the center given), so that distances and bearings between them are true to
the ellipsoid. The names hold accents, long names and characters that XML must escape, on purpose.
Light of the day: reckoned once with pvlib (SPA) for 39.30 N 111.50 W, 27 August 2026.
"""

from __future__ import annotations

import datetime as dt
import math

from graylight.grid import LonLat, azimuth_deg, distance_m
from graylight.plan.model import (
    Approach,
    Band,
    Basin,
    Clear,
    CountryFacts,
    Crossing,
    LayerFact,
    Light,
    Look,
    Lookout,
    LookoutSet,
    Peak,
    Place,
    Plan,
    Pocket,
    Reason,
    Saddle,
    Seen,
    Sees,
    Share,
    Spot,
    Start,
    WaterPlace,
    WayOut,
)

CENTER = LonLat(-111.5, 39.3)
DECLINATION_DEG = 10.3
DAY = dt.date(2026, 8, 27)


def at(east_m: float, north_m: float, height_m: float | None, *, center: LonLat = CENTER) -> Place:
    """A place so many metres east and north of the center (good to a few metres over some kilometres)."""
    per_lat = 111_132.0
    per_lon = 111_320.0 * math.cos(math.radians(center.lat))
    return Place(lat=center.lat + north_m / per_lat, lon=center.lon + east_m / per_lon, height_m=height_m)


def _lonlat(place: Place) -> LonLat:
    return LonLat(place.lon, place.lat)


def _utc(day: int, hour: int, minute: int, second: int = 0) -> dt.datetime:
    return dt.datetime(2026, 8, day, hour, minute, second, tzinfo=dt.UTC)


def sample_facts(*, center: LonLat = CENTER, name: str = "Señal Range & Tinder Fork") -> CountryFacts:
    """The ground of the sample plan: 12 x 12 km at 10 m, terrain and cover."""
    south_west, north_east = at(-6000, -6000, None, center=center), at(6000, 6000, None, center=center)
    elevation = LayerFact(
        name="elevation",
        source="elevation.tif",
        date="2026-01-01",
        resolution_m=10.0,
        done=["kept as it was: already on the grid", "12 cells of nodata filled"],
    )
    cover = LayerFact(name="cover", source="cover.tif", date=None, resolution_m=10.0, done=["nearest"])
    return CountryFacts(
        name=name,
        invented=True,
        crs="EPSG:32612",
        cell_m=10.0,
        rows=1200,
        cols=1200,
        west=south_west.lon,
        south=south_west.lat,
        east=north_east.lon,
        north=north_east.lat,
        area_km2=144.0,
        lowest_m=2310.0,
        highest_m=3512.4,
        timezone="America/Denver",
        layers=[elevation, cover],
    )


def sample_light() -> Light:
    """27 August 2026 at 39.30 N 111.50 W (pvlib, SPA); legal light half an hour either side."""
    return Light(
        date=DAY,
        timezone="America/Denver",
        nautical_dawn=_utc(27, 11, 49, 7),
        civil_dawn=_utc(27, 12, 22, 21),
        usable_from=_utc(27, 12, 11, 25),
        legal_from=_utc(27, 12, 20, 8),
        sunrise=_utc(27, 12, 50, 8),
        noon=_utc(27, 19, 27, 18),
        sunset=_utc(28, 2, 4, 6),
        legal_until=_utc(28, 2, 34, 6),
        usable_until=_utc(28, 2, 42, 43),
        civil_dusk=_utc(28, 2, 31, 49),
        nautical_dusk=_utc(28, 3, 4, 55),
        declination_deg=DECLINATION_DEG,
        declination_model="WMM2025",
    )


def polar_light() -> Light:
    """A day on which the sun never sets: only noon is known."""
    empty = {name: None for name, value in sample_light() if isinstance(value, dt.datetime)}
    return sample_light().model_copy(
        update={**empty, "noon": _utc(27, 19, 27, 18), "declination_deg": None, "declination_model": None}
    )


def _spot(name: str, kind: str, place: Place, suitability: float, words: str) -> Spot:
    return Spot(id=name, kind=kind, place=place, suitability=suitability, area_m2=4200.0, words=words)


def _ring(middle: Place, radius_m: float, sides: int = 12) -> list[list[float]]:
    center = _lonlat(middle)
    turns = [2 * math.pi * i / sides for i in range(sides)]
    corners = [
        at(radius_m * math.cos(t), radius_m * 0.7 * math.sin(t), None, center=center) for t in (*turns, 0.0)
    ]
    return [[corner.lon, corner.lat] for corner in corners]


def _reasons() -> list[Reason]:
    return [
        Reason(fact="feed", value=0.82, unit="1", worth=0.82, words="green, open ground in the band"),
        Reason(fact="beds", value=310.0, unit="m", worth=0.7, words="shaded beds within a short walk"),
        Reason(fact="quiet", value=None, unit="s", worth=None, words="no road known: quiet is not reckoned"),
    ]


def _tinder(center: LonLat) -> Pocket:
    middle = at(-900, 700, 3105.0, center=center)
    feed = _spot("P1-F1", "feed", at(-1000, 640, 3120.0, center=center), 0.86, "green bowl floor")
    bed = _spot("P1-B1", "bed", at(-780, 930, 3190.0, center=center), 0.74, "shade below a cold face")
    second = _spot("P1-B2", "bed", at(-1210, 980, 3220.0, center=center), 0.61, "timber strip, second choice")
    crossing = Crossing(
        id="P1-C1",
        kind="crossing",
        place=at(-1120, 830, 3170.0, center=center),
        suitability=0.6,
        words="ledge from the bowl round to the cold slope",
        form="ledge",
        alternates=[at(-1300, 870, 3205.0, center=center)],
    )
    return Pocket(
        id="P1",
        rank=1,
        name="Cañada Côte Bowl",
        score=0.81,
        chance=0.34,
        confidence="fair",
        centre=middle,
        area_m2=246_000.0,
        outline=[_ring(middle, 330.0), _ring(middle, 60.0)],
        feed=[feed],
        beds=[bed, second],
        crossings=[crossing],
        first_light=[feed],
        ways_out=[
            WayOut(
                place=at(-1700, 1500, 3344.0, center=center),
                over="saddle S1",
                climb_m=180.0,
                distance_m=1040.0,
                bearing_true_deg=315.0,
            )
        ],
        water=[
            WaterPlace(place=at(-860, 500, 3090.0, center=center), kind="seep", sure=False, distance_m=180.0),
            WaterPlace(place=at(-500, 300, 3050.0, center=center), kind="tarn", sure=True, distance_m=520.0),
        ],
        reasons=_reasons(),
        shut=None,
    )


def _second(center: LonLat) -> Pocket:
    """A pocket without name, water, crossings or ways out."""
    middle = at(1300, -600, 3010.0, center=center)
    feed = _spot("P2-F1", "feed", middle, 0.7, "rock with growth between")
    bed = _spot("P2-B1", "bed", at(1420, -420, 3066.0, center=center), 0.66, "timber edge")
    return Pocket(
        id="P2",
        rank=2,
        name=None,
        score=0.55,
        chance=0.2,
        confidence="low",
        centre=middle,
        area_m2=90_000.0,
        outline=[_ring(middle, 200.0)],
        feed=[feed],
        beds=[bed],
        crossings=[],
        first_light=[feed],
        ways_out=[],
        water=[],
        reasons=_reasons()[:2],
        shut=None,
    )


def _shut(center: LonLat) -> Pocket:
    other = _second(center)
    middle = at(3000, -2500, 2610.0, center=center)
    feed = _spot("P3-F1", "feed", middle, 0.7, "meadow")
    return other.model_copy(
        update={
            "id": "P3",
            "rank": 3,
            "name": 'Meadow <Low> "Bar" & Fence\'s End of the Long Fork',
            "centre": middle,
            "outline": [_ring(middle, 250.0)],
            "feed": [feed],
            "beds": [],
            "first_light": [feed],
            "reasons": [],
            "shut": "private holding",
        }
    )


def _magnetic(true_deg: float, declination: float | None) -> float | None:
    return None if declination is None else (true_deg - declination) % 360.0


def _seen(spot: Spot, eye: Place, answer: str, margin_m: float, why: str, declination: float | None) -> Seen:
    bearing = azimuth_deg(_lonlat(eye), _lonlat(spot.place))
    return Seen(
        spot=spot.id,
        kind=spot.kind,
        answer=answer,
        margin_m=margin_m,
        why=why,
        distance_m=distance_m(_lonlat(eye), _lonlat(spot.place)),
        bearing_true_deg=bearing,
        bearing_magnetic_deg=_magnetic(bearing, declination),
    )


def _sees(
    pocket: Pocket, eye: Place, share: Share, answers: list[tuple[str, float, str]], declination: float | None
) -> Sees:
    spots = [*pocket.feed, *pocket.beds, *pocket.crossings]
    bearing = azimuth_deg(_lonlat(eye), _lonlat(pocket.centre))
    away = distance_m(_lonlat(eye), _lonlat(pocket.centre))
    drop = (eye.height_m or 0.0) - (pocket.centre.height_m or 0.0)
    seen = [_seen(s, eye, *a, declination) for s, a in zip(spots, answers, strict=False)]
    return Sees(
        pocket=pocket.id,
        share=share,
        distance_m=away,
        bearing_true_deg=bearing,
        bearing_magnetic_deg=_magnetic(bearing, declination),
        down_deg=math.degrees(math.atan2(drop, away)),
        places=seen,
    )


_CLEAR = ("seen", 14.0, "clear by 14 m")
_DOUBT = ("doubtful", 0.8, "clear by less than the stated error of the ground")
_HIDDEN = ("hidden", -22.0, "a knob stands in the way")


def _first_sees(first: Pocket, second: Pocket, eye: Place, declination: float | None) -> list[Sees]:
    share = Share(low=0.46, likely=0.58, high=0.71)
    nothing = Share(low=0.0, likely=0.0, high=0.0)
    return [
        _sees(first, eye, share, [_CLEAR, _CLEAR, _HIDDEN, _DOUBT], declination),
        _sees(second, eye, nothing, [_HIDDEN, _HIDDEN], declination),
    ]


def _lookouts(first: Pocket, second: Pocket, center: LonLat, declination: float | None) -> list[Lookout]:
    here, there = at(120, 240, 3168.0, center=center), at(700, -1500, 3090.0, center=center)
    seat = Reason(fact="seat", value=12.0, unit="deg", worth=0.9, words="gentle ground with a rise behind")
    thin, half = Share(low=0.0, likely=0.04, high=0.09), Share(low=0.31, likely=0.4, high=0.52)
    return [
        Lookout(
            id="L1",
            place=here,
            height_m=3168.0,
            worth=0.2,
            hides=["the second bed of Cañada Côte Bowl, behind a knob"],
            sees=_first_sees(first, second, here, declination),
            reasons=[seat],
            walk_seconds=7800.0,
        ),
        Lookout(
            id="L2",
            place=there,
            height_m=3090.0,
            worth=0.08,
            hides=[],
            sees=[
                _sees(first, there, thin, [_DOUBT, _HIDDEN, _HIDDEN, _HIDDEN], declination),
                _sees(second, there, half, [_CLEAR, _DOUBT], declination),
            ],
            reasons=[],
            walk_seconds=None,
        ),
    ]


def _approach(lookout: Lookout, center: LonLat) -> Approach:
    start = Start(name="Tinder Fork road end", kind="road end", place=at(2600, -3300, 2480.0, center=center))
    a, b = start.place, lookout.place
    steps = [i / 80 for i in range(81)]
    line = [
        [
            round(a.lon + (b.lon - a.lon) * t + 0.0012 * math.sin(6 * t), 6),
            round(a.lat + (b.lat - a.lat) * t, 6),
            round((a.height_m or 0) + ((b.height_m or 0) - (a.height_m or 0)) * t, 1),
        ]
        for t in steps
    ]
    return Approach(
        lookout=lookout.id,
        start=start,
        seconds=9000.0,
        seconds_low=7950.0,
        seconds_high=10050.0,
        distance_m=5210.0,
        climb_m=742.0,
        fall_m=54.0,
        steepest_deg=28.4,
        on_trail=0.63,
        leave_by=_utc(27, 8, 43, 55),
        back_seconds=7100.0,
        line=line,
        hazards=["a stretch of steep ground below the lookout"],
    )


def _landforms(center: LonLat) -> tuple[list[Peak], list[Saddle], list[Basin]]:
    key = at(-1700, 1500, 3344.0, center=center)
    high = Peak(
        id="K1",
        name="Ölberg Señal",
        place=at(-600, 2200, 3512.4, center=center),
        prominence_m=612.0,
        at_least=True,
        key_saddle=None,
    )
    low = Peak(
        id="K2",
        name=None,
        place=at(-2500, 1200, 3460.0, center=center),
        prominence_m=116.0,
        at_least=False,
        key_saddle=key,
    )
    saddle = Saddle(id="S1", name="Kindling Gap", place=key, between=["K1", "K2"], below_m=116.0)
    bowl = Basin(
        id="B1",
        name=None,
        place=at(-900, 700, 3100.0, center=center),
        area_m2=1_050_000.0,
        opens_true_deg=141.0,
        ringed=0.71,
        rim_m=260.0,
    )
    return [high, low], [saddle], [bowl]


def sample_plan(*, center: LonLat = CENTER, declination: float | None = DECLINATION_DEG) -> Plan:
    """The plan with everything in it: two pockets and a shut one, two lookouts, one approach."""
    pockets = [_tinder(center), _second(center), _shut(center)]
    lookouts = _lookouts(pockets[0], pockets[1], center, declination)
    peaks, saddles, basins = _landforms(center)
    light = sample_light()
    if declination is None:
        light = light.model_copy(update={"declination_deg": None, "declination_model": None})
    return Plan(
        program="graylight 0.1.0",
        animal="mule-deer-summer",
        country=sample_facts(center=center),
        band=Band(low_m=2980.0, centre_m=3130.0, high_m=3280.0, tops_m=3430.0, rule="300 m below the tops"),
        peaks=peaks,
        saddles=saddles,
        basins=basins,
        pockets=pockets,
        lookouts=lookouts,
        sets=[
            LookoutSet(k=1, lookouts=["L1"], covered=0.2, bound=0.202, gap=0.01, shortlist_gap=0.0),
            LookoutSet(k=2, lookouts=["L1", "L2"], covered=0.28, bound=0.29, gap=0.034, shortlist_gap=0.0),
        ],
        approaches=[_approach(lookouts[0], center)],
        light=light,
        edits_applied=[],
        cautions=["A 10 m elevation grid hides small cliffs."],
        not_known=[
            "No forecast: wind is not known.",
            "No apron: the horizon beyond the country is not known.",
        ],
    )


def plan_without_lookouts() -> Plan:
    """Nowhere to sit was found: pockets only."""
    why = "about 80 % is steeper than 25°, about 10 % lies nearer than 450 m to ground that the animals use"
    return sample_plan().model_copy(
        update={"lookouts": [], "sets": [], "approaches": [], "nothing_found": [why]}
    )


def plan_without_pockets() -> Plan:
    """Ground on which nothing was found."""
    return plan_without_lookouts().model_copy(update={"pockets": []})


def plan_without_starts() -> Plan:
    """Lookouts, but no road end, trailhead or given start."""
    plan = sample_plan()
    seats = [seat.model_copy(update={"walk_seconds": None}) for seat in plan.lookouts]
    return plan.model_copy(update={"lookouts": seats, "approaches": []})


def polar_plan() -> Plan:
    """A day without dawn, hence without a time to leave by, and outside the magnetic model."""
    plan = sample_plan(declination=None)
    ways = [way.model_copy(update={"leave_by": None}) for way in plan.approaches]
    return plan.model_copy(update={"light": polar_light(), "approaches": ways})


def blind_plan() -> Plan:
    """From no lookout does anything show."""
    plan = sample_plan()
    nothing = Share(low=0.0, likely=0.0, high=0.0)
    blind = [
        seat.model_copy(update={"sees": [s.model_copy(update={"share": nothing}) for s in seat.sees]})
        for seat in plan.lookouts
    ]
    return plan.model_copy(update={"lookouts": blind})


VARIANTS = {
    "complete": sample_plan,
    "without lookouts": plan_without_lookouts,
    "without pockets": plan_without_pockets,
    "without starts": plan_without_starts,
    "polar": polar_plan,
    "blind": blind_plan,
}


def sample_look(*, center: LonLat = CENTER) -> Look:
    """What shows from one place: one pocket in part, one not at all."""
    plan = sample_plan(center=center)
    seat = plan.lookouts[0]
    return Look(
        program=plan.program,
        country=plan.country.name,
        place=seat.place,
        slope_deg=12.4,
        facing_true_deg=318.0,
        cover="grass",
        cells=Clear(clear=21_400, touch_and_go=3_100, blocked=75_500),
        sees=seat.sees,
        walk_seconds=7800.0,
        cautions=["A 10 m elevation grid hides small cliffs."],
        not_known=["No apron: the horizon beyond the country is not known."],
        picture="look.png",
    )


def blind_look() -> Look:
    """Level, bare of facts, nothing shows, not reached on foot."""
    look = sample_look()
    nothing = Share(low=0.0, likely=0.0, high=0.0)
    return look.model_copy(
        update={
            "facing_true_deg": None,
            "cover": "unknown",
            "cells": Clear(clear=0, touch_and_go=0, blocked=0),
            "sees": [s.model_copy(update={"share": nothing, "places": []}) for s in look.sees],
            "walk_seconds": None,
            "picture": None,
        }
    )
