"""Dynamic files of a gamma camera: frames in time, views, labels, and several files of one series.

The files are built from the standard's attributes by `tests.support.gamma_files`, whose starts
are worked out by hand.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydicom import Dataset
from tests.support.gamma_files import (
    ANTERIOR,
    DURATIONS_S,
    FROM_BEHIND,
    FROM_FRONT,
    PHASES,
    POSTERIOR,
    SHAPE,
    STARTS_S,
    DetectorOf,
    PhaseOf,
    camera_dataset,
    camera_file,
    coded,
    value_of,
)
from tests.support.toolkits import toolkit

from thalweg.errors import InputError
from thalweg.exchange.dicom import read_dynamic
from thalweg.exchange.dicom.nuclear_frames import frame_index, timing_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from thalweg.record.renogram import DynamicImage

BOTH = (DetectorOf(), DetectorOf(ANTERIOR, FROM_FRONT))


def image_from(
    tmp_path: Path, reading: dict[str, Any] | None = None, **settings: Any
) -> DynamicImage:
    return read_dynamic(camera_file(tmp_path / "a.dcm", **settings), **reading or {}).image


def test_phases_of_different_frames_are_put_in_time(tmp_path: Path) -> None:
    read = read_dynamic(camera_file(tmp_path / "a.dcm"))
    image = read.image
    assert image.starts_s.tolist() == STARTS_S
    assert image.durations_s.tolist() == DURATIONS_S
    assert image.counts.dtype == np.float32
    np.testing.assert_array_equal(image.counts, [value_of(1, 1, n) for n in range(9)])
    assert (image.view, image.left_at) == ("posterior", "left")
    assert image.pixel_mm == (4.1, 3.9)
    assert image.tracer == "MAG3"
    assert image.decay_corrected is None
    assert image.acquired == "2026-03-01T09:00:00"
    assert image.source_id.startswith("sha256:")
    assert not image.phantom
    assert image.cautions == ("The study lasts 199 s only.",)
    assert read.patient.birth_date == "19480517"
    assert "QUORN" not in repr(read)


@pytest.mark.parametrize("order", [1, 2, 3])
def test_the_vectors_count_not_the_order_in_the_file(tmp_path: Path, order: int) -> None:
    windows = ((60.0, 90.0), (126.0, 154.0))
    image = image_from(tmp_path, order=order, detectors=BOTH, windows=windows)
    np.testing.assert_array_equal(image.counts, [value_of(2, 1, n) for n in range(9)])
    assert image.starts_s.tolist() == STARTS_S
    assert any("Of 2 energy windows number 2" in said for said in image.cautions)
    assert any("Of 2 detectors the posterior one" in said for said in image.cautions)


@given(
    st.lists(
        st.builds(
            PhaseOf,
            st.integers(1, 4),
            st.integers(1, 90_000),
            st.integers(0, 5000),
            st.integers(0, 60_000),
        ),
        min_size=1,
        max_size=4,
    ).filter(lambda phases: sum(phase.frames for phase in phases) > 1),
    st.integers(1, 1000),
)
def test_any_phases_and_any_order(phases: list[PhaseOf], order: int) -> None:
    """Against a plain walk through the frames in whole milliseconds."""
    ds = camera_dataset(phases=tuple(phases), order=order, detectors=BOTH)
    timing = timing_of(ds, frame_index(ds), detector=2, window=1)
    clock, wanted = 0, []
    for number, phase in enumerate(phases):
        clock += phase.delay if number else 0
        for frame in range(phase.frames):
            wanted.append((clock, phase.duration))
            clock += phase.duration + (phase.pause if frame < phase.frames - 1 else 0)
    np.testing.assert_allclose(timing.starts_s * 1000, [at for at, _ in wanted], atol=1e-6)
    np.testing.assert_allclose(timing.durations_s * 1000, [lasts for _, lasts in wanted])
    values = np.frombuffer(ds.PixelData, "<u2").reshape(-1, *SHAPE)
    for at, frame in enumerate(timing.frames):
        np.testing.assert_array_equal(values[frame], value_of(1, 2, at))


def test_indices_that_need_not_be_said(tmp_path: Path) -> None:
    """With one of each, a vector may be left out; one value must not be written as a list."""
    image = image_from(
        tmp_path,
        phases=(PhaseOf(6, 60_000),),
        EnergyWindowVector=None,
        NumberOfEnergyWindows=None,
        DetectorVector=None,
        PhaseVector=None,
        NumberOfPhases=None,
    )
    assert image.starts_s.tolist() == [0.0, 60.0, 120.0, 180.0, 240.0, 300.0]
    assert image.cautions == ()


def test_time_slices_may_run_on_over_the_phases(tmp_path: Path) -> None:
    assert image_from(tmp_path, TimeSliceVector=list(range(1, 10))).starts_s.tolist() == STARTS_S


def test_frames_in_a_phase_may_be_counted_over_all_detectors(tmp_path: Path) -> None:
    file = camera_dataset(detectors=BOTH)
    for item in file.PhaseInformationSequence:
        item.NumberOfFramesInPhase *= 2
    image = image_from(
        tmp_path, detectors=BOTH, PhaseInformationSequence=file.PhaseInformationSequence
    )
    assert image.starts_s.tolist() == STARTS_S


def test_a_delay_before_the_first_frame_is_said(tmp_path: Path) -> None:
    image = image_from(tmp_path, phases=(PhaseOf(6, 60_000, 0, 4000),))
    assert image.starts_s[0] == 0.0
    assert "4 s before the first frame" in image.cautions[0]


# ---- views and sides ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cosines", "left_at"),
    [
        (FROM_BEHIND, "left"),
        ([-1, 0, 0, 0, 0, 1], "left"),  # head down
        (FROM_FRONT, "right"),
        ([1, 0, 0, 0, 0, 1], "right"),
        ([-0.97, 0.24, 0, 0, 0, -1], "left"),  # the person lay a little askew
        ([1, 0, 0, 0, 1, 0], ""),  # a transverse plane, as some files carry by default
        ([0, 0, -1, -1, 0, 0], ""),  # a picture lying on its side
        ([0, 0, 0, 0, 0, -1], ""),
    ],
)
def test_rows_say_where_left_lies(tmp_path: Path, cosines: Sequence[float], left_at: str) -> None:
    """Rising x is the person's left, rising z the head (PS3.3 C.7.6.2.1.1)."""
    image = image_from(tmp_path, detectors=(DetectorOf(None, cosines),))
    assert image.left_at == left_at
    assert any("does not say where" in said for said in image.cautions) == (not left_at)
    assert any("was not used" in said for said in image.cautions) == (not left_at)
    assert image.view == ""


