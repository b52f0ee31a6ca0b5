"""A person's own pace as it is handed over."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from graylight.plan.model import Whole

__all__ = ["MeasuredPace"]

Factor = Annotated[float, BeforeValidator(lambda v: round(float(v), 2))]


class MeasuredPace(BaseModel):
    """How much longer than published walks of known track and time took."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    schema_version: Literal["1.0"] = "1.0"
    factor: Factor = Field(description="for walk.pace_factor: time taken over time published")
    low: Factor = Field(description="least of the single walks")
    high: Factor = Field(description="greatest of the single walks")
    walks: int
    taken_seconds: Whole = Field(description="walking time of all of them, rests left out")
    rest_seconds: Whole = Field(description="rests that were left out")
    pack: bool
    dark: bool
    before: Factor = Field(description="walk.pace_factor as it was")
    kept: bool = Field(default=False, description="whether it was kept in settings.toml")
