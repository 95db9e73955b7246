"""A shadow's length and its doubt, against exact perspective and against sampling."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.special import ellipe
from tests.support.shadows import Beam, run_of

from thalweg.errors import InputError
from thalweg.measure.calibration import MarkedScale, Setup
from thalweg.measure.radiograph import CLICK_SD_MM, measured_shadow, shadow_findings
from thalweg.measure.spline import spline_through

BEAM = Beam()
DEPTH = 950.0


def wave(depth: float = DEPTH, count: int = 33) -> np.ndarray:
    """Points of x = 12 sin(2 pi y / 120), 240 mm of y, in a plane parallel to the detector."""
    y = np.linspace(-120.0, 120.0, count)
    return np.column_stack([12 * np.sin(2 * np.pi * y / 120), y, np.full(count, depth)])


def wave_length() -> float:
    """Arc length over two whole waves: an elliptic integral (NIST DLMF 19.2.8)."""
    m = (12 * 2 * np.pi / 120) ** 2
    return float(240 * 2 / np.pi * np.sqrt(1 + m) * ellipe(m / (1 + m)))


def test_a_flat_curve_is_measured_exactly_with_unequal_pixels() -> None:
    shadow = measured_shadow(
        BEAM.radiograph(), BEAM.pixels(wave()), Setup(source_ureter_mm=DEPTH, depth_spread_mm=0.0)
    )
    assert shadow.length_mm == pytest.approx(wave_length(), rel=1e-4)
    assert shadow.calibration.magnification == pytest.approx(1100 / 950)
    assert shadow.detector_length_mm == pytest.approx(wave_length() * 1100 / 950, rel=1e-4)
    assert shadow.station_mm[-1] == pytest.approx(shadow.length_mm)
    assert shadow.at_least_mm is not None
    assert shadow.at_least_mm < wave_length()


@pytest.mark.parametrize(
    "setup",
    [
        Setup(ureter_detector_mm=150.0),
        Setup(source_ureter_mm=DEPTH),
        Setup(source_ureter_mm=DEPTH, ureter_detector_mm=150.0),
    ],
)
def test_the_ureter_s_depth_can_be_counted_from_either_side(setup: Setup) -> None:
    shadow = measured_shadow(BEAM.radiograph(), BEAM.pixels(wave()), setup)
    assert shadow.length_mm == pytest.approx(wave_length(), rel=1e-4)


@pytest.mark.parametrize(
    ("depth", "said"), [(DEPTH, "ureter"), (1030.0, 1030.0), (1100.0, "detector")]
)
def test_a_scale_in_the_picture_serves_at_any_depth(depth: float, said: str | float) -> None:
    """A ruler of 100 mm, slanting in its plane, in a picture that states nothing but its pixels."""
    ruler = np.array([[-90.0, -50.0, depth], [-30.0, 30.0, depth]])
    assert run_of(ruler) == 100.0
    first, last = BEAM.pixels(ruler)
    bare = BEAM.radiograph(detector_spacing_mm=None, source_detector_mm=None)
    setup = Setup(
        scale=MarkedScale((first, last), 100.0, said),  # type: ignore[arg-type]
        source_ureter_mm=DEPTH,
        source_detector_mm=1100.0,
    )
    shadow = measured_shadow(bare, BEAM.pixels(wave()), setup)
    assert shadow.length_mm == pytest.approx(wave_length(), rel=1e-4)


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.lists(st.floats(-24.0, 24.0), min_size=4, max_size=4),
    st.floats(-60.0, 60.0),
    st.floats(0.0, 30.0),
    st.booleans(),
)
def test_a_curve_in_space_is_never_shorter_than_it_is_said_to_be_at_least(
    depths: list[float], aside: float, radius: float, known_foot: bool
) -> None:
    """Smooth courses with winding and depth within the spread, far from the middle of the beam."""
    u = np.linspace(0.0, 1.0, 16)
    z = DEPTH + np.interp(u, [0.0, 0.3, 0.7, 1.0], depths)
    points = np.column_stack([aside + radius * np.sin(9 * u), -120 + 240 * u, z])
    setup = Setup(
        source_ureter_mm=DEPTH,
        depth_spread_mm=25.0,
        central_ray_px=BEAM.foot_px if known_foot else None,
    )
    shadow = measured_shadow(BEAM.radiograph(), BEAM.pixels(points), setup)
    assert shadow.at_least_mm is not None
    assert shadow.at_least_mm <= run_of(points)
    assert shadow.length_mm is not None
    assert shadow.at_least_mm > 0.8 * shadow.length_mm


def test_a_helix_is_longer_than_its_shadow() -> None:
    """Three turns, radius 15 mm, about a line along y: much of it runs towards the film."""
    u = np.linspace(0.0, 1.0, 400)
    points = np.column_stack(
        [
            15 * np.cos(6 * np.pi * u),
            -100 + 200 * u,
            DEPTH + 15 * np.sin(6 * np.pi * u),
        ]
    )
    true = np.hypot(200.0, 3 * 2 * np.pi * 15)
    setup = Setup(source_ureter_mm=DEPTH, depth_spread_mm=15.0)
    shadow = measured_shadow(BEAM.radiograph(), BEAM.pixels(points[::8]), setup)
    assert shadow.length_mm is not None
    assert shadow.at_least_mm is not None
    assert shadow.at_least_mm < shadow.length_mm < 0.85 * true


def test_doubt_of_placed_points_is_that_of_sampling() -> None:
    """Delta method against 600 draws of scattered points."""
    flat = wave(count=13)[:, :2]
    shadow = measured_shadow(
        Beam(spacing_mm=(0.01, 0.01), shape=(40000, 4000), foot_px=(2000.0, 20000.0)).radiograph(),
        Beam(spacing_mm=(0.01, 0.01), foot_px=(2000.0, 20000.0)).pixels(wave(count=13)),
        Setup(source_ureter_mm=DEPTH),
    )
    rng = np.random.default_rng(11)
    drawn = np.array(
        [spline_through(flat + rng.normal(0.0, CLICK_SD_MM, flat.shape))[1][-1] for _ in range(600)]
    )
    assert shadow.length_sd_mm is not None
    assert shadow.interval_mm is not None
    assert shadow.length_mm is not None
    scale = 0.005 * shadow.length_mm
    assert np.sqrt(shadow.length_sd_mm**2 - scale**2) == pytest.approx(drawn.std(), rel=0.1)
    added = shadow.length_mm - shadow.interval_mm[0] - 1.96 * shadow.length_sd_mm
    assert added == pytest.approx(drawn.mean() - shadow.length_mm, rel=0.2)


def test_the_spread_of_depth_widens_the_interval_as_geometry_says() -> None:
    """A rectangle of half width h about depth z has SD h / √3; lengths follow z in proportion."""
    close, wide = (
        measured_shadow(
            BEAM.radiograph(),
            BEAM.pixels(wave()),
            Setup(source_ureter_mm=DEPTH, depth_spread_mm=spread),
        )
        for spread in (0.0, 40.0)
    )
    assert close.length_sd_mm is not None
    assert wide.length_sd_mm is not None
    assert wide.length_mm is not None
    grown = np.sqrt(wide.length_sd_mm**2 - close.length_sd_mm**2)
    assert grown == pytest.approx(wide.length_mm * 40 / np.sqrt(3) / DEPTH, rel=1e-6)


@pytest.mark.parametrize(
    ("stated", "setup", "lacks"),
    [
        ({}, Setup(), "distances from the source"),
        ({"source_detector_mm": None}, Setup(source_ureter_mm=DEPTH), "distances from the source"),
        ({"detector_spacing_mm": None}, Setup(source_ureter_mm=DEPTH), "a scale in the picture"),
        (
            {"source_detector_mm": None},
            Setup(scale=MarkedScale(((100.0, 100.0), (100.0, 600.0)), 80.0)),
            "the depth of the scale",
        ),
        (
            {},
            Setup(scale=MarkedScale(((100.0, 100.0), (100.0, 600.0)), 80.0, "detector")),
            "the depth of the scale and that of the ureter",
        ),
    ],
)
def test_without_magnification_there_is_no_length(
    stated: dict[str, object], setup: Setup, lacks: str
) -> None:
    shadow = measured_shadow(BEAM.radiograph(**stated), BEAM.pixels(wave()), setup)
    assert shadow.length_mm is None
    assert shadow.at_least_mm is None
    assert np.isnan(shadow.station_mm).all()
    assert any(lacks in caution for caution in shadow.cautions)
    (finding,) = shadow_findings(shadow, at=date(2026, 3, 2), side="left")
    assert finding.value is None
    assert finding.shown() == "not known"


def test_no_least_length_without_the_spread_of_depth() -> None:
    shadow = measured_shadow(BEAM.radiograph(), BEAM.pixels(wave()), Setup(source_ureter_mm=DEPTH))
    assert shadow.length_mm is not None
    assert shadow.at_least_mm is None
    assert any("no length that it has at least can be proven" in c for c in shadow.cautions)


def test_statements_that_contradict_each_other_are_said() -> None:
    image = BEAM.radiograph(magnification=1.3, object_spacing_mm=(0.19, 0.1425))
    shadow = measured_shadow(
        image, BEAM.pixels(wave()), Setup(source_ureter_mm=DEPTH, source_detector_mm=1150.0)
    )
    said = " ".join(shadow.cautions)
    assert "1100 mm from source to detector, you 1150 mm" in said
    assert "estimated magnification in the file by 1.300" in said
    assert "corrected pixel spacing in the file by 1.053" in said
    assert shadow.calibration.magnification == pytest.approx(1150 / 950)


def test_a_marked_scale_that_the_file_contradicts_is_said() -> None:
    ends = BEAM.pixels(np.array([[0.0, -50.0, DEPTH], [0.0, 50.0, DEPTH]]))
    scale = MarkedScale((ends[0], ends[1]), 110.0, "ureter")
    setup = Setup(scale=scale, source_ureter_mm=DEPTH)
    shadow = measured_shadow(BEAM.radiograph(), BEAM.pixels(wave()), setup)
    assert any("The marked scale makes a pixel" in c for c in shadow.cautions)
    honest = Setup(scale=MarkedScale((ends[0], ends[1]), 100.0, "ureter"), source_ureter_mm=DEPTH)
    quiet = measured_shadow(BEAM.radiograph(), BEAM.pixels(wave()), honest)
    assert not any("The marked scale makes a pixel" in c for c in quiet.cautions)


@pytest.mark.parametrize(
    ("stated", "share", "words"),
    [
        (
            {"object_spacing_mm": (0.17272727, 0.12954545), "object_kind": "GEOMETRY"},
            0.03,
            "GEOMETRY",
        ),
        (
            {"object_spacing_mm": (0.17272727, 0.12954545), "object_kind": "FIDUCIAL"},
            0.02,
            "FIDUCIAL",
        ),
        ({"object_spacing_mm": (0.17272727, 0.12954545)}, 0.05, "how is not said"),
        ({"magnification": 1100 / 950}, 0.03, "estimates"),
    ],
)
def test_what_the_file_corrected_is_used_with_its_own_doubt(
    stated: dict[str, object], share: float, words: str
) -> None:
    """Spacing at the ureter is that of the detector × 950 ÷ 1100."""
    shadow = measured_shadow(BEAM.radiograph(**stated), BEAM.pixels(wave()), Setup())
    assert shadow.length_mm == pytest.approx(wave_length(), rel=1e-4)
    assert shadow.calibration.sd_share == share
    assert words in shadow.calibration.said
    assert shadow.calibration.magnification == pytest.approx(1100 / 950, rel=1e-5)
    assert any("taken for granted" in caution for caution in shadow.cautions)


@pytest.mark.parametrize(
    ("points", "setup", "word"),
    [
        ([(10.0, 10.0)], Setup(), "at least two points"),
        ([(10.0, 10.0), (10.2, 10.0)], Setup(), "the one before"),
        ([(10.0, 10.0), (2400.0, 10.0)], Setup(), "outside the picture"),
        ([(10.0, 10.0), (float("nan"), 10.0)], Setup(), "outside the picture"),
        ([(10.0, 10.0), (90.0, 10.0)], Setup(source_ureter_mm=1200.0), "between source and"),
        (
            [(10.0, 10.0), (90.0, 10.0)],
            Setup(source_ureter_mm=1090.0, depth_spread_mm=20.0),
            "between source and",
        ),
        (
            [(10.0, 10.0), (90.0, 10.0)],
            Setup(source_ureter_mm=900.0, ureter_detector_mm=150.0),
            "cannot lie both",
        ),
        (
            [(10.0, 10.0), (90.0, 10.0)],
            Setup(scale=MarkedScale(((1.0, 1.0), (2.0, 1.0)), 10.0, "ureter")),
            "less than two pixels",
        ),
        (
            [(10.0, 10.0), (90.0, 10.0)],
            Setup(scale=MarkedScale(((1.0, 1.0), (2.0, 9000.0)), 10.0, "ureter")),
            "outside the picture",
        ),
    ],
)
def test_what_cannot_be_is_refused(
    points: list[tuple[float, float]], setup: Setup, word: str
) -> None:
    with pytest.raises(InputError, match=word) as caught:
        measured_shadow(BEAM.radiograph(), points, setup)
    assert caught.value.mend


def test_distance_from_the_detector_needs_that_of_the_source() -> None:
    image = BEAM.radiograph(source_detector_mm=None)
    with pytest.raises(InputError, match="that of the source"):
        measured_shadow(image, BEAM.pixels(wave()), Setup(ureter_detector_mm=150.0))


def test_findings_say_what_they_are() -> None:
    setup = Setup(source_ureter_mm=DEPTH, depth_spread_mm=20.0)
    shadow = measured_shadow(BEAM.radiograph(), BEAM.pixels(wave()), setup)
    length, least = shadow_findings(shadow, at=date(2026, 3, 2), side="right")
    assert length.name == "ureter-length-on-radiograph-right"
    assert length.unit == least.unit == "mm"
    assert any("lower bound" in caution for caution in length.all_cautions)
    assert any("calibre is not measured" in caution for caution in length.all_cautions)
    assert least.findings == (length,)
    assert isinstance(least.value, float)
    assert isinstance(length.value, float)
    assert least.value < length.value


def test_sparse_points_are_said() -> None:
    few = measured_shadow(
        BEAM.radiograph(), BEAM.pixels(wave(count=5)), Setup(source_ureter_mm=DEPTH)
    )
    assert any("place more" in caution for caution in few.cautions)