@pytest.mark.parametrize(
    ("letters", "left_at"),
    [(["L", "F"], "right"), (["R", "F"], "left"), (["LP", "FA"], "right"), (["F", "L"], "")],
)
def test_letters_say_it_too(tmp_path: Path, letters: list[str], left_at: str) -> None:
    """First value: direction of the rows (PS3.3 C.7.6.1.1.1)."""
    image = image_from(tmp_path, detectors=(DetectorOf(None, None),), PatientOrientation=letters)
    assert image.left_at == left_at


def test_a_view_alone_does_not_settle_the_side(tmp_path: Path) -> None:
    image = image_from(tmp_path, detectors=(DetectorOf(cosines=None),))
    assert (image.view, image.left_at) == ("posterior", "")
    assert any("unmirrored, on a posterior view: the left" in said for said in image.cautions)


def test_what_a_person_states_stands_and_is_said(tmp_path: Path) -> None:
    silent = (DetectorOf(None, None, angle=180.0),)
    image = image_from(
        tmp_path,
        {"left_at": "right", "view": "anterior"},
        detectors=silent,
        phases=(PhaseOf(6, 60_000),),
    )
    assert (image.view, image.left_at) == ("anterior", "right")
    assert len(image.cautions) == 2
    assert all("stated by a person" in said for said in image.cautions)
    unsaid = image_from(tmp_path, detectors=silent)
    assert any("180°" in said for said in unsaid.cautions)


def test_old_codes_of_the_views_are_known(tmp_path: Path) -> None:
    """SNOMED RT G-5216 is posterior, G-5215 anterior (PS3.16, mapped by pydicom)."""
    for scheme in ("SRT", "SNM3", "99SDM"):
        detectors = (DetectorOf(("G-5216", scheme)),)
        assert image_from(tmp_path, detectors=detectors).view == "posterior"
    with pytest.raises(InputError, match="neither a posterior nor an anterior view"):
        image_from(tmp_path, detectors=(DetectorOf(("399108003", "SCT")),))


