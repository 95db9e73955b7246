"""How each number of a course is reached: traced on the image, or along points placed by hand."""

from __future__ import annotations

from thalweg.record.method import Method

__all__ = ["BY_HAND", "TRACED"]

TRACED = {
    "length": Method(
        "ureter-length-on-course",
        "Length along the traced course",
        "length = arc length of the smoothed centreline from start to end point, mm; "
        "interval = length ± 1.96 SD",
        "excretory-phase CT, or MR on which urine is bright and fat dark; points placed in the "
        "renal pelvis and at the bladder",
        ("thalweg-engineering", "song-2010"),
    ),
    "chord": Method(
        "ureter-chord",
        "Straight distance between the ends",
        "chord = |end − start|, mm",
        "any course",
        ("thalweg-engineering",),
    ),
    "tortuosity": Method(
        "ureter-tortuosity",
        "Winding",
        "tortuosity = length ÷ chord",
        "any course",
        ("thalweg-engineering",),
    ),
    "calibre": Method(
        "ureter-calibre-by-contrast-area",
        "Calibre from the contrast in the perpendicular section",
        "calibre = 2·√(A/π), A = ∫(value − background)/(lumen − background) over the section, mm²; "
        "value: Hounsfield units, or MR signal with the coils' shading taken out",
        "stretches filled with contrast; nothing is measured in a gap",
        ("thalweg-engineering",),
        ("Calibre is that of the contrast at one moment: peristalsis changes it.",),
    ),
    "narrowing": Method(
        "ureter-narrowing",
        "Narrowing against its neighbourhood",
        "stretch where calibre falls well below the median of the ureter on either side, mm",
        "stretches filled with contrast",
        ("thalweg-engineering",),
        ("One phase cannot tell a fixed stricture from a wave of peristalsis.",),
    ),
    "gap": Method(
        "ureter-gap",
        "Stretch without measurable contrast",
        "stations between which no contrast can be measured, mm",
        "any course",
        ("thalweg-engineering",),
        ("A gap is not a narrowing: there the ureter was not seen, only passed through.",),
    ),
    "stone": Method(
        "ureter-stone",
        "Stone or something as dense in the course",
        "stretch up to 25 mm long, at least 1.4 times as dense as the contrast beside it and 200 "
        "HU denser, that steps up within 3.5 mm at both ends; size at half height, mm",
        "CT; a stone no denser than the contrast beside it does not show",
        ("thalweg-engineering",),
        ("Its size is that of its density at half height; the image's blur adds to small ones.",),
    ),
    "stent": Method(
        "ureter-stent",
        "Stent in the course",
        "denser than 550 HU, 1.2 to 3.2 mm wide at half height and of one width (within 0.5 mm) "
        "along at least 60 mm and 60 % of the contrast; width: median, mm",
        "CT",
        ("thalweg-engineering",),
        ("Calibre, narrowings and dilatations are not known beside a stent.",),
    ),
    "bend": Method(
        "ureter-least-bend-radius",
        "Tightest bend that was seen",
        "least radius of curvature outside gaps and ends, mm: of the smoothed centreline, and of "
        "parabolas through the unsmoothed centres where these surely bend more",
        "any course",
        ("thalweg-engineering",),
        ("In voxels longer than 1.6 mm short kinks read too wide: a true 6 mm as up to 11 mm.",),
    ),
}

BY_HAND = TRACED | {
    "length": Method(
        "ureter-length-by-hand",
        "Length along a course placed by hand",
        "length = arc length of the likeliest smooth curve along the points (cubic smoothing "
        "spline), mm; interval = length ± 1.96 SD, of scattered points and unseen bends",
        "points placed in order on the ureter, from renal pelvis to bladder, 20 mm apart or less",
        ("wahba-1978", "thalweg-engineering"),
        ("The course was placed by hand: the length is as good as the points.",),
    ),
    "chord": Method(
        "ureter-chord-by-hand",
        "Straight distance between the ends placed by hand",
        "chord = |end − start|, mm",
        "a course placed by hand",
        ("thalweg-engineering",),
    ),
    "tortuosity": Method(
        "ureter-tortuosity-by-hand",
        "Winding of a course placed by hand",
        "tortuosity = length ÷ chord",
        "a course placed by hand; bends between the points are not seen",
        ("thalweg-engineering",),
    ),
    "calibre": Method(
        "ureter-calibre-beside-hand",
        "Calibre of the contrast beside a course placed by hand",
        "as on a traced course, at the centre of the contrast within 3.5 mm of the placed course",
        "stretches filled with contrast; nothing is measured in a gap",
        ("thalweg-engineering",),
        ("Calibre is that of the contrast at one moment: peristalsis changes it.",),
    ),
    "bend": Method(
        "ureter-least-bend-radius-by-hand",
        "Tightest bend of a course placed by hand",
        "least radius of curvature of the likeliest smooth curve along the points, mm",
        "a course placed by hand",
        ("wahba-1978", "thalweg-engineering"),
        ("A bend shorter than the distance of the points does not show.",),
    ),
}
