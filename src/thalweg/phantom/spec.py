"""What an artificial abdomen is made of: sizes, tissues, ureters. Nothing is hidden elsewhere."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from thalweg.phantom.bodywall import BodyWall, Dimple, Oval

if TYPE_CHECKING:
    from thalweg.phantom.tube import Tube

__all__ = ["AnatomySpec", "Tissues"]

Point = tuple[float, float, float]

LEVELS_MM = (-190.0, -130.0, -60.0, 0.0, 60.0, 120.0, 170.0)
"""Heights of the outline's knots in an adult; the umbilicus, at about L3 to L4, is at 0."""

WIDTH_SHAPE = (1.08, 1.08, 1.04, 1.0, 0.96, 0.97, 0.98)
FRONT_SHAPE = (0.84, 0.90, 0.97, 1.0, 1.01, 1.0, 0.99)
BACK_SHAPE = (1.06, 1.08, 1.04, 1.0, 0.98, 0.98, 0.98)
"""The trunk at those heights against itself at the umbilicus: waist above, hips below."""

CAVITY_SHAPE = (0.40, 0.46, 0.82, 1.0, 1.0, 1.0, 1.0)
"""The cavity's width against the abdomen's: the true pelvis is narrow, muscle fills the rest."""

CAVITY_BACK_SHAPE = (0.80, 0.92, 1.0, 1.0, 1.0, 1.0, 1.0)


@dataclass(frozen=True)
class Tissues:
    """Hounsfield units in the excretory phase, the middle of ranges in common use."""

    air: float = -1000.0
    bowel_gas: float = -880.0
    fat: float = -102.0
    visceral_fat: float = -98.0
    skin: float = 15.0
    muscle: float = 55.0
    liver: float = 105.0
    spleen: float = 115.0
    pancreas: float = 80.0
    kidney: float = 165.0
    artery: float = 140.0
    vein: float = 130.0
    bowel_wall: float = 85.0
    bowel_content: float = 25.0
    stool: float = -20.0
    disc: float = 85.0
    cortical_bone: float = 620.0
    spongy_bone: float = 240.0
    canal: float = 25.0
    ureter_wall: float = 42.0
    bladder_wall: float = 45.0
    urine_with_contrast: float = 420.0
    urine_plain: float = 12.0


@dataclass(frozen=True)
class AnatomySpec:
    """One artificial abdomen.

    Parameters
    ----------
    name : str
        What the phantom is, for whoever looks at it.
    age_group : str
        ``"adult"`` or ``"infant"``; says which size the reader should expect.
    scale : float
        Size of bones, organs, vessels and heights against the adult's; 1 for an adult.
    half_width_mm, front_mm, back_mm : float
        The trunk at the umbilicus, from the plane y = 0 and from the midline.
    skin_mm, fat_front_mm, fat_side_mm, fat_back_mm : float
        Thickness of the skin and of the fat below it, at the umbilicus' height.
    muscle_front_mm, muscle_side_mm, muscle_back_mm : float
        Thickness of the muscle layer there.
    umbilicus_depth_mm, umbilicus_spread_mm : float
        Depth and Gaussian spread of the umbilicus.
    left, right : Tube
        The ureters, in LPS mm.
    tissues : Tissues
    bowel_seed : int
        Seed of the small bowel's winding.
    """

    name: str
    age_group: str
    left: Tube
    right: Tube
    scale: float = 1.0
    half_width_mm: float = 158.0
    front_mm: float = 110.0
    back_mm: float = 104.0
    skin_mm: float = 2.0
    fat_front_mm: float = 18.0
    fat_side_mm: float = 16.0
    fat_back_mm: float = 20.0
    muscle_front_mm: float = 11.0
    muscle_side_mm: float = 20.0
    muscle_back_mm: float = 12.0
    umbilicus_depth_mm: float = 8.0
    umbilicus_spread_mm: float = 6.0
    tissues: Tissues = field(default_factory=Tissues)
    bowel_seed: int = 7

    def point(self, x: float, y: float, z: float) -> Point:
        """Return an adult's point at this person's size."""
        return self.scale * x, self.scale * y, self.scale * z

    def wall(self) -> BodyWall:
        """Return the trunk's layers."""
        skin, fat = self.skin_mm, self.skin_mm
        side = skin + self.fat_side_mm
        front, back = skin + self.fat_front_mm, skin + self.fat_back_mm
        dimple = Dimple(0.0, 0.0, self.umbilicus_depth_mm, self.umbilicus_spread_mm)
        return BodyWall(
            skin=self._layer(0.0, 0.0, 0.0, dimple=dimple),
            fat=self._layer(fat, fat, fat, dimple=dimple),
            muscle=self._layer(side, front, back),
            cavity=self._layer(
                side + self.muscle_side_mm,
                front + self.muscle_front_mm,
                back + self.muscle_back_mm,
                cavity=True,
            ),
        )

    def _layer(
        self,
        side: float,
        front: float,
        back: float,
        *,
        dimple: Dimple | None = None,
        cavity: bool = False,
    ) -> Oval:
        """Return the outline drawn in by a depth at the side, front and back."""
        narrow = CAVITY_SHAPE if cavity else (1.0,) * len(LEVELS_MM)
        shallow = CAVITY_BACK_SHAPE if cavity else (1.0,) * len(LEVELS_MM)
        widths = zip(WIDTH_SHAPE, narrow, strict=True)
        backs = zip(BACK_SHAPE, shallow, strict=True)
        return Oval(
            z_mm=tuple(self.scale * z for z in LEVELS_MM),
            half_width_mm=tuple((self.half_width_mm * w - side) * n for w, n in widths),
            front_mm=tuple(self.front_mm * f - front for f in FRONT_SHAPE),
            back_mm=tuple((self.back_mm * b - back) * n for b, n in backs),
            dimple=dimple,
        )