@pytest.mark.parametrize(
    ("detector", "reading", "word"),
    [
        (DetectorOf(), {"left_at": "right"}, "lies on the left of the picture, but right"),
        (DetectorOf(), {"view": "anterior"}, "of the posterior view, but anterior"),
        (DetectorOf(cosines=FROM_FRONT), {}, "as if seen from the other side"),
        (DetectorOf(None, FROM_FRONT), {"view": "posterior"}, "as if seen from the other side"),
    ],
)
def test_contradictions_are_refused(
    tmp_path: Path, detector: DetectorOf, reading: dict[str, Any], word: str
) -> None:
    with pytest.raises(InputError, match=word) as caught:
        image_from(tmp_path, reading, detectors=(detector,))
    assert caught.value.mend
    assert "QUORN" not in str(caught.value)
    assert "Quorn" not in str(caught.value)


def test_two_places_of_the_file_that_disagree(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"in one place .* in another"):
        image_from(tmp_path, PatientOrientation=["L", "F"])


def test_a_mirrored_picture_needs_a_person_to_say_so(tmp_path: Path) -> None:
    image = image_from(tmp_path, {"left_at": "right"}, detectors=(DetectorOf(cosines=FROM_FRONT),))
    assert (image.view, image.left_at) == ("posterior", "right")
    assert any("is mirrored" in said for said in image.cautions)
    bare = image_from(tmp_path, {"left_at": "right"}, detectors=(DetectorOf(cosines=None),))
    assert any("is mirrored" in said for said in bare.cautions)


@pytest.mark.parametrize(
    ("view", "cosines", "left_at"),
    [(POSTERIOR, (1, 0, 0, 0, 0, 1), "right"), (ANTERIOR, (-1, 0, 0, 0, 0, 1), "left")],
)
def test_a_picture_head_down_is_turned_not_mirrored(
    tmp_path: Path, view: tuple[str, str], cosines: Sequence[float], left_at: str
) -> None:
    """Half a turn exchanges left and right of the picture and leaves the view what it is."""
    image = image_from(tmp_path, detectors=(DetectorOf(view, cosines),))
    assert image.left_at == left_at
    assert not any("mirrored" in said for said in image.cautions)


def test_one_side_only_is_said(tmp_path: Path) -> None:
    image = image_from(tmp_path, Laterality="L")
    assert "The file says that it shows the left side only." in image.cautions


# ---- detectors and energy windows --------------------------------------------------------------


def test_a_detector_is_chosen_or_asked_for(tmp_path: Path) -> None:
    front = image_from(tmp_path, {"view": "anterior"}, detectors=BOTH)
    np.testing.assert_array_equal(front.counts[4], value_of(1, 2, 4))
    assert (front.view, front.left_at) == ("anterior", "right")
    second = image_from(tmp_path, {"detector": 2}, detectors=BOTH)
    np.testing.assert_array_equal(second.counts, front.counts)
    for reading, word in (
        ({"detector": 3}, "no detector 3"),
        ({"detector": 0}, "no detector 0"),
        ({"view": "geometric mean"}, "one posterior and one anterior"),
        ({}, "0 of them posterior"),
    ):
        with pytest.raises(InputError, match=word):
            image_from(tmp_path, reading, detectors=(DetectorOf(None), DetectorOf(None)))


def test_the_geometric_mean_is_of_the_regions_sums(tmp_path: Path) -> None:
    """Mirrored region by hand: column 1 of the posterior view is column 5 of 7 of the anterior."""
    read = read_dynamic(camera_file(tmp_path / "a.dcm", detectors=BOTH), view="geometric mean")
    assert read.opposite is not None
    region = np.zeros(SHAPE, dtype=bool)
    region[2, 1] = region[3, 1] = True
    curves = read.curves({"left": region}, given_s=2.0, furosemide_s=60.0)
    behind = [float(value_of(1, 1, n)[2:4, 1].sum()) for n in range(9)]
    front = [float(value_of(1, 2, n)[2:4, 5].sum()) for n in range(9)]
    np.testing.assert_allclose(curves.counts["left"], np.sqrt(np.multiply(behind, front)))
    assert curves.view == "geometric mean"
    assert (curves.given_s, curves.furosemide_s) == (2.0, 60.0)
    assert any("geometric mean of both views" in said for said in curves.cautions)
    single = read_dynamic(tmp_path / "a.dcm").curves({"left": region})
    assert single.counts["left"].tolist() == behind


