"""The cautions of the trade, and what the data can't show."""

from __future__ import annotations

import datetime as dt

import numpy as np

from graylight.country.folder import Country
from graylight.habitat.places import compass
from graylight.habitat.profile import Profile
from graylight.plan.around import around_told
from graylight.plan.data_truth import current_rules, data_truth
from graylight.plan.holdings import ask_first
from graylight.plan.making import Worked
from graylight.plan.model import Light, Lookout
from graylight.plan.standing import ALWAYS, INVENTED
from graylight.plan.starts import BESIDE
from graylight.units import FOOT_M

__all__ = ["ALWAYS", "FREEZING", "cautions", "may_freeze", "not_known"]

_FREEZING_MONTHS = (9, 10, 11, 12, 1, 2, 3, 4, 5)
"""North of the equator; south of it half a year off."""
FREEZING = "Expect freezing hours before sunrise and snow on cold slopes: carry what a night out would need."
HIGH_M = 2500.0
DOUBT = "caution: "
"""With this the country's record begins what looked doubtful on entry."""


def cautions(country: Country, worked: Worked, lookouts: list[Lookout], light: Light) -> list[str]:
    """What to be told every time, and what this plan calls for."""
    told = [*ALWAYS, *current_rules(country, light.date)]
    told += ask_first(country.features("ownership"))
    told += _moved_starts(country, worked)
    if any(look.height_m >= HIGH_M for look in lookouts):
        told.append(
            "The lookouts lie above 2,500 m (8,200 ft): give the body days to get used to the height, and go down for headache with sickness or confusion."
        )
    if may_freeze(light.date, country):
        told.append(FREEZING)
    told.append(
        "Treat all water before drinking: a rolling boil for 1 minute, 3 minutes above 2,000 m (CDC)."
    )
    if country.invented:
        told.insert(0, INVENTED)
    return told


def may_freeze(day: dt.date, country: Country) -> bool:
    """Whether a night at a date may freeze high up, on either half of the earth."""
    north = country.grid.center.lat >= 0.0
    return (day.month if north else (day.month + 5) % 12 + 1) in _FREEZING_MONTHS


def _moved_starts(country: Country, worked: Worked) -> list[str]:
    """Starts that the person gave and that do not lie on open ground: the plan begins elsewhere, and says so."""
    told = []
    for way in worked.walked.starts:
        if way.asked is None or way.kind != "given":
            continue
        lies = worked.walked.ground.why_shut(*way.asked) or "shut ground"
        east, north = way.cell.col - way.asked.col, way.asked.row - way.cell.row
        away_m = max(country.grid.cell_m, round(float(np.hypot(east, north)) * country.grid.cell_m))
        side = compass(float(np.degrees(np.arctan2(east, north))))
        asked = way.name.removeprefix(BESIDE)
        name = asked[0].upper() + asked[1:]
        told.append(
            f"{name} lies on {lies}: the plan begins {away_m:.0f} m ({away_m / FOOT_M:.0f} ft) {side} of it, where open "
            "ground is nearest. How to get from one to the other, and whether one may, is not known."
        )
    return told


def not_known(country: Country, profile: Profile, worked: Worked, light: Light) -> list[str]:
    """What could not be known, and what it does to the plan."""
    told = [words.removeprefix(DOUBT) for words in country.record if words.startswith(DOUBT)]
    told += data_truth(country, light.date)
    told += list(worked.read.cover.not_known)
    told += list(worked.read.landforms.not_meant)
    told.append(profile.note.rstrip("."))
    first, last = profile.season
    if not first <= f"{light.date:%m-%d}" <= last:
        told.append(
            f"the date lies outside the season of the profile {profile.name} ({first} to {last}): its weights may not hold"
        )
    if country.grid.center.lat < 0.0:
        told.append(
            "the animal's seasons are those north of the equator: here they come half a year off, and the weights may not hold"
        )
    if not worked.walked.starts:
        ways = any(country.features(table) for table in ("roads", "trailheads", "starts"))
        why = (
            "no known road ends, and no trailhead lies, on or near open ground within the country"
            if ways
            else "no road, trailhead or start known"
        )
        lost = "walking times and leaving times" if ways else "walking times, leaving times and quiet"
        told.append(f'{why}: {lost} are not known; give --start "PLACE"')
    elif not country.features("trails"):
        told.append("no trails known: all ways are off path except on roads")
    if not country.features("ownership"):
        told.append("no ownership layer: private and closed ground is not shown")
    if not (country.features("streams") or country.features("lakes")):
        told.append("no water layer: streams are inferred from the shape of the ground and may be dry")
    if light.declination_deg is None:
        told.append("no magnetic bearings: the date lies outside the World Magnetic Model's span 2025-2029")
    if light.usable_from is None:
        told.append("no usable light begins on this date here: no leaving time")
    told.append(around_told(country))
    told.append("wind, snow, fire, livestock, people and the animals of this year are not in the data")
    return told
