"""The commands. Each reads its words, calls the layers below, and prints; heavy imports wait until then."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import Parameter

from graylight.cli.begin import begun, opened, plan_of, planned
from graylight.cli.progress import bar
from graylight.cli.words import Json, say, whole

if TYPE_CHECKING:
    from graylight.country.folder import Country
    from graylight.plan.model import CountryFacts

__all__ = [
    "demo", "export", "info", "look", "morning", "new", "plan", "serve", "watch",
]  # fmt: skip


def demo(
    folder: Path = Path("demo-country"),
    *,
    show: Annotated[bool, Parameter(name="--open", negative="")] = False,
) -> None:
    """Invent a range, plan on it, tell the plan, and write the files.

    Parameters
    ----------
    folder
        Where the invented country goes; it must not exist yet, or hold an earlier demo.
    show
        Open it on the map page afterwards.
    """
    from graylight.cli.demonstration import demonstrate

    demonstrate(folder)
    if show:
        serve(folder)


def new(
    folder: Path,
    *,
    elevation: Path,
    cover: Path | None = None,
    canopy: Path | None = None,
    imagery: Path | None = None,
    vectors: Annotated[list[Path] | None, Parameter(consume_multiple=True, negative="")] = None,
    bounds: Annotated[
        tuple[float, float, float, float] | None,
        Parameter(help="West south east north, degrees.", negative=""),
    ] = None,
    cell: float | None = None,
    feet: bool | None = None,
    surface: bool | None = None,
    name: str | None = None,
) -> None:
    """Make a country from an elevation raster and whatever else there is.

    Parameters
    ----------
    folder
        The new country's folder.
    elevation
        Any elevation raster: any frame of reference, cells of 1 to 250 m, feet or metres.
    cover
        Land cover raster (WorldCover or NLCD codes).
    canopy
        Canopy height in metres; a second band may hold closure.
    imagery
        Red and near-infrared, or red, green, blue and near-infrared, or RGB.
    vectors
        Trails, roads, trailheads, streams, lakes, ownership, unit boundary, names, animals seen.
    cell
        Cell size in metres; never finer than the source.
    feet
        Say that the elevation is in feet (--feet) or is not (--no-feet), where the file is silent or wrong.
    surface
        Say that heights are those of tree tops and roofs (--surface) or of the ground (--no-surface); by the file's name
        (DSM) if not given.
    name
        What to call the country; the folder's name if not given.
    """
    from graylight.country.entry import Sources, make_country
    from graylight.grid import Bounds
    from graylight.settings import Settings
    from graylight.telling.country import tell_country

    sources = Sources(
        elevation=elevation, cover=cover, canopy=canopy, imagery=imagery, vectors=tuple(vectors or ()),
        bounds=None if bounds is None else Bounds(*bounds), cell_m=cell, name=name, feet=feet,
        surface=surface,
    )  # fmt: skip
    with bar("making the country") as tick:
        country = make_country(folder, sources, Settings(), tick=tick)
    print(say(tell_country(_facts(country), country.record)))


def info(folder: Path, *, json: Json = False) -> None:
    """Tell what a country holds and what was done to it on entry.

    Parameters
    ----------
    folder
        A country's folder.
    """
    from graylight.telling.country import tell_country

    country = opened(folder)
    facts = _facts(country)
    if json:
        print(facts.model_dump_json(indent=1))
    else:
        print(say(tell_country(facts, country.record)))


def plan(
    folder: Path,
    *,
    animal: str | None = None,
    date: str | None = None,
    lookouts: Annotated[int | None, Parameter(converter=whole)] = None,
    start: Annotated[str | None, Parameter(allow_leading_hyphen=True)] = None,
    json: Json = False,
) -> None:
    """Work the whole plan out and tell it.

    Parameters
    ----------
    folder
        A country's folder.
    animal
        Name of an animal profile; the setting if not given.
    date
        The morning, YYYY-MM-DD; the setting if not given.
    lookouts
        How many lookouts the best set may have.
    start
        Where the walk begins; the best road end or trailhead if not given.
    """
    from graylight.plan.keeping import make_plan, plan_text
    from graylight.telling.plan import tell_plan

    country = _set(opened(folder), animal=animal, date=date, lookouts=lookouts, start=start)
    with bar("working out the plan") as tick:
        made = make_plan(country, tick=tick)
    if json:
        print(plan_text(made.plan), end="")
    else:
        print(say(tell_plan(made.plan, country.settings.units)))


def look(
    folder: Path,
    *,
    at: Annotated[str, Parameter(allow_leading_hyphen=True)],
    to: Annotated[str | None, Parameter(allow_leading_hyphen=True)] = None,
    json: Json = False,
) -> None:
    """Tell what can be seen from one place, and draw it.

    Parameters
    ----------
    folder
        A country's folder.
    at
        A PLACE.
    to
        Another PLACE: the line of sight to it is told and drawn, too.
    """
    from graylight.place import read_place
    from graylight.plan.kept import TO_LOOK

    place = read_place(at)
    other = None if to is None else read_place(to)
    country, kept = begun(folder, TO_LOOK)
    for asked in (place, *([] if other is None else [other])):
        country.grid.rowcol(asked)
    if kept is None:
        country, kept = planned(country)

    from graylight.cli.pictures import draw_the_line, draw_the_look
    from graylight.plan.looking import line_to, look_from, ready_to_look
    from graylight.telling.look import tell_look

    ready = ready_to_look(country, kept)
    looked = look_from(ready, place)
    line = None if other is None else line_to(ready, looked, other)
    told = draw_the_look(ready, looked)
    if line is not None:
        told = told.model_copy(update={"line": draw_the_line(ready, looked, *line)})
    if json:
        print(told.model_dump_json(indent=1))
    else:
        print(say(tell_look(told, country.settings.units)))


def morning(
    folder: Path,
    *,
    lookout: str | None = None,
    date: str | None = None,
    wind: str | None = None,
    until: str | None = None,
    sit: str = "dawn",
    json: Json = False,
) -> None:
    """Tell one morning, evening or day at a lookout by the clock, and whether it is worth going.

    Parameters
    ----------
    folder
        A country's folder.
    lookout
        Id of a lookout of the plan, such as L1; the best single one if not given.
    date
        The day, YYYY-MM-DD; the plan's own if not given.
    wind
        General wind as a forecast says it, such as "SW 8mph", "225 13km/h", "light" or "calm", "forecast" for
        the one gathered, or "none"; the setting sit.wind if not given, else calm.
    until
        Last date of a span from the morning's own: other dates of it are judged too, sampled.
    sit
        dawn, dusk, or day (from before first light to the last).
    """
    from graylight.plan.kept import TO_LOOK

    country, kept = begun(folder, TO_LOOK)
    if kept is None:
        country, kept = planned(country)

    from graylight.plan.forecast_wind import said_wind
    from graylight.plan.morning_asked import understood
    from graylight.plan.morning_ready import ready_for_morning
    from graylight.plan.mornings import calendar
    from graylight.plan.mornings import morning as work_out
    from graylight.telling.morning import tell_morning
    from graylight.telling.naming import best_name

    wind = said_wind(country, kept, wind=wind, date=date, sit=sit)
    lookout = lookout or best_name(kept)
    asked = understood(kept, lookout=lookout, date=date, wind=wind, until=until, sit=sit)
    with bar("working out the morning") as tick:
        ready = ready_for_morning(country, kept)
        tick(0.5)
        told = work_out(ready, lookout, date=asked.date, wind=wind, sit=asked.sit)
        tick(1.0)
    if asked.last is not None:
        with bar("looking at other dates") as tick:
            dates = calendar(ready, lookout, asked.date, asked.last, wind=wind, sit=asked.sit, tick=tick)
        told = told.model_copy(update={"calendar": dates})
    if json:
        print(told.model_dump_json(indent=1))
    else:
        print(say(tell_morning(told, country.settings.units)))


def watch(
    folder: Path,
    *,
    targets: Annotated[str, Parameter(allow_leading_hyphen=True)],
    within: str | None = None,
    standing: Annotated[bool, Parameter(negative="")] = False,
    picture: Annotated[bool, Parameter(negative="")] = False,
    json: Json = False,
) -> None:
    """Find from where marks can be watched, and the best seats.

    Parameters
    ----------
    folder
        A country's folder.
    targets
        PLACES with semicolons between, or ids of the plan's feeding places, beds and crossings (P2-f1).
    within
        Farthest from a mark, such as 1.2mi or 2km; the setting sight.radius_m if not given.
    standing
        The watcher stands; sits if not given.
    picture
        Draw a map of it, too.
    """
    from graylight.plan.kept import TO_WATCH
    from graylight.units import read_distance

    reach = None if within is None else read_distance(within)
    country, kept = begun(folder, TO_WATCH)

    from graylight.country.layers import MARKS_SEEN
    from graylight.plan.watch import ready_to_watch, watch_marks

    ready = ready_to_watch(country, kept)
    with bar("looking from the marks") as tick:
        watched = watch_marks(ready, targets, within_m=reach, standing=standing, tick=tick)
    raster = f"watch/{_of_this(targets, reach, standing)}.tif"
    country.write_raster(raster, MARKS_SEEN, watched.seen)
    told = watched.watch.model_copy(update={"raster": raster})
    if picture:
        from graylight.cli.pictures import draw_the_watch

        drawn = draw_the_watch(ready, watched, raster.replace(".tif", ".png"))
        told = told.model_copy(update={"picture": drawn.relative_to(country.folder).as_posix()})
    if json:
        print(told.model_dump_json(indent=1))
    else:
        from graylight.telling.watch import tell_watch

        print(say(tell_watch(told, country.settings.units)))


def _of_this(targets: str, reach: float | None, standing: bool) -> str:
    """A short name for one question, so that the answers to two are not mixed up."""
    from hashlib import sha256

    asked = f"{' '.join(targets.lower().split())} {reach} {standing}"
    return "marks-" + sha256(asked.encode()).hexdigest()[:8]


def serve(
    folder: Path | None = None,
    *,
    port: Annotated[int | None, Parameter(converter=whole)] = None,
    lan: Annotated[bool, Parameter(negative="")] = False,
    browser: bool = True,
    home: Path | None = None,
) -> None:
    """Show the country on the map page, in the browser, on this machine alone.

    Parameters
    ----------
    folder
        A country's folder; one can be made or picked on the page if not given.
    port
        Where the page listens; the next free port if it is taken.
    lan
        Let other devices on the network in, by a link with a token that is printed.
    browser
        Open the browser (--browser), or only say the address (--no-browser).
    home
        Folder for countries made on the page; beside the open country if not given, else the current folder.
    """
    from graylight.server.serving import PORT
    from graylight.server.serving import serve as run

    kept = home or (Path.cwd() if folder is None else folder.absolute().parent)
    run(folder, kept, port=PORT if port is None else port, lan=lan, browser=browser, say=_say_now)


def _say_now(words: str) -> None:
    print(words, flush=True)


def export(folder: Path) -> None:
    """Write the plan as GPX 1.1, KML and GeoJSON, draw its map, and write the record as GeoJSON and CSV.

    Parameters
    ----------
    folder
        A country's folder.
    """
    from graylight.cli.files import write_files, write_record
    from graylight.cli.pictures import draw_the_plan

    country = opened(folder)
    kept = plan_of(country)
    for path in [*write_files(country, kept), draw_the_plan(country, kept), *write_record(country)]:
        print(path)


def _set(country: Country, **changes: Any) -> Country:
    """The country with the settings that were given on the command line."""
    return country.with_settings(**{key: value for key, value in changes.items() if value is not None})


def _facts(country: Country) -> CountryFacts:
    from graylight.plan.country_facts import country_facts
    from graylight.plan.survey import survey_of

    return country_facts(country, survey_of(country))
