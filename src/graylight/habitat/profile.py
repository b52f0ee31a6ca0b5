"""Animal profiles: every number a rule of thumb rests on, with its range, source and confidence.

Shipped profiles are TOML files in `profiles/`; a person can copy one into a country's animals/ folder and
change it. This module reads text, not folders.
"""

from __future__ import annotations

import tomllib
from importlib.resources import files
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, ValidationError

from graylight.errors import BadInput

__all__ = ["Number", "Profile", "read_profile", "shipped", "shipped_names", "shipped_text"]


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


class Number(_Frozen):
    """A rule of thumb: its value, what is allowed, how sure it is and whose it is."""

    value: float
    range: tuple[float, float]
    confidence: Literal["low", "fair", "good"]
    source: str
    conflict: str | None = None


class BandNumbers(_Frozen):
    """The elevation belt."""

    below_tops_m: float
    half_width_m: float
    tops_radius_m: float
    relief_needed_m: float


class FeedNumbers(_Frozen):
    """Where they eat."""

    slope_best_deg: float
    slope_limit_deg: float
    weight_open: float
    weight_green: float
    weight_band: float
    weight_slope: float
    weight_quiet: float
    warm_side_weight: float


class BedNumbers(_Frozen):
    """Where they lie by day."""

    slope_low_deg: float
    slope_best_deg: float
    slope_limit_deg: float
    unknown_cover: float
    closure_best: float
    edge_m: float
    wayout_m: float
    weight_cover: float
    weight_slope: float
    weight_edge: float
    weight_way_out: float
    weight_band: float
    weight_quiet: float


class KindNumbers(_Frozen):
    """One number for each kind of cover (see `graylight.ground.cover.Kind`)."""

    unknown: float
    timber: float
    brush: float
    grass: float
    rock_growth: float
    rock: float
    water: float
    snow: float
    worked: float


class QuietNumbers(_Frozen):
    """How far from people."""

    full_minutes: float
    least: float


class WayNumbers(_Frozen):
    """What their ways cost them."""

    flat_speed_m_s: float
    climb_s_per_m: float
    fall_s_per_m: float
    cliff_deg: float
    open_by_day: float
    rock_factor: float
    trace_factor: float


class PocketNumbers(_Frozen):
    """What makes a pocket and its score."""

    reach_m: float
    spacing_m: float
    feed_least_ha: float
    feed_ample_ha: float
    feed_from: float
    bed_from: float
    feed_part: float
    bed_part: float
    bed_off_feed_m: float
    weight_feed: float
    weight_bed: float
    weight_link: float
    weight_band: float
    weight_quiet: float
    weight_water: float
    weight_bowl: float
    weight_cold_side: float


class ChanceNumbers(_Frozen):
    """From score to chance."""

    elsewhere_good: float
    elsewhere_fair: float
    elsewhere_low: float
    sharpness: float
    sighting_odds: float
    sighting_reach_m: float


class WatchNumbers(_Frozen):
    """What watching them needs."""

    animal_m: float
    standoff_m: float
    dawn_feed: float
    dawn_crossing: float
    dawn_bed: float


class LoadNumbers(_Frozen):
    """What there is to carry out."""

    meat_kg: float
    head_kg: float
    dressing_hours: float


class Profile(_Frozen):
    """One animal at one season."""

    name: str
    words: str
    season: tuple[str, str]
    note: str
    band: BandNumbers
    feed: FeedNumbers
    bed: BedNumbers
    openness: KindNumbers
    growth: KindNumbers
    quiet: QuietNumbers
    ways: WayNumbers
    pocket: PocketNumbers
    chance: ChanceNumbers
    watch: WatchNumbers
    load: LoadNumbers | None = None  # profiles of one's own made before it was asked for have none
    numbers: dict[str, Number]


def shipped_names() -> list[str]:
    """Names of the profiles that come with the program."""
    return sorted(
        p.name[:-5]
        for p in files("graylight.habitat").joinpath("profiles").iterdir()
        if p.name.endswith(".toml")
    )


def shipped(name: str) -> Profile:
    """A profile that comes with the program.

    Raises
    ------
    BadInput
        No such profile.
    """
    if name not in shipped_names():
        raise BadInput(
            f"unknown animal {name!r}; accepted are {', '.join(shipped_names())}, or the name of a profile "
            "in the country's animals/ folder"
        )
    return read_profile(shipped_text(name), where=name)


def shipped_text(name: str) -> str:
    """The file of a profile that comes with the program, as TOML."""
    return files("graylight.habitat").joinpath("profiles", f"{name}.toml").read_text(encoding="utf-8")


def read_profile(text: str, *, where: str) -> Profile:
    """Read a profile and hold every number to its range.

    Raises
    ------
    BadInput
        Not TOML, a number missing, unknown or outside its range; `where` names the profile in the message.
    """
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(
            f"the animal profile {where} is not readable TOML: {error}; mend the line or copy a shipped profile"
        ) from None
    numbers: dict[str, Number] = {}
    plain: dict[str, Any] = {}
    for key, value in raw.items():
        plain[key] = _values(key, value, numbers, where) if isinstance(value, dict) else value
    try:
        return Profile(**plain, numbers=numbers)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(p) for p in first["loc"])
        raise BadInput(
            f"the animal profile {where}: {place}: {first['msg'].lower()}; compare with a shipped profile"
        ) from None


def _values(group: str, table: dict[str, Any], numbers: dict[str, Number], where: str) -> dict[str, float]:
    values = {}
    for key, entry in table.items():
        name = f"{group}.{key}"
        try:
            number = Number.model_validate(entry)
        except ValidationError:
            raise BadInput(
                f"the animal profile {where}: {name} is {entry!r}; accepted is a table with value, range, confidence and source"
            ) from None
        low, high = number.range
        if not low <= number.value <= high:
            raise BadInput(
                f"the animal profile {where}: {name} is {number.value:g}; accepted is {low:g} to {high:g}"
            )
        numbers[name] = number
        values[key] = number.value
    return values
