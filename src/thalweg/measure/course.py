"""What tracing a ureter gives: its course, its calibre, and what is not known about them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

__all__ = ["Course", "Dilatation", "Gap", "Narrowing", "Stent", "Stone"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Gap:
    """A stretch without measurable contrast: shut by peristalsis, or too narrow to show.

    Parameters
    ----------
    from_mm, to_mm : float
        Stations in millimetres.
    end_sd_mm : float or None
        Standard deviation of each of them; None where nothing was measured.
    """

    from_mm: float
    to_mm: float
    end_sd_mm: float | None = None

    @property
    def length_mm(self) -> float:
        """How much of the course it takes."""
        return self.to_mm - self.from_mm


@dataclass(frozen=True)
class Narrowing:
    """A stretch much narrower than the ureter on either side of it, contrast passing through.

    Parameters
    ----------
    from_mm, to_mm : float
        Stations in millimetres.
    least_calibre_mm : float
        The least inner diameter; an upper limit where `less_than` is true.
    reference_calibre_mm : float
        The inner diameter it is compared with: the median nearby, on the wider side.
    less_than : bool
        True where the lumen is finer than the image can resolve.
    from_sd_mm, to_sd_mm : float or None
        Standard deviations of the ends; None where they are not known.
    least_sd_mm, reference_sd_mm : float or None
        Standard deviations of the two calibres; None for an upper limit.
    """

    from_mm: float
    to_mm: float
    least_calibre_mm: float
    reference_calibre_mm: float
    less_than: bool = False
    from_sd_mm: float | None = None
    to_sd_mm: float | None = None
    least_sd_mm: float | None = None
    reference_sd_mm: float | None = None


@dataclass(frozen=True)
class Dilatation:
    """A stretch wider than a ureter should be.

    Parameters
    ----------
    from_mm, to_mm : float
        Stations in millimetres.
    greatest_calibre_mm : float
        The greatest inner diameter; a lower limit where `more_than` is true.
    more_than : bool
        True where the lumen is wider than the measuring window.
    greatest_sd_mm : float or None
        Standard deviation of the greatest calibre; None for a lower limit.
    """

    from_mm: float
    to_mm: float
    greatest_calibre_mm: float
    more_than: bool = False
    greatest_sd_mm: float | None = None


@dataclass(frozen=True)
class Stone:
    """Something short and much denser than the contrast beside it: a stone, as far as CT tells.

    Parameters
    ----------
    from_mm, to_mm : float
        Stations in millimetres, at half its height in density.
    width_mm : float
        Greatest width across the ureter at half height; NaN where it fills the window.
    core_hu, beside_hu : float
        Its density, and that of the contrast beside it, Hounsfield units.
    """

    from_mm: float
    to_mm: float
    width_mm: float
    core_hu: float
    beside_hu: float

    @property
    def length_mm(self) -> float:
        """How much of the course it takes."""
        return self.to_mm - self.from_mm


@dataclass(frozen=True)
class Stent:
    """Something very dense, thin and of one width along most of a course.

    Parameters
    ----------
    from_mm, to_mm : float
        Stations in millimetres.
    width_mm, core_hu : float
        Median width at half height and density, Hounsfield units.
    certain : bool
        False where undiluted contrast in a ureter as narrow would look the same.
    """

    from_mm: float
    to_mm: float
    width_mm: float
    core_hu: float
    certain: bool


@dataclass(frozen=True, eq=False)
class Course:
    """The course of one ureter from renal pelvis to bladder.

    Parameters
    ----------
    points_mm : ndarray, shape (N, 3)
        LPS millimetres from the start to the end, about 1 mm apart.
    station_mm : ndarray, shape (N,)
        Arc length from the start.
    length_mm, length_sd_mm : float
        Arc length and its standard deviation (`thalweg.measure.doubt`).
    chord_mm : float
        Straight distance between the ends.
    tortuosity : float
        Length over chord, at least 1.
    calibre_mm : ndarray, shape (N,)
        Inner diameter of a circle of the same area; NaN where it is not measurable.
    calibre_sd_mm : ndarray, shape (N,)
        Standard deviation of the calibre (`thalweg.measure.spread`); NaN where there is none.
    calibre_upper_mm : ndarray, shape (N,)
        Where there is contrast but the lumen is finer than the image resolves: the calibre is
        less than this. NaN elsewhere.
    bend_radius_mm : ndarray, shape (N,)
        Radius of curvature, at most `thalweg.measure.bends.STRAIGHT_MM`.
    least_bend_radius_mm : float
        The tightest bend that was seen, gaps and the last millimetres at each end left out.
    least_bend_interval_mm : tuple of float
        Where the true radius lies in 95 % of cases: farther down than up, as a kink shorter than
        the smoothing reads too wide.
    median_calibre_sd_mm : float or None
        Standard deviation of the median of `calibre_mm`; None where there is none.
    chord_sd_mm, tortuosity_sd : float
        Standard deviations of chord and tortuosity.
    gaps : tuple of Gap
    narrowings : tuple of Narrowing
    dilatations : tuple of Dilatation
    cautions : tuple of str
        Sentences that belong beside any number taken from this course.
    by_hand : bool
        True where a person placed the course point by point, instead of its being traced.
    stones : tuple of Stone
    stents : tuple of Stent
        Where calibre is not measured, because they hide it.
    """

    points_mm: Floats
    station_mm: Floats
    length_mm: float
    length_sd_mm: float
    chord_mm: float
    tortuosity: float
    calibre_mm: Floats
    calibre_upper_mm: Floats
    bend_radius_mm: Floats
    least_bend_radius_mm: float
    gaps: tuple[Gap, ...] = ()
    narrowings: tuple[Narrowing, ...] = ()
    dilatations: tuple[Dilatation, ...] = ()
    cautions: tuple[str, ...] = field(default=())
    by_hand: bool = False
    stones: tuple[Stone, ...] = ()
    stents: tuple[Stent, ...] = ()
    calibre_sd_mm: Floats = field(default_factory=lambda: np.empty(0))
    median_calibre_sd_mm: float | None = None
    chord_sd_mm: float = 0.0
    tortuosity_sd: float = 0.0
    least_bend_interval_mm: tuple[float, float] = (0.0, float("inf"))
