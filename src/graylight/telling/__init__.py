"""The plan in plain sentences, to be read aloud in the truck in the dark."""

from __future__ import annotations

from graylight.telling.country import tell_country
from graylight.telling.look import tell_look
from graylight.telling.paragraph import Paragraph, plain
from graylight.telling.plan import tell_plan

__all__ = ["Paragraph", "plain", "tell_country", "tell_look", "tell_plan"]
