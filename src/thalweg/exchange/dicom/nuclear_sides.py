"""From where a gamma camera looked, and where on its picture the person's left lies.

Neither is ever guessed. Image Orientation (Patient) of the detector (PS3.3 C.8.4.11) and Patient
Orientation (C.7.6.1.1.1) say where the rows run in the person; View Code Sequence says from where
the detector looked (PS3.16 CID 26). A view alone does not settle the side: cameras and
work stations mirror pictures. What a person states stands where the file says nothing, is said,
and is refused where it contradicts the file.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from pydicom.sr.coding import Code

from thalweg.errors import ImageError, InputError
from thalweg.exchange.dicom.headers import term, text

if TYPE_CHECKING:
    from pydicom import Dataset

__all__ = ["OPPOSITE", "VIEWS", "Sides", "sides_of", "view_in"]

VIEWS: Final = ("posterior", "anterior")
OPPOSITE: Final = {"left": "right", "right": "left"}
VIEW_CODES: Final = (
    (Code("399001007", "SCT", "Posterior projection"), "posterior"),
    (Code("399321004", "SCT", "Anterior projection"), "anterior"),
)
UNMIRRORED: Final = {"posterior": "left", "anterior": "right"}
"""Where the person's left lies on a picture seen as the camera sees it, head up."""

ALONG: Final = math.cos(math.radians(30.0))
"""Least cosine with which a row or column runs along an axis of the body."""

OLD_SCHEMES: Final = frozenset({"SNM3", "99SDM"})
"""Earlier names of the same codes (PS3.16 section 8)."""


@dataclass(frozen=True, slots=True)
class Sides:
    """View and side of one detector's picture, and what must be said of either.

    Parameters
    ----------
    view : str
        ``"posterior"``, ``"anterior"`` or empty.
    left_at : str
        ``"left"``, ``"right"`` or empty.
    cautions : tuple of str
    """

    view: str
    left_at: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Laid:
    """How a picture lies in the person, from one attribute: empty where it does not say."""

    left_at: str = ""
    unmirrored_view: str = ""
    unusable: bool = False


def view_in(detector: Dataset | None) -> str:
    """Return the view that the detector's code names, empty where there is none.

    Raises
    ------
    ImageError
        The code names an oblique, lateral or other view, on which kidneys cannot be compared.
    """
    items = list((detector.get("ViewCodeSequence") if detector else None) or ())
    if not items:
        return ""
    scheme = text(items[0], "CodingSchemeDesignator")
    named = Code(
        text(items[0], "CodeValue"), "SRT" if scheme in OLD_SCHEMES else scheme, "of the file"
    )
    for code, view in VIEW_CODES:
        if named == code:
            return view
    quoted = term(items[0], "CodeValue") or "unreadable"
    raise ImageError(
        f"shows neither a posterior nor an anterior view (view code {quoted})",
        mend="give the posterior view",
    )


def sides_of(
    header: Dataset, detector: Dataset | None, *, alone: bool, view: str = "", left_at: str = ""
) -> Sides:
    """Settle view and side of one detector's picture.

    Parameters
    ----------
    header : Dataset
        Of the file.
    detector : Dataset, optional
        Its item of Detector Information Sequence.
    alone : bool
        Whether the file holds this detector only; Patient Orientation is then its own.
    view, left_at : str
        As a person stated them; empty where not stated.

    Raises
    ------
    InputError
        File and statement, or two places of the file, contradict each other.
    """
    cautions = list(_laterality(header))
    in_file = view_in(detector)
    if view and in_file and view != in_file:
        raise InputError(
            f"is of the {in_file} view, but {view} was stated", mend="find out which is right"
        )
    laid = [_by_cosines(detector), _by_letters(header) if alone else _Laid()]
    if any(each.unusable for each in laid):
        cautions.append(
            "The file's orientation is not that of a picture from front or back, head up or down; "
            "it was not used."
        )
    lefts = {each.left_at for each in laid if each.left_at}
    if len(lefts) > 1:
        raise ImageError(
            "says in one place that the person's left lies on the left of the picture and in "
            "another on the right",
            mend="find out which is right and export the study again",
        )
    found = next(iter(lefts), "")
    if found and left_at and found != left_at:
        raise InputError(
            f"says that the person's left lies on the {found} of the picture, but {left_at} was "
            "stated",
            mend="find out which is right",
        )
    side, seen = found or left_at, in_file or view
    cautions += _settled(side, seen, stated_side=side if not found else "", stated_view=not in_file)
    cautions += _mirrored(side, seen, laid, stated=bool(left_at))
    if not in_file and not view and (angle := detector.get("StartAngle") if detector else None):
        cautions.append(
            f"Only the detector's angle is given ({float(angle):g}°), which cameras count from "
            "different places; it was not used."
        )
    return Sides(seen, side, tuple(cautions))


