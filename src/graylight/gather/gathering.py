"""A gathering from beginning to end: services asked side by side, a country made of what they gave, a report kept in it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field, replace
from pathlib import Path

from pydantic import ValidationError

from graylight.country.entry import Origin, Sources, check_place, make_country
from graylight.country.folder import FACTS, Country, facts_text
from graylight.country.forecast import FORECAST
from graylight.country.source import opened
from graylight.errors import BadInput, Cancelled, GraylightError, SourceUnavailable
from graylight.gather.errand import Errand, Had
from graylight.gather.gate import Gate
from graylight.gather.holdings import private_alone
from graylight.gather.names import without_doubles
from graylight.gather.order import Kind, expected, services_for
from graylight.gather.report import REPORT, Asked, Report, report_text
from graylight.gather.services import Service
from graylight.gather.wanted import Wanted, unit_text
from graylight.plan.model import LayerFact
from graylight.settings import Settings
from graylight.work import Tick, part, silent

__all__ = ["AFTERWARDS", "Gathered", "check_real", "gather", "renew"]

AFTERWARDS = frozenset({"forecast", "closeup"})
"""Kinds that can be had for a country that is there already; the others lie on its grid or in its tables."""
CLOSEUPS = "closeups"
RASTERS = ("elevation", "cover", "canopy", "imagery", "apron")
GATHERED_PART = 0.6
"""Of the whole time; the rest is making the country."""


@dataclass(frozen=True)
class Gathered:
    """A country and how it was gathered."""

    country: Country
    report: Report


@dataclass
class _Brought:
    """What came of all errands so far."""

    had: list[tuple[Kind, Service, Had]] = field(default_factory=list)
    asked: list[Asked] = field(default_factory=list)

    def of(self, *kinds: str) -> list[Had]:
        return [had for kind, _, had in self.had if kind.name in kinds]


def gather(
    folder: Path,
    wanted: Wanted,
    kinds: Sequence[Kind],
    gate: Gate,
    *,
    name: str | None = None,
    tick: Tick = silent,
) -> Gathered:
    """Gather open data and make a country of it.

    Parameters
    ----------
    folder
        A folder that is not there yet, or is empty.
    wanted
        The ground.
    kinds
        What to gather; elevation must be among them.
    gate
        The way to the services.
    name
        What to call the country.
    tick
        Progress; raises `Cancelled` to stop. What was had is kept in the store.

    Raises
    ------
    BadInput
        The folder can't be made, or the ground is too large.
    SourceUnavailable
        No service has the elevation. That of any other kind is a gap, and the country says so.
    """
    check_place(folder)
    if not any(kind.needed for kind in kinds):
        raise BadInput(
            f"{str(folder)!r} is no country yet, and elevation is not to be gathered; accepted is elevation with whatever "
            "else; leave --only away, or name elevation, too"
        )
    wanted.check_size(Settings().memory_gb)
    with gate.store.workplace() as work:
        brought = _all(kinds, wanted, gate, work, part(tick, 0.0, GATHERED_PART))
        _needed(kinds, brought)
        without_doubles(brought.of("names"), brought.of("ways"))
        holdings = brought.of("ownership")
        if len(holdings) > 1:
            private_alone(holdings[-1])
        sources = _sources(wanted, brought, work, name or folder.name)
        country = make_country(folder, sources, Settings(), tick=part(tick, GATHERED_PART, 1.0))
        country = _added(country, brought)
        report = Report(asked=brought.asked, requests=gate.requests, bytes=gate.received)
        country.write_text(REPORT, report_text(report))
    return Gathered(country, report)


def renew(
    country: Country, wanted: Wanted, kinds: Sequence[Kind], gate: Gate, *, tick: Tick = silent
) -> Gathered:
    """Gather what a country can be given afterwards: the forecast and close-ups.

    Raises
    ------
    BadInput
        The country is invented, or another kind is asked for.
    SourceUnavailable
        None of it could be had.
    """
    check_real(country)
    other = [kind.name for kind in kinds if kind.name not in AFTERWARDS]
    if other:
        raise BadInput(
            f"{str(country.folder)!r} is a country already; accepted for it are {' and '.join(sorted(AFTERWARDS))}, not "
            f"{', '.join(other)}; say --only forecast, or gather into a new folder"
        )
    country.check_writable()
    with gate.store.workplace() as work:
        brought = _all(kinds, wanted, gate, work, tick)
        report = Report(asked=brought.asked, requests=gate.requests, bytes=gate.received)
        if not brought.had:
            raise SourceUnavailable("; ".join(f"{one.words}: {one.why}" for one in report.lacking()))
        country = _added(country, brought)
        country.write_text(REPORT, report_text(_with_earlier(country, report)))
    return Gathered(country, report)


def _with_earlier(country: Country, report: Report) -> Report:
    """The report with what an earlier gathering told of other kinds."""
    try:
        earlier = Report.model_validate_json(country.read_text(REPORT) or "")
    except ValidationError:
        return report
    new = {one.kind for one in report.asked}
    kept = [one for one in earlier.asked if one.kind not in new]
    return report.model_copy(update={"asked": [*kept, *report.asked]})


def check_real(country: Country) -> None:
    """See that a country exists: nothing is asked for one that does not.

    Raises
    ------
    BadInput
        It is invented.
    """
    if country.invented:
        raise BadInput(
            f"the country {country.name!r} is invented: it does not exist, so nothing can be gathered for it; accepted is a "
            "real country; gather into a new folder"
        )


def _all(kinds: Sequence[Kind], wanted: Wanted, gate: Gate, work: Path, tick: Tick) -> _Brought:
    """Run the errands of all kinds side by side; the gate keeps the number of connections."""
    size = max(1, sum(one.size for one in expected(kinds, gate.services, wanted)))
    pool = ThreadPoolExecutor(max(1, len(kinds)), thread_name_prefix="gather")
    waiting: dict[Future[_Brought], Kind] = {}
    for kind in kinds:
        place = work / kind.name
        place.mkdir()
        waiting[pool.submit(_one, kind, wanted, gate, place)] = kind
    try:
        left = set(waiting)
        while left:
            _, left = wait(left, timeout=0.2)
            done = 1.0 - len(left) / len(waiting)
            tick(max(done, min(0.95, gate.received / size)))
        found = [future.result() for future in waiting]
    except BaseException:
        gate.stopped.set()
        raise
    finally:
        pool.shutdown(wait=False, cancel_futures=True)
    return _Brought([h for one in found for h in one.had], [a for one in found for a in one.asked])


def _one(kind: Kind, wanted: Wanted, gate: Gate, work: Path) -> _Brought:
    """Ask the services of one kind in turn, until one gives it; or all of them."""
    found = _Brought()
    asked = services_for(kind, gate.services, wanted)
    if not asked:
        found.asked.append(
            Asked(
                kind=kind.name,
                words=kind.words,
                service="",
                got=False,
                why="no service is known for this ground",
            )
        )
    for service, client in asked:
        try:
            files = client(Errand(gate, service, wanted, work))
        except (Cancelled, BadInput):
            raise
        except GraylightError as error:
            found.asked.append(_told(kind, service, why=str(error)))
            continue
        except Exception as error:
            # an answer of a shape that nobody foresaw: a gap that is said, not a failed run
            why = f"{service.title}: its answer can't be understood ({type(error).__name__}: {str(error)[:120]})"
            found.asked.append(_told(kind, service, why=why))
            continue
        found.had += [(kind, service, had) for had in files]
        found.asked.append(_told(kind, service, files=files))
        if not kind.every:
            break
    return found


def _told(kind: Kind, service: Service, *, why: str | None = None, files: Sequence[Had] = ()) -> Asked:
    dates = [had.date for had in files if had.date]
    fetched = [had.fetched for had in files if had.fetched]
    return Asked(
        kind=kind.name, words=kind.words, service=service.title, got=why is None, why=why,
        date=min(dates, default=None), fetched=min(fetched, default=None), licence=service.licence,
        credit=service.credit, about=service.about,
        done=list(dict.fromkeys(words for had in files for words in had.done)),
    )  # fmt: skip


def _needed(kinds: Sequence[Kind], brought: _Brought) -> None:
    for kind in kinds:
        if kind.needed and not brought.of(kind.name):
            why = "; ".join(str(one.why) for one in brought.asked if one.kind == kind.name)
            raise SourceUnavailable(
                f"no elevation could be had, and without it there is no country: {why}; try again later (what was had is "
                "kept), or bring your own raster with 'graylight new'"
            )


def _sources(wanted: Wanted, brought: _Brought, work: Path, name: str) -> Sources:
    """What the country is made from."""
    rasters = {kind: next(iter(brought.of(kind)), None) for kind in RASTERS}
    ground = rasters["elevation"]
    assert ground is not None, "without elevation nothing comes this far"
    vectors = [had.path for had in brought.of("ways", "names", "ownership")]
    record = list(_gaps(brought))
    if wanted.unit is not None:
        path = work / "unit.geojson"
        path.write_text(unit_text(wanted.unit, name), encoding="utf-8")
        vectors.append(path)
    canopy = rasters["canopy"]
    return Sources(
        elevation=ground.path, cover=_path(rasters["cover"]), canopy=_path(canopy), imagery=_path(rasters["imagery"]),
        apron=_path(rasters["apron"]),
        vectors=tuple(vectors), bounds=wanted.bounds, cell_m=_cell_m(wanted, ground, record), name=name, feet=False,
        surface=ground.surface, origins={had.path: _origin(service, had) for _, service, had in brought.had},
        record=tuple(record), own_vectors=True,
    )  # fmt: skip


def _path(had: Had | None) -> Path | None:
    return None if had is None else had.path


def _cell_m(wanted: Wanted, ground: Had, record: list[str]) -> float | None:
    """The cell asked for, unless the elevation that was had is coarser."""
    if wanted.cell_m is None:
        return None
    with opened(ground.path, "elevation") as source:
        own = max(source.sides_m(source.whole()))
    if wanted.cell_m >= own * 0.95:
        return wanted.cell_m
    record.append(
        f"caution: cells of {wanted.cell_m:g} m were asked for; the elevation that could be had has {own:.0f} m"
    )
    return None


def _origin(service: Service, had: Had) -> Origin:
    day = f"had on {had.fetched[:10]}" if had.fetched else ""
    return Origin(
        source=service.title, date=had.date, licence=service.licence, credit=service.credit,
        done=tuple(words for words in (*had.done, day) if words and words != service.title),
    )  # fmt: skip


def _gaps(brought: _Brought) -> Iterator[str]:
    """Sentences on what is missing, for the country's record and every plan."""
    report = Report(asked=brought.asked, requests=0, bytes=0)
    for one in report.lacking():
        yield f"caution: {one.words} could not be gathered ({one.why})"
    had = {one.kind for one in brought.asked if one.got}
    for one in brought.asked:
        if one.kind == "ownership" and not one.got and one.kind in had:
            yield f"caution: part of the ownership could not be gathered ({one.why}): private ground may not be shown"
    for _, _, one_had in brought.had:
        yield from (f"caution: {words}" for words in one_had.doubts)


def _added(country: Country, brought: _Brought) -> Country:
    """Put forecast and close-ups into the country, and say so in its facts."""
    facts = list(country.facts)
    for kind, service, had in brought.had:
        if kind.name not in AFTERWARDS:
            continue
        target = FORECAST if kind.name == "forecast" else f"{CLOSEUPS}/{had.path.name}"
        country.write_bytes(target, had.path.read_bytes())
        origin = _origin(service, had)
        fact = LayerFact(
            name=target, source=origin.source, date=origin.date, done=list(origin.done), licence=origin.licence,
            resolution_m=None if kind.name == "forecast" else 1.0, credit=origin.credit,
        )  # fmt: skip
        facts = [*(f for f in facts if f.name != target), fact]
    if facts != list(country.facts):
        country = replace(country, facts=tuple(facts))
        country.write_text(FACTS, facts_text(country))
    return country
