"""A country opened: its grid, layers, features, settings and facts, read as they are asked for."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path, PurePosixPath
from typing import Any, Self, get_args

from numpy.typing import NDArray

from graylight.country.ahead import Ahead
from graylight.country.atomic import building, replace_set, undisturbed, write_bytes, write_whole
from graylight.country.feature import Feature, plain_text
from graylight.country.layers import LAYERS, LayerSpec, Scheme
from graylight.country.raster import read_layer, write_layer
from graylight.country.settings_file import changed, read_settings, write_settings
from graylight.country.tables import read_table
from graylight.errors import BadInput
from graylight.grid import Grid
from graylight.plan.model import LayerFact
from graylight.settings import Settings
from graylight.work import Tick, part, silent, spread

__all__ = ["FACTS", "FORMAT", "PACKAGE", "SETTINGS", "Country", "Feature", "facts_text", "layer_folder"]

FORMAT = "graylight country 1"
FACTS, PACKAGE, SETTINGS = "country.json", "country.gpkg", "settings.toml"
AGAIN = "put a copy back or make the country anew"
LAYER_FOLDER, READY_FOLDER = "layers", ".layers.ready"


def layer_folder(folder: Path) -> Path:
    """Where a country's layers lie."""
    return folder / LAYER_FOLDER


