"""An anatomy as a list of things to draw, later ones over earlier ones."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from thalweg.phantom import bowel, organs, skeleton, vessels
from thalweg.phantom.paint import TubeTissue, paint_solid, paint_tube, paint_union

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    import numpy as np
    from numpy.typing import NDArray

    from thalweg.phantom.courses import Side
    from thalweg.phantom.grid import Grid
    from thalweg.phantom.solids import Solid
    from thalweg.phantom.spec import AnatomySpec
    from thalweg.phantom.tube import Tube

__all__ = ["Item", "scene_of"]

SIDES: tuple[Side, Side] = ("left", "right")


ROD_MM = 3.0
"""Length of the rods that wide tubes are drawn as, in an adult."""


@dataclass(frozen=True)
class Item:
    """One thing to draw: a body of one tissue, or a tube with its wall.

    Of `solids`, several are drawn as one body without seams.
    """

    label: str
    solids: tuple[Solid, ...] = ()
    hounsfield: float = 0.0
    tube: Tube | None = None
    tissue: TubeTissue | None = None

    def paint(self, values: NDArray[np.float32], grid: Grid) -> None:
        """Draw it over what is already in `values`, in place."""
        if len(self.solids) == 1:
            paint_solid(values, grid, self.solids[0], self.hounsfield)
        elif self.solids:
            paint_union(values, grid, self.solids, self.hounsfield)
        if self.tube is not None and self.tissue is not None:
            paint_tube(values, grid, self.tube, self.tissue)


def scene_of(spec: AnatomySpec) -> tuple[Item, ...]:
    """Return everything in an abdomen in the order it is drawn in."""
    return (
        *_trunk(spec),
        *_soft_organs(spec),
        *_bowel(spec),
        *_skeleton(spec),
        *_great_vessels(spec),
        *_urinary_tract(spec),
    )


def _solids(label: str, solids: Iterable[Solid], hounsfield: float) -> Iterator[Item]:
    for solid in solids:
        yield Item(label, solids=(solid,), hounsfield=hounsfield)


def _wide_tubes(
    label: str, spec: AnatomySpec, tubes: Iterable[Tube], lumen: float, wall: float | None = None
) -> Iterator[Item]:
    """Draw tubes whose volume nobody measures as chains of rods, walls first."""
    step = ROD_MM * spec.scale
    for tube in tubes:
        if wall is not None:
            yield Item(label, solids=tube.rods(step, wall=True), hounsfield=wall)
        yield Item(label, solids=tube.rods(step), hounsfield=lumen)


def _trunk(spec: AnatomySpec) -> Iterator[Item]:
    wall, hu = spec.wall(), spec.tissues
    layers = ((wall.skin, hu.skin), (wall.fat, hu.fat), (wall.muscle, hu.muscle),
              (wall.cavity, hu.visceral_fat))  # fmt: skip
    for solid, hounsfield in layers:
        yield Item("trunk", solids=(solid,), hounsfield=hounsfield)


def _soft_organs(spec: AnatomySpec) -> Iterator[Item]:
    hu = spec.tissues
    yield from _solids("liver", organs.liver(spec), hu.liver)
    yield from _solids("spleen", organs.spleen(spec), hu.spleen)
    fat = (organs.perirenal_fat(spec, side) for side in SIDES)
    yield from _solids("perirenal fat", fat, hu.visceral_fat)
    yield from _solids("muscles", organs.muscles(spec), hu.muscle)
    psoas = (organs.psoas(spec, sign) for sign in (1.0, -1.0))
    yield from _wide_tubes("psoas", spec, psoas, hu.muscle)
    yield from _solids("pelvic floor", organs.pelvic_floor(spec), hu.muscle)
    yield from _wide_tubes("pancreas", spec, [organs.pancreas(spec)], hu.pancreas)
    stomach = zip(
        organs.stomach(spec), (hu.bowel_wall, hu.bowel_content, hu.bowel_gas), strict=True
    )
    for solid, hounsfield in stomach:
        yield Item("stomach", solids=(solid,), hounsfield=hounsfield)


def _bowel(spec: AnatomySpec) -> Iterator[Item]:
    hu = spec.tissues
    loops = bowel.small_bowel(spec)
    yield from _wide_tubes("small bowel", spec, loops, hu.bowel_content, hu.bowel_wall)
    yield from _solids("small bowel gas", bowel.small_bowel_gas(spec), hu.bowel_gas)
    yield from _wide_tubes("colon", spec, bowel.colon(spec), hu.stool, hu.bowel_wall)
    yield from _solids("colon gas", bowel.colon_gas(spec), hu.bowel_gas)


def _skeleton(spec: AnatomySpec) -> Iterator[Item]:
    hu = spec.tissues
    shells, cores = skeleton.bones(spec)
    yield from _solids("discs", skeleton.soft_spine(spec), hu.disc)
    yield from _solids("bone", shells, hu.cortical_bone)
    yield from _solids("bone", cores, hu.spongy_bone)
    yield from _solids("spinal canal", skeleton.spinal_canal(spec), hu.canal)


def _great_vessels(spec: AnatomySpec) -> Iterator[Item]:
    hu = spec.tissues
    yield from _wide_tubes("veins", spec, vessels.veins(spec).values(), hu.vein)
    yield from _wide_tubes("arteries", spec, vessels.arteries(spec).values(), hu.artery)


def _urinary_tract(spec: AnatomySpec) -> Iterator[Item]:
    hu = spec.tissues
    for side in SIDES:
        yield Item("kidney", solids=(organs.kidney(spec, side),), hounsfield=hu.kidney)
        yield Item("sinus", solids=(organs.renal_sinus(spec, side),), hounsfield=hu.visceral_fat)
    yield Item("bladder", solids=(organs.bladder_wall(spec),), hounsfield=hu.bladder_wall)
    yield Item("bladder", solids=(organs.bladder(spec),), hounsfield=hu.urine_plain)
    yield Item("bladder", solids=(organs.bladder_layer(spec),), hounsfield=hu.urine_with_contrast)
    urine = TubeTissue(hu.urine_with_contrast, hu.ureter_wall)
    for side in SIDES:
        collecting = organs.collecting_system(spec, side)
        yield from _wide_tubes("collecting system", spec, collecting, hu.urine_with_contrast)
        ureter = spec.left if side == "left" else spec.right
        yield Item("ureter", tube=ureter, tissue=urine)
