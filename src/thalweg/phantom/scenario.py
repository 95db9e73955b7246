"""Ready anatomies: the demonstration's adult, an infant, and one that is hard to trace."""

from __future__ import annotations

from dataclasses import replace

from thalweg.phantom.courses import tortuous_course, usual_course, vessel_hugging_course
from thalweg.phantom.spec import AnatomySpec, Tissues
from thalweg.phantom.tube import Gap, Narrowing, Tube

__all__ = ["adult", "hard_adult", "infant"]

RIGHT_LOWER_MM = 8.0
"""How much lower the right kidney lies in an adult."""

INFANT_STAND_OFF_MM = 1.5
"""An infant's ureters keep this much further from muscle and vessels than a shrunken adult's."""


def adult() -> AnatomySpec:
    """Return the demonstration's adult.

    The right ureter is of usual calibre, 2.5 to 4.5 mm, with one gap of 22 mm that a wave of
    peristalsis left. The left winds and is widened to 6 to 8 mm above a narrowing 10 mm long and
    2.5 mm wide in its distal third.
    """
    right = Tube(
        usual_course("right", lower_kidney_mm=RIGHT_LOWER_MM),
        calibre_mm=((0, 4.0), (40, 3.2), (95, 4.5), (135, 3.0), (185, 4.2), (225, 2.6)),
        gaps=(Gap(60.0, 82.0),),
        wall_mm=1.0,
        taper_mm=4.0,
    )
    course = tortuous_course("left")
    left = Tube(
        course,
        calibre_mm=(
            (0, 6.5),
            (50, 7.6),
            (110, 7.0),
            (165, 7.8),
            (192, 6.2),
            (205, 3.8),
            (250, 3.0),
        ),
        narrowings=(Narrowing(192.0, 202.0, 2.5, shoulder_mm=6.0),),
        wall_mm=1.0,
        taper_mm=4.0,
    )
    return AnatomySpec(name="artificial adult", age_group="adult", left=left, right=right)


def infant() -> AnatomySpec:
    """Return an infant of about one year whose left ureter is wide above a tight end.

    Its size is 0.45 of the adult's, so that its ureters are about 11 cm long: "age in years plus
    10 cm" is a rule for stents in children (from memory).
    """
    scale = 0.45
    right = Tube(
        usual_course(
            "right", scale, lower_kidney_mm=RIGHT_LOWER_MM, stand_off_mm=INFANT_STAND_OFF_MM
        ),
        calibre_mm=((0, 2.6), (50, 2.2), (100, 2.0)),
        gaps=(Gap(40.0, 48.0),),
        wall_mm=0.6,
        taper_mm=2.0,
    )
    left = Tube(
        tortuous_course("left", scale, stand_off_mm=INFANT_STAND_OFF_MM),
        calibre_mm=((0, 3.8), (25, 5.0), (55, 3.6), (80, 3.6), (94, 6.5), (101, 6.0), (109, 2.0)),
        narrowings=(Narrowing(110.0, 117.0, 1.6, shoulder_mm=3.0),),
        wall_mm=0.7,
        taper_mm=2.0,
    )
    return AnatomySpec(
        name="artificial infant",
        age_group="infant",
        left=left,
        right=right,
        scale=scale,
        half_width_mm=72.0,
        front_mm=52.0,
        back_mm=46.0,
        skin_mm=1.2,
        fat_front_mm=5.0,
        fat_side_mm=5.0,
        fat_back_mm=5.0,
        muscle_front_mm=4.0,
        muscle_side_mm=7.0,
        muscle_back_mm=5.0,
        umbilicus_depth_mm=2.5,
        umbilicus_spread_mm=3.0,
    )


def hard_adult() -> AnatomySpec:
    """Return an adult whose ureters are hard to follow.

    Both have long gaps, 30 to 45 mm; the right keeps close beside a brightly enhanced common
    iliac artery; the contrast in the urine is weak.
    """
    base = adult()
    right = Tube(
        vessel_hugging_course("right", lower_kidney_mm=RIGHT_LOWER_MM),
        calibre_mm=((0, 3.4), (70, 2.8), (150, 3.2), (225, 2.4)),
        gaps=(Gap(30.0, 60.0), Gap(150.0, 188.0)),
        wall_mm=1.0,
        taper_mm=3.0,
    )
    left = Tube(
        usual_course("left"),
        calibre_mm=((0, 3.8), (100, 3.0), (230, 2.6)),
        gaps=(Gap(85.0, 130.0),),
        wall_mm=1.0,
        taper_mm=3.0,
    )
    return replace(
        base,
        name="artificial adult, hard to trace",
        left=left,
        right=right,
        tissues=Tissues(artery=260.0, vein=150.0, urine_with_contrast=310.0),
        fat_front_mm=34.0,
        front_mm=128.0,
        half_width_mm=162.0,
    )