@dataclass(frozen=True)
class Country:
    """An open handle on a country's folder; cheap: nothing but its facts and settings is read before it is
    asked for.

    Parameters
    ----------
    folder
        Where it lies.
    name
        What the person calls it.
    invented
        Whether it does not exist.
    grid
        Its frame.
    settings
        Its settings, as in its file or changed for this run (`with_settings`).
    facts
        Where each layer that was brought in came from, and what was done to it.
    record
        Sentences about the making of the country: what was left out, and what looks doubtful ("caution:
        ..."). cover_scheme
        Legend of the land cover codes.
    """

    folder: Path
    name: str
    invented: bool
    grid: Grid
    settings: Settings
    facts: tuple[LayerFact, ...]
    record: tuple[str, ...]
    cover_scheme: Scheme
    _ahead: Ahead = field(default_factory=Ahead, compare=False, repr=False)

    @classmethod
    def open(cls, folder: Path) -> Self:
        """Open a country's folder.

        Raises
        ------
        BadInput
            It is not a country's folder, or its facts or settings can't be read.
        """
        path = folder / FACTS
        if not path.is_file():
            what = "has no country.json" if folder.is_dir() else "is not there"
            raise BadInput(
                f"{str(folder)!r} is not a country: the folder {what}; accepted is a folder made by "
                "'graylight new' or 'graylight demo'; check the path"
            )
        given = _facts(path)
        text = _text(folder / SETTINGS)
        return cls(folder=folder, settings=read_settings(text or ""), **given)

    def has(self, layer: str) -> bool:
        """Whether a layer is there."""
        return self._path(_spec(layer)).is_file()

    def read(self, layer: str, *, part: tuple[slice, slice] | None = None) -> NDArray[Any]:
        """Read a layer, whole or a part of its rows and columns.

        Returns
        -------
        (rows, cols), or (bands, rows, cols) for a layer of several bands
            float32 with NaN where not known; classes and labels in their own dtype.

        Raises
        ------
        BadInput
            The layer is not there, or its file is damaged.
        """
        spec = _spec(layer)
        if not self.has(layer):
            later = "" if spec.writer == "entry" else "; run 'graylight plan' first"
            raise BadInput(
                f"the country {self.name!r} has no layer {layer!r}; accepted are "
                f"{', '.join(self.layers())}{later}"
            )
        ready = self._ahead.take(layer) if part is None else None
        return read_layer(self._path(spec), spec, self.grid, part=part) if ready is None else ready

    def read_ahead(self, *layers: str) -> None:
        """Begin reading those of the layers that are there, on other threads: `read` will take them up."""
        for layer in layers:
            if self.has(layer):
                spec = _spec(layer)
                self._ahead.start(layer, partial(read_layer, self._path(spec), spec, self.grid))

    def check_whole(self) -> None:
        """See that all that was brought in is still there: a plan without it would leave out, say, private ground.

        Raises
        ------
        BadInput
            A layer or the GeoPackage is gone.
        """
        gone = [f"layers/{f.name}.tif" for f in self.facts if f.name in LAYERS and not self.has(f.name)]
        gone += [] if (self.folder / PACKAGE).is_file() else [PACKAGE]
        if gone:
            raise BadInput(
                f"the country {self.name!r} has lost {', '.join(gone)}; accepted is a country with all that was "
                "brought in; put it back, or make the country anew"
            )

    def check_writable(self) -> None:
        """See that the folder can be written to, before long work.

        Raises
        ------
        BadInput
            It can't.
        """
        with _writing(self.folder), building(layer_folder(self.folder), "making"):
            pass

    def layers(self) -> list[str]:
        """Names of the layers that are there."""
        return [name for name in LAYERS if self.has(name)]

    def write_layers(
        self,
        layers: Mapping[str, NDArray[Any]],
        *,
        then: Callable[[], None] | None = None,
        tick: Tick = silent,
    ) -> None:
        """Write layers, all or none: a run killed in the middle leaves those that were there.

        Parameters
        ----------
        layers
            Values by the layer's name; float layers with NaN where not known.
        then
            What must be written with them: done at once when they are in place, and not to be stopped in between.

        Raises
        ------
        BadInput
            The folder can't be written to.
        """
        home = layer_folder(self.folder)
        self._ahead.forget()
        with _writing(self.folder), building(home, "making") as fresh:
            jobs = [
                _job(fresh / f"{name}.tif", _spec(name), values, self.grid) for name, values in layers.items()
            ]
            spread(jobs, tick=part(tick, 0.0, 0.95))
            with undisturbed():
                replace_set(fresh, self.folder / READY_FOLDER, home)
                if then is not None:
                    then()
        tick(1.0)

    def stamp(self, layer: str) -> str:
        """A text that changes when the layer's file is written anew; "none" when the layer is not there."""
        try:
            told = self._path(_spec(layer)).stat()
        except FileNotFoundError:
            return "none"
        return f"{told.st_mtime_ns} {told.st_size} {told.st_ino}"

    def _path(self, spec: LayerSpec) -> Path:
        """Where a layer lies; a set whose move a killed run left unfinished is read from where it waits."""
        waiting = self.folder / READY_FOLDER / f"{spec.name}.tif"
        return waiting if waiting.is_file() else layer_folder(self.folder) / f"{spec.name}.tif"

    def features(self, table: str) -> list[Feature]:
        """All features of a table in the country's CRS; none when the table is not there."""
        return read_table(self.folder / PACKAGE, table)

    def with_settings(self, **changes: Any) -> Self:
        """The country with other settings for this run; nothing is saved.

        Raises
        ------
        BadInput
            An unknown setting or a value outside its range.
        """
        return replace(self, settings=changed(self.settings, **changes))

    def save_settings(self, settings: Settings) -> Self:
        """Save settings, and return the country with them."""
        self.write_text(SETTINGS, write_settings(settings))
        return replace(self, settings=settings)

    def own_profiles(self) -> list[str]:
        """Names of the animal profiles in the country's animals/ folder."""
        return sorted(path.stem for path in (self.folder / "animals").glob("*.toml"))

    def read_text(self, name: str) -> str | None:
        """A text file below the folder; None when it is not there."""
        return _text(self._below(name))

    def write_text(self, name: str, text: str) -> Path:
        """Replace a text file below the folder, whole or not at all; line ends as given, UTF-8."""
        return self.write_bytes(name, text.encode())

    def write_bytes(self, name: str, data: bytes) -> Path:
        """Replace a file below the folder, whole or not at all.

        Raises
        ------
        BadInput
            The folder can't be written to.
        ValueError
            The name leads out of the folder: a mistake in the program.
        """
        path = self._below(name)
        with _writing(self.folder):
            write_bytes(path, data)
        return path

    def remove(self, name: str) -> None:
        """Take away a file below the folder; nothing happens when it is not there.

        Raises
        ------
        BadInput
            The folder can't be written to.
        ValueError
            The name leads out of the folder: a mistake in the program.
        """
        with _writing(self.folder):
            self._below(name).unlink(missing_ok=True)

    def read_bytes(self, name: str) -> bytes | None:
        """A file below the folder; None when it is not there.

        Raises
        ------
        BadInput
            It can't be read.
        ValueError
            The name leads out of the folder: a mistake in the program.
        """
        try:
            return self._below(name).read_bytes()
        except FileNotFoundError:
            return None
        except OSError as error:
            raise BadInput(
                f"{name} can't be read ({error.strerror or error}); accepted is a file with the right to read it; "
                "change its rights"
            ) from None

    def write_raster(self, name: str, spec: LayerSpec, values: NDArray[Any]) -> Path:
        """Replace a raster below the folder that is not one of the country's layers, whole or not at all.

        Raises
        ------
        BadInput
            The folder can't be written to.
        """
        path = self._below(name)
        with _writing(self.folder):
            write_whole(path, lambda fresh: write_layer(fresh, spec, values, self.grid))
        return path

    def _below(self, name: str) -> Path:
        parts = PurePosixPath(name).parts
        if not parts or ".." in parts or PurePosixPath(name).is_absolute():
            raise ValueError(f"{name!r} does not lie below the country's folder")
        return self.folder.joinpath(*parts)


