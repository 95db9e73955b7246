"""The one root of every error that Thalweg raises on purpose.

A message is a single sentence for the person at the keyboard: what is wrong, where, and what
would mend it. It names files, entries and values, never the person.
"""

from __future__ import annotations

__all__ = ["ImageError", "ImplausibleValueError", "InputError", "ThalwegError", "UnitError"]


class ThalwegError(Exception):
    """Root of Thalweg's own errors; a bare one is our fault (exit code 1)."""


class InputError(ThalwegError):
    """The user's input cannot be used as it stands (exit code 2).

    Parameters
    ----------
    what : str
        What is wrong, as a clause without a final full stop.
    where : str
        The file, entry or option it was found in; empty where there is only one place.
    mend : str
        What the user can do about it, as a clause without a final full stop.
    detail : object, optional
        The same as data, where it can be shown in another way than by a sentence, such as
        `thalweg.measure.fault.PlacedFault` on the image.
    """

    def __init__(
        self, what: str, *, where: str = "", mend: str = "", detail: object | None = None
    ) -> None:
        self.what = what
        self.where = where
        self.mend = mend
        self.detail = detail
        head = f"{where}: {what}" if where else what
        super().__init__(f"{head}; {mend}." if mend else f"{head}.")

    def at(self, where: str) -> InputError:
        """Return the same error with `where` put in front of its own place."""
        place = f"{where}, {self.where}" if self.where else where
        moved = type(self)(self.what, where=place, mend=self.mend)
        moved.detail = self.detail
        return moved


class UnitError(InputError):
    """A unit is missing, not UCUM, or does not fit the quantity."""


class ImplausibleValueError(InputError):
    """A value that no living person can have, as the plausible ranges say."""


class ImageError(InputError):
    """A file or series that is not an image Thalweg can measure on."""
