"""What a person can set, with default, allowed range and source. No file is touched here (see country.settings)."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

__all__ = [
    "AirSettings", "ApproachSettings", "CampSettings", "GlareSettings", "OpticsSettings", "PackSettings", "Settings",
    "SightSettings", "WalkSettings", "WatchSettings",
]  # fmt: skip


class _Frozen(BaseModel):
    # strict: `lookouts = 2.5`, `lookouts = true` and `lookouts = "3"` are mistakes, not ways of writing 3
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    def _must(self, fine: bool, one: str, words: str, other: str) -> None:
        """See that two settings go together; names with dots lead into groups."""
        if not fine:
            raise ValueError(
                f"{one} is {self._value(one)} and {other} is {self._value(other)}; accepted is {one} {words} {other}; "
                "change one of them, or take both out for the defaults"
            )

    def _value(self, path: str) -> str:
        found: Any = self
        for name in path.split("."):
            found = getattr(found, name)
        return f"{found:g}"


class SightSettings(_Frozen):
    """How sight is reckoned."""

    eye_m: float = Field(
        1.0,
        ge=0.2,
        le=3.0,
        description="Eye above the ground, seated. Common practice: 0.9-1.1 m seated, 1.6 m standing.",
    )
    refraction: float = Field(
        1 / 7,
        ge=0.0,
        le=0.3,
        description="Refraction coefficient k; GDAL's default is 6/7 = 1 - k. Surveying practice 0.13.",
    )
    elevation_error_m: float = Field(
        2.0,
        ge=0.0,
        le=30.0,
        description="Stated error of the elevation: margins inside it are touch-and-go. Value from memory for 10 m grids.",
    )
    thin_closure: float = Field(
        0.1, ge=0.0, le=1.0, description="Canopy closure below which nothing is hidden. Value from memory."
    )
    dense_closure: float = Field(
        0.5,
        ge=0.0,
        le=1.0,
        description="Canopy closure from which a strip is taken as a wall; between the two it may or may not hide. Value from memory.",
    )
    radius_m: float = Field(
        2400.0,
        ge=300.0,
        le=10000.0,
        description="How far from a pocket a lookout may be. Common practice: a mile is usual.",
    )
    closure_error: float = Field(
        0.15,
        ge=0.0,
        le=0.5,
        description="Stated error of the canopy closure either way; makes the low and high of what foliage lets through. Value from memory, confidence low.",
    )
    crown_base_share: float = Field(
        0.25,
        ge=0.0,
        le=0.8,
        description="Height at which crowns begin, as a share of the tree's, where it is not known. Value from memory: spruce and fir 0.1-0.3, lodgepole pine 0.4-0.6; confidence low.",
    )
    tree_m: float = Field(
        3.0,
        ge=0.5,
        le=10.0,
        description="Canopy lower than this is brush, with leaves down to the ground and no trunks. Proposed default, confidence low.",
    )
    stems_per_ha: float = Field(
        700.0,
        ge=0.0,
        le=20000.0,
        description="Trunks per hectare of closed timber. Value from memory for grown mountain conifers, confidence low.",
    )
    stem_m: float = Field(
        0.22,
        ge=0.0,
        le=2.0,
        description="Thickness of a trunk, m. Value from memory, confidence low. With the stems it hides 90 % at 150 m; hiding cover with undergrowth does so at 61 m (Thomas 1979).",
    )
    clear_light: float = Field(
        0.5,
        ge=0.05,
        le=1.0,
        description="Ground seen through foliage is clear from this part of the light, by the low reading. Proposed default.",
    )
    hidden_light: float = Field(
        0.1,
        ge=0.0,
        le=0.9,
        description="Less light than this, by the high reading, shows nothing. Proposed default.",
    )

    @model_validator(mode="after")
    def _together(self) -> Self:
        self._must(self.thin_closure < self.dense_closure, "thin_closure", "below", "dense_closure")
        self._must(self.hidden_light < self.clear_light, "hidden_light", "below", "clear_light")
        return self


class OpticsSettings(_Frozen):
    """What the eye gets through each glass."""

    eye_arcsec: float = Field(
        60.0,
        ge=30.0,
        le=180.0,
        description="Finest angle the naked eye tells apart, arc seconds. Normal acuity is one arc minute (6/6, 20/20); confidence good by day, coarser in twilight.",
    )
    dawes_arcsec_mm: float = Field(
        116.0,
        ge=100.0,
        le=140.0,
        description="Limit of a glass times its aperture, arc seconds x mm (Dawes 1867; 116 is the usual figure, 138 by Rayleigh). Confidence good.",
    )
    small_power: float = Field(
        8.0, ge=4.0, le=12.0, description="Magnification of small binoculars. Common practice: 8x42."
    )
    small_aperture_mm: float = Field(
        42.0, ge=15.0, le=60.0, description="Their aperture, mm. Common practice: 8x42."
    )
    middle_power: float = Field(
        10.0, ge=6.0, le=14.0, description="Magnification of the usual binoculars. Common practice: 10x42."
    )
    middle_aperture_mm: float = Field(
        42.0, ge=20.0, le=70.0, description="Their aperture, mm. Common practice: 10x42."
    )
    large_power: float = Field(
        15.0, ge=10.0, le=30.0, description="Magnification of binoculars on a tripod. Common practice: 15x56."
    )
    large_aperture_mm: float = Field(
        56.0, ge=40.0, le=100.0, description="Their aperture, mm. Common practice: 15x56."
    )
    scope_power: float = Field(
        45.0, ge=15.0, le=80.0, description="Magnification of the spotting scope. Common practice: 20-60x80."
    )
    scope_aperture_mm: float = Field(
        80.0, ge=40.0, le=115.0, description="Its aperture, mm. Common practice: 20-60x80."
    )
    body_part: float = Field(
        0.5,
        ge=0.2,
        le=1.0,
        description="To find: the body's depth, as a part of the height of the animal's back. Value from memory (0.45 m of a deer), confidence fair.",
    )
    tell_m: float = Field(
        0.10,
        ge=0.02,
        le=0.5,
        description="To tell apart (antlered or not, young or old): the least dimension to be made out, m. Value from memory, confidence low.",
    )
    judge_m: float = Field(
        0.04,
        ge=0.01,
        le=0.2,
        description="To judge: thickness of an antler's beam, m. Value from memory, confidence low.",
    )
    cycles: float = Field(
        1.0,
        ge=0.5,
        le=8.0,
        description="Line pairs across that dimension for an even chance. Johnson 1958: detection 1.0, orientation 1.4, recognition 4.0, identification 6.4, all across the whole target; here the dimension goes by the task, so 1.0. Confidence fair.",
    )
    field_part: float = Field(
        0.5,
        ge=0.1,
        le=1.0,
        description="Part of the distance by the chart that is reached in the field (contrast, haze, a hand that shakes). Proposed default: brings 10x42 to about 3.6 km for finding a deer and 45x80 to 1.1 km for judging; confidence low.",
    )
    cn2_still: float = Field(
        1e-15,
        ge=1e-17,
        le=1e-12,
        description="Structure constant of the air, m^-2/3, while the sun is down or at the horizon. Value from memory, confidence low.",
    )
    cn2_strong: float = Field(
        1e-13,
        ge=1e-17,
        le=1e-12,
        description="The same over sunlit ground with the sun high. Value from memory, confidence low.",
    )
    strong_sun_deg: float = Field(
        35.0,
        ge=5.0,
        le=80.0,
        description="Sun altitude from which the shimmer is strong; from the horizon to it the power of ten grows evenly. Proposed default, confidence low: cloud and wind change it.",
    )


class GlareSettings(_Frozen):
    """Where the sun stands as one looks at a pocket, by the angle between the two as seen from the lookout."""

    glass_deg: float = Field(
        10.0,
        ge=1.0,
        le=30.0,
        description="Nearer than this the sun is in the glass: nothing is made out, and to look is a danger to the eyes. Proposed default, confidence low.",
    )
    near_deg: float = Field(
        30.0,
        ge=5.0,
        le=90.0,
        description="Nearer than this the sun is near: its veil lies over the picture and a hood or hat helps. The equation for the veil of light in the eye, which falls with the square of the angle, is held valid from 1 to 30 degrees (CIE 146:2002). Taking its end for a limit is a proposed default, confidence low.",
    )
    behind_deg: float = Field(
        120.0,
        ge=90.0,
        le=175.0,
        description="Farther than this the sun is behind the watcher, and lights what is watched squarely. Proposed default, confidence low.",
    )

    @model_validator(mode="after")
    def _together(self) -> Self:
        self._must(self.glass_deg <= self.near_deg, "glass_deg", "at most", "near_deg")
        return self


class WatchSettings(_Frozen):
    """What makes a place good to sit and glass from."""

    best_near_m: float = Field(
        500.0, ge=0.0, le=5000.0, description="Nearer than this a lookout is worth less. Common practice."
    )
    best_far_m: float = Field(
        1600.0,
        ge=100.0,
        le=8000.0,
        description="Farther than this a lookout is worth less. Common practice: about a mile.",
    )
    seat_slope_deg: float = Field(
        25.0, ge=5.0, le=45.0, description="Steepest ground to sit on. Proposed default."
    )
    seat_open_m: float = Field(
        18.0,
        ge=0.0,
        le=60.0,
        description="How far one may shift to see past trees. Common practice: 15-25 m.",
    )
    walk_limit_hours: float = Field(
        3.5, ge=0.25, le=24.0, description="Longest walk in to a lookout. Proposed default."
    )
    settle_minutes: int = Field(
        40, ge=0, le=180, description="In place this long before usable light. Common practice: 30-60 min."
    )

    @model_validator(mode="after")
    def _together(self) -> Self:
        self._must(self.best_near_m <= self.best_far_m, "best_near_m", "at most", "best_far_m")
        return self


class WalkSettings(_Frozen):
    """How the person walks."""

    pace_factor: float = Field(
        1.0, ge=0.3, le=3.0, description="Times longer than the published pace; a measured factor goes here."
    )
    pack_factor: float = Field(
        1.25, ge=1.0, le=2.0, description="Times longer with a day pack. Proposed default: 20-30 % longer."
    )
    dark_factor: float = Field(
        1.25, ge=1.0, le=3.0, description="Times longer in the dark. Proposed default: 25 % longer."
    )
    spread: float = Field(
        0.12,
        ge=0.0,
        le=0.5,
        description="Stated spread of a walking time either way. Irmischer & Clarke 2018: route time within 10 %.",
    )
    scramble_deg: float = Field(
        35.0,
        ge=20.0,
        le=45.0,
        description="Steeper than this is not walked loaded or in the dark. Proposed default.",
    )
    shut_deg: float = Field(
        45.0, ge=30.0, le=60.0, description="Steeper than this is not walked at all. Proposed default."
    )
    private_open: bool = Field(
        False, description="Walk over private holdings. Off unless the owner has said so."
    )

    @model_validator(mode="after")
    def _together(self) -> Self:
        self._must(self.scramble_deg <= self.shut_deg, "scramble_deg", "at most", "shut_deg")
        return self


class AirSettings(_Frozen):
    """How the air moves over the ground, and what it carries."""

    down_slope_ms: float = Field(
        1.5,
        ge=0.2,
        le=5.0,
        description="Wind down a slope at night, m/s. Utah State University, wildland fire course, unit 6: 2-7 mph (0.9-3.1 m/s). Rule of thumb.",
    )
    up_slope_ms: float = Field(
        2.5,
        ge=0.2,
        le=8.0,
        description="Wind up a sunlit slope, m/s. NWCG PMS 437: 3-8 mph (1.3-3.6 m/s); the Utah course says 8-12 mph. Rule of thumb.",
    )
    down_valley_ms: float = Field(
        2.0,
        ge=0.2,
        le=10.0,
        description="Wind down a valley at night, m/s, near the ground. The Utah course: 8-14 mph in large valleys; less in small ones. Proposed default, confidence low.",
    )
    up_valley_ms: float = Field(
        3.0,
        ge=0.2,
        le=12.0,
        description="Wind up a valley by day, m/s, near the ground. The Utah course: 12-20 mph in large valleys; less in small ones. Proposed default, confidence low.",
    )
    up_slope_minutes: float = Field(
        30.0,
        ge=0.0,
        le=180.0,
        description="The air turns up a slope this long after the sun first reaches it. NWCG PMS 437: upslope breezes start within a few minutes; common practice 30-60 min.",
    )
    down_slope_minutes: float = Field(
        15.0,
        ge=-60.0,
        le=180.0,
        description="The air turns down a slope this long after its last sun. NWCG PMS 437: soon after slopes go into afternoon shadow. Rule of thumb.",
    )
    up_valley_minutes: float = Field(
        150.0,
        ge=0.0,
        le=360.0,
        description="The air turns up a valley this long after its floor's first sun. US Army course CM3300, field weather: up-valley winds begin one to four hours after sunrise.",
    )
    down_valley_minutes: float = Field(
        120.0,
        ge=-60.0,
        le=360.0,
        description="The air turns down a valley this long after its floor's last sun. The same course: down-valley winds start one to three hours after sunset.",
    )
    turn_minutes: float = Field(
        30.0,
        ge=5.0,
        le=120.0,
        description="Unreliable this long before and after a turn: the air dies down and comes from any side. Common practice, no source.",
    )
    smooth_m: float = Field(
        90.0,
        ge=10.0,
        le=500.0,
        description="The ground is smoothed over this span first: air does not follow small bumps. Proposed default.",
    )
    full_slope_deg: float = Field(
        8.0,
        ge=1.0,
        le=30.0,
        description="From this slope on the slope wind is full; on gentler ground it fades, to none on the level. Proposed default.",
    )
    valley_km2: float = Field(
        1.0,
        ge=0.05,
        le=50.0,
        description="A drainage has a valley wind where more ground than this drains through it, km2. Proposed default.",
    )
    valley_depth_m: float = Field(
        60.0,
        ge=5.0,
        le=500.0,
        description="The valley wind fades out this high above the floor. Proposed default.",
    )
    valley_reach_m: float = Field(
        500.0,
        ge=50.0,
        le=5000.0,
        description="The valley's axis is taken over this length of its drainage. Proposed default.",
    )
    exposed_ms: float = Field(
        4.5,
        ge=0.5,
        le=20.0,
        description="A general wind of this speed (as forecast) rules on crests, whatever the slope wind would do. Common practice, about 10 mph; no source.",
    )
    sheltered_ms: float = Field(
        9.0,
        ge=0.5,
        le=40.0,
        description="The same in the bottoms of valleys. Common practice, about 20 mph; no source.",
    )
    exposure_m: float = Field(
        1000.0,
        ge=100.0,
        le=5000.0,
        description="How exposed ground is goes by its height between the lowest and the highest ground within this distance. Proposed default.",
    )
    open_part: float = Field(
        0.4,
        ge=0.05,
        le=1.0,
        description="Part of the forecast wind that blows near the ground in the open. Fire practice for open fuel, value from memory.",
    )
    timber_part: float = Field(
        0.1,
        ge=0.01,
        le=1.0,
        description="The same in dense timber. NWCG fire behaviour course 8.2: 0.1 in dense, fully sheltered stands.",
    )
    shelter_closure: float = Field(
        0.5, ge=0.1, le=1.0, description="Canopy closure from which timber counts as dense. Proposed default."
    )
    lee_deg: float = Field(
        20.0,
        ge=5.0,
        le=60.0,
        description="Where a ruling general wind blows down over ground that falls more steeply than this, the air behind it turns: unreliable. Common practice, no source.",
    )
    night_class: Literal["D", "E", "F"] = Field(
        "F",
        description="Pasquill class of the air that flows down at night: how slowly scent thins (Briggs 1973, rural, doi:10.2172/5118833). A clear, quiet night.",
    )
    day_class: Literal["A", "B", "C", "D"] = Field(
        "B", description="Pasquill class of the air over sunlit slopes. Light wind and sun."
    )
    windy_class: Literal["C", "D", "E"] = Field(
        "D", description="Pasquill class where the general wind rules. Neutral air."
    )
    meander: float = Field(
        4.0,
        ge=1.0,
        le=8.0,
        description="In light air at night the drift sways: over an hour it is this much wider than the class says. US NRC guide 1.145 for class F, value from memory; confidence low.",
    )
    scent_full_m: float = Field(
        100.0,
        ge=10.0,
        le=1000.0,
        description="Full scent up to this distance in the middle of the drift, in night air of 1.5 m/s. Common practice, no source.",
    )
    scent_gone_m: float = Field(
        1600.0,
        ge=200.0,
        le=10000.0,
        description="No scent from this distance on, in the same air. Common practice, about a mile; no source.",
    )
    scent_minutes: float = Field(
        45.0,
        ge=5.0,
        le=240.0,
        description="Air is followed for this long from where it was let go. Proposed default.",
    )
    still_ms: float = Field(
        0.3,
        ge=0.05,
        le=1.0,
        description="Slower air counts as still: scent stays and spreads to all sides. Beaufort 0 is under 0.3 m/s.",
    )
    pool_ms: float = Field(
        0.05,
        ge=0.005,
        le=0.5,
        description="How fast scent spreads in still air, m/s. Proposed default, confidence low.",
    )

    @model_validator(mode="after")
    def _together(self) -> Self:
        self._must(self.exposed_ms <= self.sheltered_ms, "exposed_ms", "at most", "sheltered_ms")
        self._must(self.scent_full_m < self.scent_gone_m, "scent_full_m", "below", "scent_gone_m")
        self._must(self.timber_part <= self.open_part, "timber_part", "at most", "open_part")
        return self


class CampSettings(_Frozen):
    """What makes a place to camp."""

    slope_deg: float = Field(
        8.0, ge=1.0, le=25.0, description="Steepest ground to sleep on, by the grid. Proposed default."
    )
    setback_m: float = Field(
        61.0,
        ge=15.0,
        le=500.0,
        description="Back from lakes and streams. Common practice on public land: 200 ft (61 m); orders range from 100 to 200 ft and more: check local rules.",
    )
    keep_m: float = Field(
        800.0,
        ge=0.0,
        le=5000.0,
        description="Least distance from pockets. Common practice, about half a mile; elk keep 560-880 m from people (Wisdom 2018).",
    )
    shelter_m: float = Field(
        60.0,
        ge=10.0,
        le=500.0,
        description="Trees or brush count as shelter when they stand within this distance. Proposed default.",
    )
    water_minutes: float = Field(
        30.0, ge=1.0, le=240.0, description="Longest walk to water. Proposed default."
    )
    lookout_minutes: float = Field(
        120.0, ge=5.0, le=600.0, description="Longest walk from camp to a lookout. Proposed default."
    )
    scent_limit: float = Field(
        0.1,
        ge=0.0,
        le=1.0,
        description="No camp where more scent than this (0 to 1) would reach a pocket. Proposed default.",
    )
    seen_limit: float = Field(
        0.25,
        ge=0.0,
        le=1.0,
        description="No camp in sight of more than this part of any pocket. Proposed default.",
    )
    apart_m: float = Field(
        500.0, ge=50.0, le=5000.0, description="Camps offered lie this far apart. Proposed default."
    )
    most: int = Field(4, ge=1, le=12, description="How many camps are offered.")


class ApproachSettings(_Frozen):
    """What being seen or smelled on the way counts."""

    seen_weight: float = Field(
        4.0,
        ge=0.0,
        le=100.0,
        description="On the hidden way a minute in full view of the pockets counts as this many minutes more. Proposed default, confidence low.",
    )
    scent_weight: float = Field(
        6.0,
        ge=0.0,
        le=100.0,
        description="The same for a minute from which scent reaches them. Proposed default, confidence low: a seen walker may be taken calmly, a smelled one is not.",
    )
    between: float = Field(
        0.2,
        ge=0.0,
        le=1.0,
        description="Part of both weights for the way in between the quickest and the hidden. Proposed default.",
    )
    seen_dark: float = Field(
        0.3,
        ge=0.0,
        le=1.0,
        description="In the dark being in view counts this much of what it does in the light (skyline, lamp). Proposed default, confidence low.",
    )


class PackSettings(_Frozen):
    """Carrying an animal out."""

    people: int = Field(1, ge=1, le=12, description="How many carry.")
    load_kg: float = Field(
        25.0,
        ge=5.0,
        le=60.0,
        description="Most that one person carries at a time, kg. Common practice: 50-60 lb.",
    )
    body_kg: float = Field(
        80.0, ge=40.0, le=160.0, description="Weight of the person who carries, kg. Proposed default."
    )
    more: float = Field(
        0.15,
        ge=0.0,
        le=1.0,
        description="Part that weights in the field come out above the average. Proposed default.",
    )
    hours_limit: float = Field(
        12.0,
        ge=1.0,
        le=72.0,
        description="Longest time from the kill until all of it is at the start, hours; past it a place is vetoed. Proposed default: the first night decides whether the meat cools.",
    )
    terrain_on: float = Field(
        1.1, ge=1.0, le=2.5, description="Pandolf's terrain factor on a path: dirt road. Value from memory."
    )
    terrain_off: float = Field(
        1.3,
        ge=1.0,
        le=2.5,
        description="Pandolf's terrain factor off path: between light brush 1.2 and heavy brush 1.5. Values from memory.",
    )


class Settings(_Frozen):
    """All of a country's settings; the defaults give a plan without a word from the person."""

    animal: str = Field("mule-deer-summer", description="Name of an animal profile.")
    date: dt.date = Field(
        dt.date(2026, 8, 27),
        description="The morning planned for. Never today: the same input gives the same plan.",
    )
    units: Literal["us", "metric"] = Field(
        "us", description="Feet and miles, or metres and kilometres, at the edge."
    )
    lookouts: int = Field(3, ge=1, le=8, description="How many lookouts the best set may have.")
    start: str | None = Field(
        None, description="Where the walk begins (a PLACE); none: the best road end or trailhead."
    )
    legal_minutes: int = Field(
        30,
        ge=-60,
        le=60,
        description="Legal light begins this long before sunrise by the level horizon. Differs by state: check current regulations.",
    )
    usable_light_sun_deg: float = Field(
        -8.0,
        ge=-12.0,
        le=-4.0,
        description="Sun altitude at first usable light through good glass. Proposed default, range -12 to -6.",
    )
    treeline_m: float | None = Field(
        None,
        ge=0.0,
        le=6000.0,
        description="Treeline; none: from the canopy or, without it, by a stated rule from latitude.",
    )
    memory_gb: float = Field(
        2.0,
        ge=0.1,
        le=256.0,
        description="Memory a run may take; larger country is refused before the start.",
    )
    sight: SightSettings = SightSettings()
    optics: OpticsSettings = OpticsSettings()
    glare: GlareSettings = GlareSettings()
    watch: WatchSettings = WatchSettings()
    walk: WalkSettings = WalkSettings()
    air: AirSettings = AirSettings()
    camp: CampSettings = CampSettings()
    approach: ApproachSettings = ApproachSettings()
    pack: PackSettings = PackSettings()

    @field_validator("date", mode="before")
    @classmethod
    def _written_out(cls, value: Any) -> Any:
        """A date, or its text; bare numbers would be taken for seconds since 1970."""
        if isinstance(value, str) and re.fullmatch(r"\d{4}-\d{2}-\d{2}", value):
            return dt.date.fromisoformat(value)
        if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
            return value
        raise ValueError("a date is written YYYY-MM-DD")

    @field_validator("date")
    @classmethod
    def _covered(cls, value: dt.date) -> dt.date:
        if not 1900 <= value.year <= 2050:
            raise ValueError("the date must lie in 1900-2050, the span of the ephemeris")
        return value

    @model_validator(mode="after")
    def _together(self) -> Self:
        steep, shut = "watch.seat_slope_deg", "walk.shut_deg"
        self._must(self.watch.seat_slope_deg <= self.walk.shut_deg, steep, "at most", shut)
        return self
