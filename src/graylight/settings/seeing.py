"""Settings of sight, of what each glass shows, of glare, and of where to sit."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from graylight.settings.group import Frozen

__all__ = ["GlareSettings", "OpticsSettings", "SightSettings", "WatchSettings"]


class SightSettings(Frozen):
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


class OpticsSettings(Frozen):
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


class GlareSettings(Frozen):
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


class WatchSettings(Frozen):
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
