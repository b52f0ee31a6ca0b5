"""The table of services: addresses, licences, credits and manners, shipped as TOML and changed by the person's own file."""

from __future__ import annotations

import os
import sys
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from importlib.resources import files
from pathlib import Path
from typing import Any

from graylight.errors import BadInput
from graylight.grid import Bounds

__all__ = ["Manners", "Service", "Services", "own_files", "read_services"]

MOST_CONNECTIONS = 8
USA = (
    Bounds(-125.0, 24.3, -66.8, 49.5),
    Bounds(-180.0, 51.0, -129.9, 71.6),
    Bounds(-160.4, 18.8, -154.7, 22.4),
)
"""The 48 states, Alaska and Hawaii, about, from memory: where it is worth asking a service of the USA."""
WHERE = {"everywhere": (), "usa": USA, "conus": USA[:1]}


@dataclass(frozen=True, slots=True)
class Manners:
    """How the services are asked: connections at once, tries, waits and timeouts in seconds, who asks."""

    connections: int = MOST_CONNECTIONS
    tries: int = 5
    first_wait_s: float = 1.0
    longest_wait_s: float = 60.0
    connect_s: float = 10.0
    read_s: float = 60.0
    whole_s: float = 600.0
    contact: str = ""


@dataclass(frozen=True, slots=True)
class Service:
    """One service.

    Parameters
    ----------
    key
        Its name in the table.
    title, url, about, licence, credit
        What it is called; where it is asked, with places to fill in braces; where to read of it; on which terms; whom to name.
    date
        Date of its data; None: told by each answer, or not known.
    where
        Where it has data: "everywhere", "usa", "conus".
    more
        What else its client needs.
    """

    key: str
    title: str
    url: str
    about: str
    licence: str
    credit: str
    date: str | None
    where: str
    more: Mapping[str, Any]

    def covers(self, box: Bounds) -> bool:
        """Whether it is worth asking for a box."""
        boxes = WHERE[self.where]
        return not boxes or any(
            box.west < b.east and box.east > b.west and box.south < b.north and box.north > b.south
            for b in boxes
        )


@dataclass(frozen=True, slots=True)
class Services:
    """The whole table."""

    manners: Manners
    by_key: Mapping[str, Service]
    states: Mapping[str, Bounds]

    def __getitem__(self, key: str) -> Service:
        return self.by_key[key]


def own_files(given: Path | None, folder: Path | None) -> list[Path]:
    """Files that change the table, the one that counts most last: the user's, the country's, the one given.

    Raises
    ------
    BadInput
        The file given is not there.
    """
    if given is not None and not given.is_file():
        raise BadInput(
            f"no file of services {str(given)!r}; accepted is a TOML file as docs/gather.md shows; check the path"
        )
    usual = [_configuration() / "services.toml", *([] if folder is None else [folder / "services.toml"])]
    return [path for path in usual if path.is_file()] + ([] if given is None else [given])


def _configuration() -> Path:
    if sys.platform == "win32":
        return Path(os.environ.get("APPDATA", Path.home())) / "graylight"
    return Path(os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config") / "graylight"


def read_services(changes: Sequence[Path] = ()) -> Services:
    """The shipped table with the changes of the given files.

    Raises
    ------
    BadInput
        A file is not TOML, names a service or a key that is not there, or holds a value of another kind.
    """
    table = tomllib.loads(files("graylight.gather").joinpath("services.toml").read_text(encoding="utf-8"))
    for path in changes:
        _change(table, _read(path), path)
    return _checked(table)


def _read(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise BadInput(
            f"{path.name} is not TOML ({error}); accepted are lines like those of docs/gather.md; mend it or leave it out"
        ) from None


def _change(table: dict[str, Any], given: dict[str, Any], path: Path) -> None:
    for group, lines in given.items():
        if group not in table or not isinstance(lines, dict):
            raise _unknown(path, f"[{group}]", list(table))
        for key, value in lines.items():
            if key not in table[group] and group != "states":
                raise _unknown(path, f"{group}.{key}", list(table[group]))
            _same_kind(path, f"{group}.{key}", table[group].get(key, []), value)
            table[group][key] = value


def _unknown(path: Path, name: str, known: list[str]) -> BadInput:
    near = get_close_matches(name.strip("[]").rpartition(".")[2], known, n=1)
    hint = f"did you mean {near[0]!r}?" if near else "take it out"
    return BadInput(f"{path.name} has {name}, which is not known; accepted are {', '.join(known)}; {hint}")


def _same_kind(path: Path, name: str, old: Any, new: Any) -> None:
    numbers = isinstance(old, int | float) and not isinstance(old, bool)
    fine = (
        isinstance(new, int | float) and not isinstance(new, bool) if numbers else isinstance(new, type(old))
    )
    if not fine:
        kind = "a number" if numbers else {bool: "true or false", str: "text", list: "a list"}[type(old)]
        raise BadInput(f"{path.name}: {name} is {new!r}; accepted is {kind}; change it or take it out")


def _checked(table: dict[str, Any]) -> Services:
    manners = Manners(**table.pop("manners"))
    if not 1 <= manners.connections <= MOST_CONNECTIONS or manners.tries < 1:
        raise BadInput(
            f"manners: connections = {manners.connections}, tries = {manners.tries}; accepted are 1 to {MOST_CONNECTIONS} "
            "connections and 1 try or more; change the file of services"
        )
    states = {name: _box(name, box) for name, box in table.pop("states").items()}
    return Services(manners, {key: _service(key, lines) for key, lines in table.items()}, states)


def _box(name: str, box: Any) -> Bounds:
    if len(box) != 4 or not all(isinstance(n, int | float) for n in box):
        raise BadInput(f"states.{name} is {box!r}; accepted are four numbers, west south east north; mend it")
    return Bounds(*map(float, box))


def _service(key: str, lines: dict[str, Any]) -> Service:
    rest = dict(lines)
    told = {name: str(rest.pop(name)) for name in ("title", "url", "about", "licence", "credit")}
    if not told["url"].startswith(("http://", "https://")):
        raise BadInput(
            f"{key}.url is {told['url']!r}; accepted is an address that begins with https:// or http://; mend it"
        )
    where = rest.pop("where", "everywhere")
    if where not in WHERE:
        raise BadInput(f"{key}.where is {where!r}; accepted are {', '.join(WHERE)}; mend it")
    return Service(key, **told, date=rest.pop("date", None), where=where, more=rest)
