"""Radiographs as PNG and JPEG; places checked against Pillow's own idea of upright."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from PIL import Image

from thalweg.errors import ImageError
from thalweg.exchange import picture
from thalweg.exchange.picture import read_picture

if TYPE_CHECKING:
    from pathlib import Path

RAMP = (np.arange(12 * 7).reshape(12, 7) * 3).astype(np.uint8)


def saved(path: Path, image: Image.Image, **options: Any) -> Path:
    """Write a picture and return where."""
    image.save(path, **options)
    return path


def test_grey_of_eight_and_sixteen_bits(tmp_path: Path) -> None:
    eight = read_picture(saved(tmp_path / "8.png", Image.fromarray(RAMP)))
    np.testing.assert_array_equal(eight.values, RAMP)
    deep = RAMP.astype(np.uint16) * 200
    sixteen = read_picture(saved(tmp_path / "16.png", Image.fromarray(deep)))
    np.testing.assert_array_equal(sixteen.values, deep)
    assert eight.detector_spacing_mm is None
    assert eight.acquired == ""
    assert eight.image_id != sixteen.image_id


def test_colour_palette_and_transparency_become_grey(tmp_path: Path) -> None:
    grey = Image.fromarray(RAMP)
    for name, image in {
        "rgb.png": grey.convert("RGB"),
        "rgba.png": grey.convert("RGBA"),
        "palette.png": grey.convert("P"),
        "la.png": grey.convert("LA"),
    }.items():
        read = read_picture(saved(tmp_path / name, image))
        np.testing.assert_allclose(read.values, RAMP, atol=1.0)


def test_what_shows_through_is_dark(tmp_path: Path) -> None:
    see_through = Image.fromarray(RAMP).convert("LA")
    see_through.putalpha(0)
    assert (read_picture(saved(tmp_path / "a.png", see_through)).values == 0).all()


def test_the_turn_a_camera_noted_is_carried_out(tmp_path: Path) -> None:
    """Orientation 6: the picture is to be turned 90° clockwise to stand upright (EXIF 2.3)."""
    exif = Image.Exif()
    exif[0x0112] = 6
    path = saved(tmp_path / "t.png", Image.fromarray(RAMP), exif=exif.tobytes())
    np.testing.assert_array_equal(read_picture(path).values, np.rot90(RAMP, -1))


def test_a_photograph_is_warned_of(tmp_path: Path) -> None:
    read = read_picture(saved(tmp_path / "p.jpg", Image.fromarray(RAMP), quality=95))
    assert any("photograph" in caution for caution in read.cautions)
    assert any("names no person" in caution for caution in read.cautions)


def test_too_many_pixels_are_refused_before_they_are_decoded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = saved(tmp_path / "big.png", Image.fromarray(RAMP))
    monkeypatch.setattr(picture, "MOST_PIXELS", 83)
    with pytest.raises(ImageError, match="more pixels than any radiograph"):
        read_picture(path)
    monkeypatch.undo()
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 20)
    with pytest.raises(ImageError, match="more pixels than any radiograph"):
        read_picture(path)


@pytest.mark.parametrize("share", [0.0, 0.0002, 0.01, 0.5, 0.99])
def test_damaged_pictures_are_refused(tmp_path: Path, share: float) -> None:
    noise = np.random.default_rng(2).integers(0, 256, (300, 200)).astype(np.uint8)
    path = saved(tmp_path / "d.png", Image.fromarray(noise))
    whole = path.read_bytes()
    path.write_bytes(whole[: int(share * len(whole))])
    with pytest.raises(ImageError) as caught:
        read_picture(path)
    assert caught.value.mend


def test_other_files_are_refused(tmp_path: Path) -> None:
    other = saved(tmp_path / "x.gif", Image.fromarray(RAMP))
    with pytest.raises(ImageError, match="neither DICOM nor"):
        read_picture(other)
    with pytest.raises(ImageError, match="does not exist"):
        read_picture(tmp_path / "gone.png")
