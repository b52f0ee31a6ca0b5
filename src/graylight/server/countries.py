"""Paths to countries: those there are, opening one, and making one from files or for a box."""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Container
from contextlib import ExitStack
from itertools import count
from pathlib import Path
from typing import IO, Annotated, Any, cast

from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict, Field, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile

from graylight.country.atomic import write_bytes
from graylight.country.entry import make_country
from graylight.country.feature import plain_text
from graylight.country.folder import FACTS, Country
from graylight.country.incoming import MOST_FILES, receiving
from graylight.country.roles import sort_out
from graylight.errors import BadInput, GraylightError
from graylight.grid import Bounds, LonLat, utm_crs
from graylight.server import asking
from graylight.server.desk import Desk
from graylight.server.jobs import Job
from graylight.server.models import CountryKey, JobTold
from graylight.server.problems import NotThere
from graylight.settings import Settings
from graylight.work import Tick

__all__ = ["gather_box", "router"]

router = APIRouter()
BOX = ".box.json"
WIDEST_DEG = 2.0
MOST_NAME = 80


class Box(BaseModel):
    """A box that a country is wanted for."""

    model_config = ConfigDict(extra="forbid")
    name: Annotated[str, Field(min_length=1, max_length=MOST_NAME)]
    box: Annotated[
        list[Annotated[float, Field(ge=-180.0, le=180.0, allow_inf_nan=False)]],
        Field(min_length=4, max_length=4),
    ]


class Key(BaseModel):
    """A country by its key."""

    model_config = ConfigDict(extra="forbid")
    key: Annotated[str, Field(max_length=200)]


class Begun(BaseModel):
    """A country in the making, or a box that was kept."""

    key: str
    job: JobTold | None
    words: list[str]
    command: str | None = None


@router.get("/countries")
def countries(desk: asking.The) -> list[CountryKey]:
    """The countries that can be opened, and the boxes that were kept."""
    now = _open_folder(desk)
    there = [_key(key, folder, country, now) for key, (folder, country) in _there(desk).items()]
    found = sorted(there, key=lambda one: not one.open)
    known = {one.key for one in found}
    return [*found, *(box for box in _boxes(desk) if box.key not in known)]


@router.post("/open")
def open_one(desk: asking.The, wanted: Key) -> CountryKey:
    """Open a country."""
    found = _there(desk)
    if wanted.key not in found:
        raise NotThere(f"no country {wanted.key!r}; accepted is a key of GET /api/countries")
    folder, country = found[wanted.key]
    if not _same(folder, _open_folder(desk)):
        desk.open(folder)
    return _key(wanted.key, folder, country, folder)


def _open_folder(desk: Desk) -> Path | None:
    try:
        return desk.opened.country.folder
    except NotThere:
        return None


def _same(one: Path, other: Path | None) -> bool:
    """Whether two paths lead to one folder, however they were typed."""
    return other is not None and one.resolve() == other.resolve()


def _key(key: str, folder: Path, country: Country, now: Path | None) -> CountryKey:
    return CountryKey(key=key, name=country.name, invented=country.invented, open=_same(folder, now))


def _there(desk: Desk) -> dict[str, tuple[Path, Country]]:
    """Countries in the home folder, and the one that is open, by keys of their own."""
    now = _open_folder(desk)
    inside = [one for one in sorted(desk.home.iterdir()) if one.is_dir()] if desk.home.is_dir() else []
    wanted = [one for one in inside if not one.name.startswith(".") and (one / FACTS).is_file()]
    folders: dict[Path, Path] = {}
    for folder in [*wanted, *([] if now is None else [now])]:  # what is made here keeps the key that was told
        folders.setdefault(folder.resolve(), folder)
    found: dict[str, tuple[Path, Country]] = {}
    for whole, folder in folders.items():
        try:
            found[_free(whole.name, found)] = folder, Country.open(folder)
        except GraylightError:  # a damaged one does not hide the others
            continue
    return found


def _free(name: str, taken: Container[str]) -> str:
    """A key by the folder's name; of two folders of one name the second is told apart."""
    keys = (name if i == 1 else f"{name} ({i})" for i in count(1))
    return next(key for key in keys if key not in taken)


def _boxes(desk: Desk) -> list[CountryKey]:
    found = []
    for path in sorted(desk.home.glob(f"*{BOX}")) if desk.home.is_dir() else []:
        try:
            kept = json.loads(path.read_text(encoding="utf-8"))
            key = CountryKey(
                key=path.name.removesuffix(BOX), name=plain_text(kept["name"]), invented=False, open=False,
                box=[float(v) for v in kept["box"]],
            )  # fmt: skip
        except (ValueError, KeyError, TypeError, OSError):
            continue
        found.append(key)
    return found


BODY = {
    "content": {
        "application/json": {"schema": Box.model_json_schema()},
        "multipart/form-data": {
            "schema": {
                "type": "object",
                "properties": {
                    "name": {"type": "string", "maxLength": MOST_NAME},
                    "files": {"type": "array", "items": {"type": "string", "format": "binary"}},
                },
                "required": ["files"],
            }
        },
    },
    "required": True,
}


