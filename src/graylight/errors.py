"""The one error root, and how each kind ends a command (exit codes are frozen, see docs/conventions.md)."""

from __future__ import annotations

__all__ = ["BadInput", "Cancelled", "GraylightError", "SourceUnavailable"]


class GraylightError(Exception):
    """Root of every error that graylight raises on purpose.

    Parameters
    ----------
    message
        One line: what was wrong, the value got, what is accepted, what to do next.
    """

    exit_code = 1

    def __init__(self, message: str) -> None:
        super().__init__(" ".join(message.split()))


class BadInput(GraylightError):
    """What was handed over can't be used; the message says what would be."""

    exit_code = 2


class SourceUnavailable(GraylightError):
    """A source that was needed could not be had."""

    exit_code = 3


class Cancelled(GraylightError):
    """The person stopped the work; nothing half-done is left."""

    exit_code = 130
