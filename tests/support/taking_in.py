"""Taking folders into an empty store, and refusals that must change nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from tests.support.casefolder import (
    PATIENT,
    TODAY,
    bundle,
    result,
)

from thalweg.errors import InputError
from thalweg.service.intake import IntakeReport, take_in

if TYPE_CHECKING:
    from pathlib import Path

    from thalweg.store import Store

BUNDLE = bundle(PATIENT, result("3091-6", "30.0", "mg/dL"))
UNMARKED_IMAGES = '\n[images]\nfolder = "ct"\n'


def taken(folder: Path, store: Store) -> IntakeReport:
    return take_in(folder, store, today=TODAY)


def refusal_of(folder: Path, store: Store) -> InputError:
    """Return the error, having checked that it changed nothing and names nobody."""
    before = (store.trail(), sorted(store.home.rglob("*")))
    with pytest.raises(InputError) as caught:
        taken(folder, store)
    assert (store.trail(), sorted(store.home.rglob("*"))) == before
    for told in (caught.value, *getattr(caught.value, "others", ())):
        assert not {word for word in ("Ada", "Example", "1961-03", "SU-0417") if word in str(told)}
    return caught.value