def test_the_geometric_mean_needs_both_sides_settled(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="for both views where the person's left"):
        image_from(
            tmp_path,
            {"view": "geometric mean"},
            detectors=(DetectorOf(), DetectorOf(ANTERIOR, None)),
        )


def test_an_energy_window_is_chosen_by_the_labels_photons(tmp_path: Path) -> None:
    narrow = ((126.0, 140.0), (141.0, 154.0))
    with pytest.raises(InputError, match="0 of them over the label's photons"):
        image_from(tmp_path, windows=narrow)
    image = image_from(tmp_path, {"energy_window": 2}, windows=narrow)
    np.testing.assert_array_equal(image.counts[0], value_of(2, 1, 0))
    with pytest.raises(InputError, match="no energy window 3"):
        image_from(tmp_path, {"energy_window": 3}, windows=narrow)


# ---- label, correction, clock ------------------------------------------------------------------


def label(code: str, words: str = "", **clock: str) -> list[Dataset]:
    item = Dataset()
    item.RadionuclideCodeSequence = [coded(code, "SCT")]
    if words:
        item.Radiopharmaceutical = words
    for keyword, value in clock.items():
        setattr(item, keyword, value)
    return [item]


@pytest.mark.parametrize(
    ("code", "hours"), [("72454006", 6.0067), ("21572004", 13.2232), ("1368003", 192.5)]
)
def test_the_label_decides_the_half_life(tmp_path: Path, code: str, hours: float) -> None:
    image = image_from(tmp_path, RadiopharmaceuticalInformationSequence=label(code))
    assert image.half_life_s / 3600 == pytest.approx(hours, rel=1e-3)


@pytest.mark.parametrize(
    ("words", "tracer"),
    [
        ("99mTc-MAG3", "MAG3"),
        ("Tc-99m mercaptoacetyltriglycine", "MAG3"),
        ("DTPA", "DTPA"),
        ("EC", "EC"),
        ("Technetium Tc99m Ethylenedicysteine", "EC"),
        ("I-123 Hippuran", "OIH"),
        ("Something new", "Something new"),
        ("", ""),
    ],
)
def test_the_tracers_name(tmp_path: Path, words: str, tracer: str) -> None:
    image = image_from(tmp_path, RadiopharmaceuticalInformationSequence=label("72454006", words))
    assert image.tracer == tracer
    assert any("name the tracer" in said for said in image.cautions) == (not tracer)


def test_an_unknown_label_is_refused_and_a_missing_one_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="label that is not known"):
        image_from(tmp_path, RadiopharmaceuticalInformationSequence=label("77004003"))
    image = image_from(tmp_path, RadiopharmaceuticalInformationSequence=None)
    assert any("taken as technetium-99m" in said for said in image.cautions)
    two = [*label("72454006"), *label("21572004")]
    with pytest.raises(InputError, match="names 2 radiopharmaceuticals"):
        image_from(tmp_path, RadiopharmaceuticalInformationSequence=two)


@pytest.mark.parametrize(
    ("value", "corrected"),
    [(["UNIF", "DECY"], True), ("DECY", True), ("UNIF", False), (None, None)],
)
def test_decay_correction(tmp_path: Path, value: Any, corrected: bool | None) -> None:
    settings = {} if value is None else {"CorrectedImage": value}
    assert image_from(tmp_path, **settings).decay_corrected is corrected


@pytest.mark.parametrize(
    ("clock", "began", "seconds"),
    [
        ({"RadiopharmaceuticalStartTime": "090012.5"}, "20260301090000", 12.5),
        ({"RadiopharmaceuticalStartTime": "235950"}, "20260301000010", -20.0),
        ({"RadiopharmaceuticalStartDateTime": "20260301085930"}, "20260301090000", -30.0),
        ({"RadiopharmaceuticalStartTime": "0600"}, "20260301090000", None),
        ({"RadiopharmaceuticalStartTime": "09"}, "20260301090000", None),
        ({}, "20260301090000", None),
    ],
)
def test_when_the_tracer_was_given(
    tmp_path: Path, clock: dict[str, str], began: str, seconds: float | None
) -> None:
    settings = {"RadiopharmaceuticalInformationSequence": label("72454006", "MAG3", **clock)}
    read = read_dynamic(camera_file(tmp_path / "a.dcm", began=began, **settings))
    assert read.stated_given_s == seconds
    assert any("puts the injection" in said for said in read.image.cautions) == bool(seconds)


# ---- several files of one series ---------------------------------------------------------------