@router.post("/countries", status_code=202, openapi_extra={"requestBody": BODY})
async def make(desk: asking.The, request: Request) -> Begun:
    """Make a country from dropped files, or keep a box for `graylight gather`."""
    if request.headers.get("content-type", "").split(";")[0].strip().lower() == "application/json":
        return await run_in_threadpool(_keep_box, desk, _box(await request.body()))
    async with request.form(max_files=MOST_FILES, max_fields=20, max_part_size=64 * 1024) as form:
        return await run_in_threadpool(_from_files, desk, form)


def _box(body: bytes) -> Box:
    try:
        return Box.model_validate_json(body)
    except ValidationError as error:
        one = error.errors()[0]
        first = f"{'.'.join(map(str, one['loc']))}: {one['msg']}"
        raise BadInput(
            f"the box can't be read ({first}); accepted is name, and box with west, south, east, north"
        ) from None


def _keep_box(desk: Desk, wanted: Box) -> Begun:
    """Keep a box: downloading is another command's work, which the answer names."""
    west, south, east, north = wanted.box
    if not (
        west < east
        and south < north <= 84.0
        and south >= -80.0
        and max(east - west, north - south) <= WIDEST_DEG
    ):
        raise BadInput(
            f"the box {wanted.box}; accepted is west, south, east, north in degrees, at most {WIDEST_DEG:g} wide and high; "
            "draw it again"
        )
    utm_crs(LonLat((west + east) / 2, (south + north) / 2))
    key = _new_key(desk, wanted.name)
    box = [round(v, 6) for v in wanted.box]
    text = json.dumps({"name": plain_text(wanted.name), "box": box}) + "\n"
    try:
        write_bytes(desk.home / f"{key}{BOX}", text.encode())
    except OSError as error:
        raise _unwritable(error) from None
    command = f"graylight gather {key} --bounds {' '.join(f'{v:g}' for v in box)}"
    words = [
        "The box is kept; nothing was downloaded.",
        "Open data can be gathered for it here, or by the command; what that makes can be opened here.",
    ]
    return Begun(key=key, job=None, words=words, command=command)


def gather_box(desk: Desk, key: str, without: str | None) -> Job:
    """Begin to gather open data for a box that was kept; the box goes when its country is made.

    Raises
    ------
    NotThere, BadInput
        No box of that key is kept; it is too large, or a kind is not known.
    """
    kept = next((one for one in _boxes(desk) if one.key == key), None)
    if kept is None or kept.box is None:
        raise NotThere(f"no box {key!r} is kept; accepted is a key of GET /api/countries with a box")
    wanted = desk.outside.plan_round(Bounds(*kept.box), without)
    if (desk.home / key).exists():
        raise BadInput(f"a country {key!r} is there already; accepted is a box of another name; draw it anew")
    box = desk.home / f"{key}{BOX}"
    return desk.gather(key, kept.name, wanted, done=lambda: box.unlink(missing_ok=True))


def _from_files(desk: Desk, form: FormData) -> Begun:
    files = [one for _, one in form.multi_items() if isinstance(one, UploadFile)]
    if not files:
        raise BadInput("no file was sent; accepted are elevation and whatever else there is, as files")
    said = form.get("name")
    name = plain_text(said)[:MOST_NAME] if isinstance(said, str) and said.strip() else "New country"
    with ExitStack() as until:
        incoming = until.enter_context(receiving())
        for one in files:
            incoming.take(one.filename or "", cast(IO[bytes], one.file))
        sort = sort_out(incoming, name=name)
        key = _new_key(desk, name)
        kept = until.pop_all()  # the scratch folder stays until the job has ended
    try:
        job = desk.jobs.start(
            "country", f"Making {name}", lambda tick: _make(desk, key, sort.sources, kept, tick)
        )
    except BadInput:
        kept.close()
        raise
    return Begun(key=key, job=JobTold.model_validate(job.told()), words=list(sort.words))


def _make(desk: Desk, key: str, sources: Any, scratch: ExitStack, tick: Tick) -> dict[str, Any]:
    with scratch:
        make_country(desk.home / key, sources, Settings(), tick=tick)
    return {"key": key}


def _new_key(desk: Desk, name: str) -> str:
    """A folder's name made of a country's name: plain letters, and not there yet."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    stem = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:40] or "country"
    try:
        desk.home.mkdir(parents=True, exist_ok=True)
        taken = {one.name.removesuffix(BOX) for one in desk.home.iterdir()}
    except OSError as error:
        raise _unwritable(error) from None
    key, number = stem, 1
    while key in taken:
        number += 1
        key = f"{stem}-{number}"
    return key


def _unwritable(error: OSError) -> BadInput:
    return BadInput(
        f"the home folder can't be used ({error.strerror}); accepted is one that may be written to, on a disk with room; "
        "start again with --home"
    )
