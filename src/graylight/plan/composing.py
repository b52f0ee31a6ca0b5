"""The results of the stages put together as a plan."""

from __future__ import annotations

from graylight.country.folder import Country
from graylight.habitat.profile import Profile
from graylight.plan.cautions import cautions, not_known
from graylight.plan.country_facts import country_facts
from graylight.plan.edits_told import edits_applied
from graylight.plan.ground_facts import band_facts, landform_facts
from graylight.plan.ids import Given
from graylight.plan.lookout_facts import approach_facts, lookout_facts, set_facts
from graylight.plan.making import Worked
from graylight.plan.model import Light, Plan, Pocket
from graylight.plan.nothing import seat_rules, why_nothing
from graylight.plan.pocket_facts import pocket_facts
from graylight.plan.record_in_plan import record_used, recorded
from graylight.plan.sight_facts import pocket_cells
from graylight.plan.standing import PROGRAM
from graylight.plan.survey import Survey, survey_of
from graylight.sky.light import light_of_day

__all__ = ["PROGRAM", "compose", "light_facts", "survey_of"]


def compose(country: Country, profile: Profile, worked: Worked, given: Given) -> Plan:
    """Make the plan; ids that were given before are kept (and the new ones noted in `given`)."""
    survey = survey_of(country, worked.read.elevation_m)
    tops = landform_facts(worked.read.landforms, survey)
    pockets = _pockets(worked, profile, survey)
    light = light_facts(country, survey)
    picks = worked.watched.siting.picks
    first = worked.watched.own
    own = {one.id for one in worked.edits.of("L")}
    free = given.for_lookouts([survey.lonlat(p.row, p.col) for p in picks[len(first) :]], taken=own)
    names = [*first, *free]
    against = _against(country, profile, worked)
    cells = pocket_cells(worked.habitat.labels, worked.watched.use, len(pockets))
    lookouts = [
        lookout_facts(
            p,
            name=n,
            worked=worked,
            pockets=pockets,
            cells=cells,
            country=country,
            animal_m=profile.watch.animal_m,
            survey=survey,
            against=against.get(n, ()),
        )
        for p, n in zip(picks, names, strict=True)
    ]
    ways = [
        approach_facts(
            p, name=n, worked=worked, country=country, usable_from=light.usable_from, survey=survey
        )
        for p, n in zip(picks, names, strict=True)
    ]
    return Plan(
        program=PROGRAM,
        animal=profile.name,
        country=country_facts(country, survey),
        band=band_facts(worked.habitat.band, profile.band.below_tops_m),
        peaks=tops.peaks,
        saddles=tops.saddles,
        basins=tops.basins,
        pockets=pockets,
        lookouts=lookouts,
        sets=[set_facts(s, names) for s in worked.watched.siting.sets],
        approaches=[w for w in ways if w is not None],
        light=light,
        edits_applied=edits_applied(country, worked, given, names),
        record=record_used(worked.odds),
        nothing_found=why_nothing(country, profile, worked),
        cautions=cautions(country, worked, lookouts, light),
        not_known=not_known(country, profile, worked, light),
    )


def _against(country: Country, profile: Profile, worked: Worked) -> dict[str, list[str]]:
    """By the person's own lookout, the rules for sitting that its ground breaks, in words."""
    own = worked.watched.own
    if not own:
        return {}
    rules = seat_rules(country, profile, worked)
    return {
        name: [words for broken, words in rules if broken[pick.row, pick.col]]
        for name, pick in zip(own, worked.watched.siting.picks, strict=False)
    }


def _pockets(worked: Worked, profile: Profile, survey: Survey) -> list[Pocket]:
    chosen = worked.chosen
    told, rank = [], 0
    for pocket, name, chance, seen in zip(
        chosen.habitat.pockets, chosen.ids, worked.chance, worked.seen_before, strict=True
    ):
        rank += pocket.shut is None
        told.append(
            pocket_facts(
                pocket, name=name, called=worked.edits.names.get(name), own=name in chosen.held,
                rank=0 if pocket.shut else rank, chance=chance, sightings=seen, survey=survey,
                confidence=worked.read.cover.confidence, water=worked.read.water, profile=profile,
            )
        )  # fmt: skip
    return recorded(told, worked.odds)


def light_facts(country: Country, survey: Survey) -> Light:
    """The light of the country's date at its middle."""
    settings = country.settings
    day = light_of_day(
        country.grid.center,
        settings.date,
        usable_sun_deg=settings.usable_light_sun_deg,
        legal_minutes=settings.legal_minutes,
    )
    return Light(
        date=day.date,
        timezone=day.timezone,
        nautical_dawn=day.nautical_dawn,
        civil_dawn=day.civil_dawn,
        usable_from=day.usable_from,
        legal_from=day.legal_from,
        sunrise=day.sunrise,
        noon=day.noon,
        sunset=day.sunset,
        legal_until=day.legal_until,
        usable_until=day.usable_until,
        civil_dusk=day.civil_dusk,
        nautical_dusk=day.nautical_dusk,
        declination_deg=survey.declination_deg,
        declination_model=None if survey.declination_deg is None else "WMM2025",
    )
