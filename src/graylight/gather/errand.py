"""What one source is sent for and what it brings back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

from graylight.gather.gate import Gate
from graylight.gather.services import Service
from graylight.gather.wanted import Wanted

__all__ = ["Client", "Errand", "Had"]


@dataclass(frozen=True, slots=True)
class Errand:
    """Whom to ask, for what ground, and where to put what is brought.

    Parameters
    ----------
    gate
        The way to the network.
    service
        The one to ask.
    wanted
        The ground.
    work
        A folder of this run's own.
    """

    gate: Gate
    service: Service
    wanted: Wanted
    work: Path


@dataclass(frozen=True, slots=True)
class Had:
    """A file that was brought back.

    Parameters
    ----------
    path
        The file.
    date
        Date of the data, as far as known.
    fetched
        When it was had from the service, UTC.
    done
        Sentences: what was done to it, and what it lacks.
    surface
        Whether heights are those of tree tops and roofs.
    doubts
        What looks wrong about it; told in every plan.
    """

    path: Path
    date: str | None
    fetched: str
    done: tuple[str, ...] = ()
    surface: bool = False
    doubts: tuple[str, ...] = ()


Client: TypeAlias = Callable[[Errand], list[Had]]
"""Asks one service; raises `SourceUnavailable` when it can't be had."""
