"""The commands that bring data in: open data gathered over the network, and files taken into a country."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from graylight.cli.progress import bar

if TYPE_CHECKING:
    from graylight.country.folder import Country
    from graylight.gather.gate import Gate
    from graylight.gather.order import Kind
    from graylight.gather.wanted import Wanted
    from graylight.grid import Bounds

__all__ = ["gather", "take"]

Closeups = Annotated[
    list[str] | None, Parameter(allow_leading_hyphen=True, consume_multiple=False, negative="")
]
Switch = Annotated[bool, Parameter(negative="")]


@Parameter(name="*")
@dataclass(frozen=True)
class Asked:
    """What ground is wanted.

    Parameters
    ----------
    around
        A PLACE in the middle.
    radius
        How far around it, such as 5mi or 8km.
    bounds
        West south east north, degrees.
    inside
        A file with the boundary of a unit: its box is gathered, and the boundary kept.
    cell
        Cell size in metres; below 8, elevation of 1 m is looked for.
    date
        The day planned for, YYYY-MM-DD: imagery is taken from that season; the setting's default if not given.
    closeup
        A PLACE to have in imagery of about 1 m; may be given several times.
    """

    around: Annotated[str | None, Parameter(allow_leading_hyphen=True)] = None
    radius: str | None = None
    bounds: Annotated[tuple[float, float, float, float] | None, Parameter(negative="")] = None
    inside: Path | None = None
    cell: float | None = None
    date: str | None = None
    closeup: Closeups = None


@Parameter(name="*")
@dataclass(frozen=True)
class How:
    """How it is gathered.

    Parameters
    ----------
    only
        Gather only these, commas between: elevation, apron, cover, canopy, imagery, ways, names, ownership, forecast, closeup.
    without
        Gather all but these.
    offline
        Use only what is kept from before; ask nobody.
    again
        Ask again for what is kept.
    estimate
        Say what would be asked from whom and how many megabytes, and stop.
    most
        Refuse when the estimate is above this many megabytes.
    cache
        Where downloads are kept; the system's place for them if not given.
    services
        A TOML file that changes the table of services.
    """

    only: str | None = None
    without: str | None = None
    offline: Switch = False
    again: Switch = False
    estimate: Switch = False
    most: float = 2000.0
    cache: Path | None = None
    services: Path | None = None


def gather(
    folder: Path, *, asked: Asked | None = None, how: How | None = None, name: str | None = None
) -> None:
    """Gather open data for any place and make a country of it.

    Parameters
    ----------
    folder
        The new country's folder; or one gathered before, for its forecast and close-ups.
    name
        What to call the country; the folder's name if not given.
    """
    from graylight.country.folder import FACTS, Country
    from graylight.gather.gate import Gate
    from graylight.gather.gathering import check_real
    from graylight.gather.order import chosen
    from graylight.gather.services import own_files, read_services
    from graylight.gather.store import Store, usual_folder

    asked, how = asked or Asked(), how or How()
    there = Country.open(folder) if (folder / FACTS).is_file() else None
    if there is not None:
        check_real(there)
    wanted = _wanted(asked, _box(asked, there))
    kinds = chosen(how.only, how.without, wanted)
    table = read_services(own_files(how.services, folder))
    store = Store(how.cache or usual_folder())
    with Gate(table, store, offline=how.offline, again=how.again) as gate:
        _say_first(kinds, gate, wanted, how.most)
        if not how.estimate:
            _gather(there or folder, wanted, kinds, gate, name)


def _gather(there: Country | Path, wanted: Wanted, kinds: list[Kind], gate: Gate, name: str | None) -> None:
    """Do it, and tell what came of it."""
    from graylight.gather.gathering import gather as gather_anew
    from graylight.gather.gathering import renew
    from graylight.gather.report import check_rules, tell_report
    from graylight.gather.store import now

    with bar("gathering") as tick:
        if isinstance(there, Path):
            found = gather_anew(there, wanted, kinds, gate, name=name, tick=tick)
        else:
            found = renew(there, wanted, kinds, gate, tick=tick)
    for line in tell_report(found.report, now()):
        print(line)
    print(check_rules(wanted.date))


def _say_first(kinds: list[Kind], gate: Gate, wanted: Wanted, most: float) -> None:
    """The estimate; refused when it is above the limit."""
    from graylight.errors import BadInput
    from graylight.gather.order import expected
    from graylight.gather.report import megabytes, tell_expected

    found = expected(kinds, gate.services, wanted)
    for line in tell_expected(found):
        print(line)
    total = sum(one.size for one in found)
    if total > most * 1e6:
        raise BadInput(
            f"about {megabytes(total)} would be gathered; accepted are {most:g} MB; raise --most, or gather for less ground"
        )


def _box(asked: Asked, there: Country | None) -> Bounds | None:
    """The box that was asked for; None where only a boundary, or nothing, was given."""
    from graylight.errors import BadInput
    from graylight.gather.wanted import around, checked_bounds
    from graylight.grid import Bounds
    from graylight.place import read_place
    from graylight.units import read_distance

    given, lacking = ("--around", "--radius") if asked.radius is None else ("--radius", "--around")
    if (asked.around is None) != (asked.radius is None):
        raise BadInput(
            f'{given} was given without {lacking}; accepted are both, such as --around "39.30, -111.50" --radius 5mi; give '
            "the other, too"
        )
    if asked.around is not None and asked.radius is not None:
        return around(read_place(asked.around), read_distance(asked.radius))
    if asked.bounds is not None:
        return checked_bounds(Bounds(*asked.bounds))
    return None if there is None else there.grid.lonlat_bounds()


def _wanted(asked: Asked, box: Bounds | None) -> Wanted:
    """What ground, how fine, for when."""
    from graylight.country.settings_file import changed
    from graylight.errors import BadInput
    from graylight.gather.wanted import Wanted, boundary, checked_bounds
    from graylight.grid import Bounds
    from graylight.place import read_place
    from graylight.settings import Settings

    unit = None if asked.inside is None else boundary(asked.inside)
    if box is None and unit is not None:
        box = checked_bounds(Bounds(*unit.bounds))
    if box is None:
        raise BadInput(
            "no ground was named to gather for; accepted is --around with --radius, or --bounds, or --inside with a boundary "
            "file; give one"
        )
    cell = asked.cell
    if cell is not None and not 1.0 <= cell <= 250.0:
        raise BadInput(f"--cell is {cell:g}; accepted is 1 to 250 metres; change it or leave it away")
    places = tuple(read_place(text) for text in asked.closeup or ())
    for place in places:
        if not (box.west <= place.lon <= box.east and box.south <= place.lat <= box.north):
            raise BadInput(
                f"the close-up at {place.lat:.5f}, {place.lon:.5f} lies outside the ground wanted; accepted is a place in it; "
                "check the place, or gather for more ground"
            )
    settings = Settings() if asked.date is None else changed(Settings(), date=asked.date)
    return Wanted(box, settings.date, cell, places, unit)


def take(folder: Path, files: Annotated[list[Path], Parameter(negative="")], /) -> None:
    """Take marks, tracks and boundaries that people already have into a country.

    Parameters
    ----------
    folder
        A country's folder.
    files
        GPX, KML, KMZ, GeoJSON, GeoPackage, zipped shapefiles, CSV with coordinates; or folders of them.
    """
    from graylight.country.folder import Country
    from graylight.intake.taking import take_in

    country = Country.open(folder)
    with bar("taking in") as tick:
        taken = take_in(country, files, tick=tick)
    for line in taken.lines():
        print(line)
