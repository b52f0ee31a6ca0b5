"""The record kept: outings, sightings and sign checked, written as one row each, corrected, removed, told."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from shapely import Point

from graylight.chance.update import Odds
from graylight.country.folder import Country
from graylight.country.rows import Row, Rows
from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.place import read_place
from graylight.plan.composing import PROGRAM
from graylight.plan.effort import Effort, Ground, Searched, effort_of, glass_named
from graylight.plan.felt import Remark, felt_word
from graylight.plan.looking import Ready, ready_to_look
from graylight.plan.model import Place, Plan
from graylight.plan.moments import read_moment, written
from graylight.plan.morning_ready import kept_lookout
from graylight.plan.odds import Places, area_of, belongs_to, watched_indices
from graylight.plan.record import FELT, RECORD, WEATHERS, Fix, Outing, Record, outing_of, read_record
from graylight.plan.record_model import OutingTold, PocketSearched
from graylight.sky.zone import timezone_of
from graylight.wind import read_wind

__all__ = ["GivenOuting", "Notebook", "open_notebook", "places_of"]

LONGEST = dt.timedelta(hours=24)
MOST_FIXES = 1500


@dataclass(frozen=True, slots=True)
class GivenOuting:
    """An outing as a person gives it; None or empty: not given. Where one is corrected, the rest stays.

    Parameters
    ----------
    where
        Id of a lookout, or a PLACE.
    begin, end
        Moments as typed.
    track
        Points with times; they say where and when, too.
    felt
        What was felt of the air, beside what is typed in `air`: from the waypoints of a track's file.
    """

    where: str | None = None
    begin: str | None = None
    end: str | None = None
    glasses: str | None = None
    weather: str | None = None
    people: int | None = None
    pushed: bool | None = None
    wind: str | None = None
    air: str | None = None
    watched: str | None = None
    note: str | None = None
    track: tuple[Fix, ...] = ()
    felt: tuple[Remark, ...] = ()


def places_of(plan: Plan, country: Country) -> Places:
    """The plan's pockets as the odds need them; the habitat's chances, whether or not the record moved them."""
    prior = [p.chance if p.prior is None else p.prior for p in plan.pockets]
    grid = country.grid
    ends = [[LonLat(way.place.lon, way.place.lat) for way in p.ways_out] for p in plan.pockets]
    return Places(
        tuple(p.id for p in plan.pockets),
        tuple(area_of(p, grid) for p in plan.pockets),
        Odds(tuple(prior), max(1.0 - sum(prior), 0.0)),
        tuple(tuple(Point(*grid.xy(*grid.locate(end))) for end in one) for one in ends),
    )


@dataclass(frozen=True)
class Notebook:
    """A country, its plan and its live rows, open for the record."""

    country: Country
    plan: Plan
    rows: Rows

    @cached_property
    def ready(self) -> Ready:
        """Layers in memory; read when first needed."""
        return ready_to_look(self.country, self.plan)

    @cached_property
    def ground(self) -> Ground:
        """What effort is reckoned on."""
        ready = self.ready
        return Ground(self.country.grid, ready.land, ready.cells, ready.animal_m, self.country.settings)

    @cached_property
    def places(self) -> Places:
        """The pockets."""
        return places_of(self.plan, self.country)

    @cached_property
    def timezone(self) -> str:
        """Of the country's middle."""
        return timezone_of(self.country.grid.center)

    def record(self) -> Record:
        """All that was recorded, as it is now."""
        return read_record(self.country)

    # --- outings -------------------------------------------------------------------------------------------------

    def add_outing(self, given: GivenOuting) -> OutingTold:
        """Check an outing and keep it.

        Raises
        ------
        BadInput
            It ends before it begins, runs into another, was nowhere in the country, or something isn't understood.
        """
        values, point = self._outing_values(given, None)
        self._apart(values, None)
        told = self._with_searched(Row("outings", 0, point, values), values)
        with self.rows.together():  # another process may have recorded one meanwhile
            self._apart(values, None)
            kept = self.rows.add("outings", point, **values)
        return told.model_copy(update={"id": kept.id, "sightings": self._seen_on(kept.id)})

    def change_outing(self, number: int, given: GivenOuting) -> OutingTold:
        """Correct an outing; what is not given stays.

        Raises
        ------
        BadInput
            As `add_outing`; or there is no such outing.
        """
        before = self.outing(number)
        values, point = self._outing_values(given, before)
        self._apart(values, number)
        row = self.rows.get("outings", number)
        shape: dict[str, Any] = {} if point is None else {"geometry": point}
        told = self._with_searched(
            Row("outings", number, point or row.geometry, {**row.values, **values}), values
        )
        with self.rows.together():
            self._apart(values, number)
            self.rows.change("outings", number, **shape, **values)
        return told

    def outing(self, number: int) -> Outing:
        """One outing.

        Raises
        ------
        BadInput
            There is none of that number.
        """
        record = self.record()
        found = next((o for o in record.outings if o.id == number), None)
        if found is None:
            there = ", ".join(str(o.id) for o in record.outings) or "none yet"
            raise BadInput(
                f"there is no outing {number}; accepted are the outings kept ({there}); give one of them"
            )
        return found

    def tell_outing(self, one: Outing) -> OutingTold:
        """An outing with what it searched, by the pockets as they are now."""
        searched = effort_of(one, self.ground, watched_indices(one, self.places.ids))
        return OutingTold(
            program=PROGRAM, country=self.country.name, timezone=self.timezone, id=one.id, lookout=one.lookout,
            place=self.place(one.point), began=one.began, ended=one.ended, glasses=list(one.glasses),
            weather=one.weather, people=one.people, pushed=one.pushed, wind=one.wind,
            air=[f"{written(at)} {felt}" for at, felt in one.air], track_points=len(one.track),
            watched=list(one.watched), note=one.note, twilight_hours=searched.twilight_h,
            day_hours=searched.day_h, out_hours=searched.out_h, searched=self.tell_searched(searched.efforts),
            sightings=self._seen_on(one.id),
            doubts=[*_doubts(searched), *self._sightings_doubted(one, searched)],
        )  # fmt: skip

    def tell_searched(self, efforts: Sequence[Effort]) -> list[PocketSearched]:
        """Efforts by pocket, most found first."""
        pockets = self.plan.pockets
        ranked = sorted(efforts, key=lambda e: (-e.found.likely, e.pocket))
        return [
            PocketSearched(
                pocket=pockets[e.pocket].id, name=pockets[e.pocket].name, share=e.share, found=e.found,
                distance_m=e.distance_m,
            )
            for e in ranked
        ]  # fmt: skip

    def _sightings_doubted(self, one: Outing, searched: Searched) -> list[str]:
        """Which sightings of an outing do not go with it, as after a correction."""
        shown = {self.places.ids[e.pocket] for e in searched.efforts}
        error, told = self.country.settings.record.place_error_m, []
        for seen in (s for s in self.record().sightings if s.outing == one.id):
            if seen.at is not None and not one.began <= seen.at <= one.ended:
                told.append(f"sighting {seen.id} lies outside its time: correct one of them")
            errors = (seen.along_m or error, seen.across_m or error, seen.bearing_true_deg or 0.0)
            pocket, belongs = self.pocket_at(seen.point, errors)
            if pocket is not None and belongs >= 0.5 and pocket not in shown:
                told.append(f"sighting {seen.id} lies in {pocket}, which was not in sight from there")
        return told

    def _with_searched(self, row: Row, values: dict[str, Any]) -> OutingTold:
        """The outing told; what it searched goes into its columns, for other programs to read."""
        told = self.tell_outing(outing_of(row))
        searched = {s.pocket: [s.share.low, s.share.likely, s.share.high] for s in told.searched}
        values["searched"] = json.dumps(searched)
        values["light"] = f"{told.twilight_hours:.1f} h twilight, {told.day_hours:.1f} h daylight"
        return told

    def _seen_on(self, number: int) -> list[int]:
        return [s.id for s in self.record().sightings if s.outing == number]

    def _outing_values(
        self, given: GivenOuting, before: Outing | None
    ) -> tuple[dict[str, Any], Point | None]:
        """The columns of an outing, checked, and its place where that is new."""
        values: dict[str, Any] = {"record": RECORD}
        point = None
        if given.track:
            values |= self._track_values(given)
            point = self.point(next(p for f in given.track if self._inside(p := LonLat(f.lon, f.lat))))
        elif given.where is not None:
            values["lookout"], point = self._where(given.where)
            values["track"] = None
        elif before is None:
            raise BadInput(
                "it is not said where the outing was; accepted is a lookout of the plan, a PLACE, or a track with times; "
                "give --lookout, --at or --track"
            )
        values |= self._times(given, before)
        values |= self._remarks(given, before is None)
        if given.air is not None or given.felt:
            values["air"] = self._air(given.air or "", values["began"], given.felt)
        return values, point

    def _where(self, text: str) -> tuple[str | None, Point]:
        """A lookout's id and its point, or None and a place's."""
        known = {one.id.lower() for one in self.plan.lookouts}
        if text.strip().lower() in known or (text.strip()[:1].upper() == "L" and text.strip()[1:].isdigit()):
            seat = kept_lookout(self.plan, text)
            return seat.id, self.point(LonLat(seat.place.lon, seat.place.lat))
        return None, self.point(read_place(text))

    def _times(self, given: GivenOuting, before: Outing | None) -> dict[str, str]:
        began = before.began if before else None
        ended = before.ended if before else None
        if given.track:
            began, ended = given.track[0].at, given.track[-1].at
        if given.begin is not None:
            began = read_moment(given.begin, self.timezone, name="--from")
        if given.end is not None:
            day = None if began is None else self.local(began).date()
            ended = read_moment(given.end, self.timezone, name="--until", day=day)
        if began is None or ended is None:
            raise BadInput(
                'it is not said from when until when the outing lasted; accepted is --from "2026-08-27 05:20" --until 09:00, by '
                "the country's clock; give both"
            )
        self._forward(began, ended)
        track = given.track or (before.track if before is not None and given.where is None else ())
        if track:
            _same_clock(track, began, ended)
        return {"began": written(began), "ended": written(ended)}

    def _forward(self, began: dt.datetime, ended: dt.datetime) -> None:
        span = ended - began
        if dt.timedelta(0) < span <= LONGEST:
            return
        first, last = (self.local(at).strftime("%Y-%m-%d %H:%M %Z") for at in (began, ended))
        wrong = "ends before it begins" if span <= dt.timedelta(0) else "lasts more than a day"
        raise BadInput(
            f"the outing from {first} until {last} {wrong}; accepted is an end after the beginning, within 24 hours; check "
            "date, clock and time zone, and give the end its date where it is the next day"
        )

    def _apart(self, values: dict[str, Any], own: int | None) -> None:
        """See that an outing does not run into another: nobody is at two places."""
        began, ended = (dt.datetime.fromisoformat(values[key]) for key in ("began", "ended"))
        for other in self.record().outings:
            if other.id != own and other.began < ended and began < other.ended:
                first, last = (self.local(at).strftime("%Y-%m-%d %H:%M") for at in (other.began, other.ended))
                raise BadInput(
                    f"the outing runs into outing {other.id}, from {first} until {last}; accepted are outings one after the "
                    f"other; correct one of them with --change, or take outing {other.id} away with --remove"
                )

    def _remarks(self, given: GivenOuting, new: bool) -> dict[str, Any]:
        """What was said beside place and time; a new outing gets the defaults."""
        found: dict[str, Any] = {}
        if given.glasses is not None or new:
            names = [glass_named(part).name for part in (given.glasses or "10x42").split(",")]
            found["optics"] = ", ".join(dict.fromkeys(names))
        if given.weather is not None or new:
            found["weather"] = _one_of(given.weather or "clear", WEATHERS, "--weather")
        if given.people is not None or new:
            found["people"] = _people(given.people or 0)
        if given.pushed is not None or new:
            found["pushed"] = "yes" if given.pushed else "no"
        if given.wind is not None:
            if given.wind:
                read_wind(given.wind)
            found["wind"] = given.wind
        if given.watched is not None:
            ids = [part.strip() for part in given.watched.split(",") if part.strip()]
            found["watched"] = ", ".join(self.plan.pockets[i].id for i in self._indices(ids) or [])
        if given.note is not None:
            found["note"] = given.note
        return found

    def _track_values(self, given: GivenOuting) -> dict[str, Any]:
        if sum(self._inside(LonLat(fix.lon, fix.lat)) for fix in given.track) < 2:
            raise BadInput(
                "the track lies outside the country; accepted is a track that runs inside it; check the file, or make a larger "
                "country"
            )
        step = -(-len(given.track) // MOST_FIXES)
        thin = [*given.track[:-1:step], given.track[-1]]
        return {
            "lookout": None if given.where is None else self._where(given.where)[0],
            "track": json.dumps([[round(f.lon, 6), round(f.lat, 6), written(f.at)] for f in thin]),
        }

    def _air(self, text: str, began: str, beside: Sequence[Remark]) -> str:
        """What was felt of the air, "07:10 down, 08:40 up", as it is kept."""
        day = self.local(dt.datetime.fromisoformat(began)).date()
        found = list(beside)
        for part in filter(None, (p.strip() for p in text.split(","))):
            when, _, felt = part.rpartition(" ")
            at = read_moment(when, self.timezone, name="--air", day=day)
            known = felt_word(felt)
            if known is None:
                raise BadInput(f"--air is {part!r}; accepted is a time and {', '.join(FELT)}; give both")
            found.append(Remark(at, known))
        return ", ".join(f"{written(at)} {felt}" for at, felt in sorted(set(found)))

    def _indices(self, ids: Sequence[str]) -> list[int] | None:
        """Where pockets stand in the plan; None for none named.

        Raises
        ------
        BadInput
            There is no such pocket.
        """
        if not ids:
            return None
        known = {p.id.lower(): i for i, p in enumerate(self.plan.pockets)}
        unknown = [one for one in ids if one.lower() not in known]
        if unknown:
            raise BadInput(
                f"no pocket {unknown[0]!r} is in the plan; accepted are {', '.join(p.id for p in self.plan.pockets)}; give "
                "their ids with commas between"
            )
        return [known[one.lower()] for one in ids]

    # --- shared --------------------------------------------------------------------------------------------------

    def remove(self, table: str, number: int) -> Row:
        """Take a row of the record away; `Rows.undo` brings it back.

        Raises
        ------
        BadInput
            There is none of that number, or a newer version wrote in the record.
        """
        self.record()
        return self.rows.remove(table, number)

    def point(self, place: LonLat) -> Point:
        """A place in the country's CRS.

        Raises
        ------
        BadInput
            It lies outside the country.
        """
        self.country.grid.rowcol(place)
        return Point(*self.country.grid.xy(*self.country.grid.locate(place)))

    def _inside(self, place: LonLat) -> bool:
        return self.country.grid.contains(place)

    def lonlat(self, point: Point) -> LonLat:
        """The other way round."""
        a, _, west, _, _, north = self.country.grid.transform
        return self.country.grid.lonlat((north - point.y) / a - 0.5, (point.x - west) / a - 0.5)

    def place(self, point: Point) -> Place:
        """A point with its height, where known."""
        a, _, west, _, _, north = self.country.grid.transform
        return self.ready.survey.place((north - point.y) / a - 0.5, (point.x - west) / a - 0.5)

    def pocket_at(self, point: Point, errors: tuple[float, float, float]) -> tuple[str | None, float]:
        """The pocket that a place belongs to most, and to which degree."""
        belongs = belongs_to(point, errors, self.places.areas, self.country.settings.record)
        if not len(belongs) or belongs.max() < 0.05:
            return None, 0.0
        best = int(np.argmax(belongs))
        return self.places.ids[best], float(belongs[best])

    def local(self, at: dt.datetime) -> dt.datetime:
        """A moment by the country's clock."""
        from zoneinfo import ZoneInfo

        return at.astimezone(ZoneInfo(self.timezone))


def open_notebook(country: Country, plan: Plan, *, ready: Ready | None = None) -> Notebook:
    """Open the record of a country; `plan` and the layers kept must belong together.

    Parameters
    ----------
    ready
        Layers that are in memory already; None: they are read when first needed.
    """
    settled = country.with_settings(animal=plan.animal, date=plan.light.date.isoformat())
    book = Notebook(settled, plan, Rows(settled))
    if ready is not None:
        book.__dict__["ready"] = ready  # where the cached property looks first
    return book


def _one_of(text: str, known: Sequence[str], name: str) -> str:
    word = " ".join(text.lower().split())
    if word not in known:
        raise BadInput(f"{name} is {text!r}; accepted is {', '.join(known)}; give one of them")
    return word


def _people(count: int) -> int:
    if not 0 <= count <= 10_000:
        raise BadInput(f"--people is {count}; accepted is 0 to 10000; give how many were met")
    return count


def _same_clock(track: Sequence[Fix], began: dt.datetime, ended: dt.datetime) -> None:
    """See that the times said and the track's go together; a whole number of hours apart is a clock set wrong."""
    first, last = track[0].at, track[-1].at
    if first < ended and began < last:
        return
    apart = (first - began).total_seconds() / 3600.0
    raise BadInput(
        f"the track runs from {written(first)} to {written(last)}, and the outing as said from {written(began)} to "
        f"{written(ended)}: {abs(apart):.1f} hours apart; accepted are times that meet; check the receiver's clock and the "
        "time zone, or leave --from and --until out: the track has its own"
    )


def _doubts(searched: Searched) -> list[str]:
    """What looks wrong with an outing."""
    if searched.twilight_h + searched.day_h < 1 / 60:
        return ["none of its time has usable light: check the clock (morning or evening) and the time zone"]
    return [] if searched.efforts else ["no pocket was in sight: it moves no odds"]