@contextmanager
def _writing(folder: Path) -> Iterator[None]:
    """Turn the system's refusals to write into an answer for the person."""
    try:
        yield
    except OSError as error:
        raise BadInput(
            f"can't write into {str(folder)!r} ({error.strerror or error}); accepted is a folder that may "
            "be written to, on a disk with room; change its rights or choose another"
        ) from None


def _job(path: Path, spec: LayerSpec, values: NDArray[Any], grid: Grid) -> Any:
    return lambda: write_layer(path, spec, values, grid)


def _spec(layer: str) -> LayerSpec:
    if layer not in LAYERS:
        raise ValueError(f"no layer is called {layer!r}; add it to graylight.country.layers")
    return LAYERS[layer]


def _text(path: Path) -> str | None:
    try:
        return path.read_text(encoding="utf-8-sig")  # some editors put a mark in front
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError):
        raise BadInput(
            f"{path.name} can't be read as UTF-8 text; accepted is a text file; mend or remove it"
        ) from None


def facts_text(country: Country) -> str:
    """What country.json holds: the frame, where each layer came from and what was done; no path, no clock."""
    grid = country.grid
    given = {
        "format": FORMAT,
        "name": country.name,
        "invented": country.invented,
        "grid": {"crs": grid.crs, "rows": grid.rows, "cols": grid.cols, "transform": list(grid.transform)},
        "cover_scheme": country.cover_scheme,
        "layers": [fact.model_dump(mode="json") for fact in country.facts],
        "record": list(country.record),
    }
    return json.dumps(given, indent=1, ensure_ascii=False) + "\n"


def _facts(path: Path) -> dict[str, Any]:
    """Facts of a country from its country.json."""
    text = _text(path) or ""
    try:
        given = json.loads(text)
        if given["format"] != FORMAT:
            raise BadInput(
                f"country.json has the format {given['format']!r}; accepted is {FORMAT!r}; make the country "
                "anew, or use the version of graylight that made it"
            )
        return {
            "name": plain_text(given["name"]),
            "invented": bool(given["invented"]),
            "grid": _grid(given["grid"]),
            "facts": tuple(LayerFact.model_validate(fact) for fact in given["layers"]),
            "record": tuple(map(str, given["record"])),
            "cover_scheme": _scheme(given["cover_scheme"]),
        }
    except (ValueError, KeyError, TypeError):
        raise BadInput(
            f"country.json can't be read; accepted is the file that graylight wrote; {AGAIN}"
        ) from None


def _grid(given: dict[str, Any]) -> Grid:
    a, b, c, d, e, f = map(float, given["transform"])
    rows, cols, crs = given["rows"], given["cols"], str(given["crs"])
    square = a > 0.0 and e == -a and b == d == 0.0 and all(map(math.isfinite, (a, c, f)))
    counted = all(isinstance(n, int) and n > 0 for n in (rows, cols))
    if not (square and counted and re.fullmatch(r"EPSG:32[67](0[1-9]|[1-5]\d|60)", crs)):
        raise BadInput(
            f"country.json has a grid of {rows} x {cols} cells, {crs}, transform {[a, b, c, d, e, f]}; accepted are square "
            f"north-up cells in a UTM zone (EPSG:326zz or 327zz), b = d = 0 and e = -a; {AGAIN}"
        )
    return Grid(rows, cols, (a, b, c, d, e, f), crs)


def _scheme(given: object) -> Scheme:
    for known in get_args(Scheme):
        if given == known:
            return known  # type: ignore[no-any-return]
    raise BadInput(
        f"country.json has the cover scheme {given!r}; accepted is {' or '.join(get_args(Scheme))}; {AGAIN}"
    )
