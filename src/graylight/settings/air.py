"""Settings of how the air moves and what it carries."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from graylight.settings.group import Frozen

__all__ = ["AirSettings"]


class AirSettings(Frozen):
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