def test_one_file_for_each_phase(tmp_path: Path) -> None:
    """Starts by hand: 0 and 30; the second began 1 min 40 s later: 100, 110."""
    camera_file(
        tmp_path / "s" / "b.dcm",
        phases=(PhaseOf(2, 10_000),),
        uid="1.2.3.2",
        began="20260301090140",
    )
    camera_file(tmp_path / "s" / "a.dcm", phases=(PhaseOf(2, 30_000),), uid="1.2.3.1")
    image = read_dynamic(tmp_path / "s").image
    assert image.starts_s.tolist() == [0.0, 30.0, 100.0, 110.0]
    assert image.durations_s.tolist() == [30.0, 30.0, 10.0, 10.0]
    np.testing.assert_array_equal(image.counts[2], value_of(1, 1, 0))
    assert image.acquired == "2026-03-01T09:00:00"
    given = read_dynamic([tmp_path / "s" / "b.dcm", tmp_path / "s" / "a.dcm"]).image
    np.testing.assert_array_equal(given.starts_s, image.starts_s)
    assert given.source_id == image.source_id


def test_clocks_of_whole_seconds_make_no_overlap(tmp_path: Path) -> None:
    """The first file ends at 20.4 s; the second says 20 s, which was rounded: it follows on."""
    camera_file(tmp_path / "s" / "a.dcm", phases=(PhaseOf(2, 10_200),), uid="1.2.3.1")
    camera_file(
        tmp_path / "s" / "b.dcm", phases=(PhaseOf(2, 500),), uid="1.2.3.2", began="20260301090020"
    )
    starts = read_dynamic(tmp_path / "s").image.starts_s
    np.testing.assert_allclose(starts, [0.0, 10.2, 20.4, 20.9])


def test_one_file_for_each_detector(tmp_path: Path) -> None:
    camera_file(tmp_path / "s" / "a.dcm", detectors=BOTH[1:], uid="1.2.3.1")
    camera_file(tmp_path / "s" / "b.dcm", detectors=BOTH[:1], uid="1.2.3.2", order=4)
    image = read_dynamic(tmp_path / "s").image
    assert image.view == "posterior"
    assert image.starts_s.tolist() == STARTS_S
    np.testing.assert_array_equal(image.counts, [value_of(1, 1, n) for n in range(9)])
    assert read_dynamic(tmp_path / "s", view="geometric mean").opposite is not None


@pytest.mark.parametrize(
    ("second", "word"),
    [
        ({"SeriesInstanceUID": "1.2.9"}, "holds 2 series"),
        ({"PatientID": "OTHER"}, "different patients"),
        ({"uid": "1.2.3.1"}, "same picture twice"),
        ({"CorrectedImage": "DECY"}, "corrected in different ways"),
        ({"PixelSpacing": [2.0, 2.0]}, "different size"),
        ({"AcquisitionTime": None}, "do not say when each began"),
        ({"began": "20260301090030"}, "overlap in time"),
        ({"began": "20260301090500", "detectors": BOTH[1:]}, "neither show one view after another"),
        ({"ImageType": ["ORIGINAL", "PRIMARY", "STATIC", "EMISSION"]}, "a static picture"),
    ],
)
def test_files_that_do_not_belong_together(
    tmp_path: Path, second: dict[str, Any], word: str
) -> None:
    camera_file(tmp_path / "s" / "a.dcm", uid="1.2.3.1")
    camera_file(tmp_path / "s" / "b.dcm", **{"uid": "1.2.3.2", **second})
    with pytest.raises(InputError, match=word) as caught:
        read_dynamic(tmp_path / "s")
    assert caught.value.where
    assert "QUORN" not in str(caught.value)
    assert "OTHER" not in str(caught.value)


@pytest.mark.parametrize(
    ("program", "option"), [("dcmcrle", ""), ("dcmcjpeg", "+e1"), ("dcmcjpls", "+el")]
)
def test_compressed_by_another_toolkit(tmp_path: Path, program: str, option: str) -> None:
    plain = camera_file(tmp_path / "a.dcm", order=5)
    packed = tmp_path / "b.dcm"
    done = toolkit(program, *filter(None, [option]), plain, packed)
    assert done.returncode == 0, done.stderr
    read = read_dynamic(packed).image
    np.testing.assert_array_equal(read.counts, read_dynamic(plain).image.counts)
    assert read.starts_s.tolist() == [*STARTS_S][: len(PHASES) * 3]
