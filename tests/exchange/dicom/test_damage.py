"""Bytes changed anywhere in a file: a clear refusal or a volume, never another exception."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.support.dicom_series import artificial, checked_sentence, edited, written

from thalweg.errors import ImageError
from thalweg.exchange.dicom import read_volume

COMPRESSIONS = ("", "1.2.840.10008.1.2.5", "1.2.840.10008.1.2.4.80")
"""None, RLE, JPEG-LS."""


@pytest.fixture(scope="module")
def originals(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[bytes]]:
    """The bytes of one small series in each encoding."""
    found = {}
    for number, syntax in enumerate(COMPRESSIONS):
        paths = written(tmp_path_factory.mktemp("o") / str(number), artificial((3, 4, 5)))
        if syntax:
            for path in paths:
                edited(path, lambda header: header.compress(syntax, generate_instance_uid=False))  # noqa: B023
        found[syntax] = [path.read_bytes() for path in paths]
    return found


@settings(
    max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    syntax=st.sampled_from(COMPRESSIONS),
    spoilt=st.lists(st.tuples(st.floats(0, 0.9999), st.integers(0, 255)), min_size=1, max_size=6),
    cut=st.floats(0.02, 1),
)
def test_damage_is_refused_or_harmless(
    originals: dict[str, list[bytes]],
    syntax: str,
    spoilt: list[tuple[float, int]],
    cut: float,
) -> None:
    first, *others = originals[syntax]
    changed = bytearray(first)
    for place, byte in spoilt:
        changed[int(place * len(changed))] = byte
    if cut < 0.5:
        del changed[int(2 * cut * len(changed)) :]
    with tempfile.TemporaryDirectory() as folder:
        for index, content in enumerate([bytes(changed), *others]):
            (Path(folder) / str(index)).write_bytes(content)
        try:
            volume = read_volume(Path(folder))
        except ImageError as error:
            checked_sentence(error)
        else:
            assert volume.shape == (3, 4, 5)
            assert volume.modality in {"CT", "MR"}