def _laterality(header: Dataset) -> tuple[str, ...]:
    for keyword in ("ImageLaterality", "Laterality"):
        side = {"L": "left", "R": "right"}.get(text(header, keyword))
        if side:
            return (f"The file says that it shows the {side} side only.",)
    return ()


def _settled(side: str, view: str, *, stated_side: str, stated_view: bool) -> list[str]:
    """Say what was stated and what stays open."""
    said = []
    if stated_side:
        said.append(
            f"That the person's left lies on the {side} of the picture was stated by a person; "
            "the file does not say."
        )
    elif not side:
        hint = f" (unmirrored, on a {view} view: the {UNMIRRORED[view]})" if view else ""
        said.append(f"The file does not say where on the picture the person's left lies{hint}.")
    if view and stated_view:
        said.append(f"That the view is {view} was stated by a person; the file does not say.")
    elif not view:
        said.append("The file does not say whether the view is from behind or from the front.")
    return said


def _mirrored(side: str, view: str, laid: list[_Laid], *, stated: bool) -> list[str]:
    """Refuse a mirrored picture, unless a person stated the side: then say that it is mirrored."""
    as_laid = {each.unmirrored_view for each in laid if each.unmirrored_view}
    turned = as_laid != {view} if as_laid else side != UNMIRRORED.get(view)
    if not view or not side or not turned:
        return []
    if not stated:
        raise ImageError(
            f"is called a {view} view but lies as if seen from the other side",
            mend="find out where the person's left lies and state it with --left-at",
        )
    said = f"A {view} view with the person's left on the {side} of the picture is mirrored"
    return [f"{said}; make sure which kidney is which."]


def _by_cosines(detector: Dataset | None) -> _Laid:
    value = detector.get("ImageOrientationPatient") if detector else None
    if not value:
        return _Laid()
    numbers = [float(number) for number in value]
    if len(numbers) != 6 or not all(map(math.isfinite, numbers)):
        return _Laid(unusable=True)
    row, column = numbers[:3], numbers[3:]
    lengths = math.hypot(*row), math.hypot(*column)
    if min(lengths) == 0:
        return _Laid(unusable=True)
    to_left, down = row[0] / lengths[0], -column[2] / lengths[1]
    if abs(to_left) < ALONG or abs(down) < ALONG:
        return _Laid(unusable=True)
    return _laid(to_left > 0, feet_down=down > 0)


def _by_letters(header: Dataset) -> _Laid:
    """Read Patient Orientation; its first letter is the main direction."""
    value = header.get("PatientOrientation")
    if not value:
        return _Laid()
    letters = [str(each)[:1] for each in ([value] if isinstance(value, str) else value)]
    if len(letters) != 2 or letters[0] not in ("L", "R") or letters[1] not in ("F", "H"):
        return _Laid(unusable=True)
    return _laid(letters[0] == "L", feet_down=letters[1] == "F")


def _laid(row_runs_to_left: bool, *, feet_down: bool) -> _Laid:
    """Return side, and from where it looks so: rows to the left and feet down is from the front."""
    from_front = row_runs_to_left == feet_down
    return _Laid("right" if row_runs_to_left else "left", VIEWS[from_front])
