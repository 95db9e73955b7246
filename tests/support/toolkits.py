"""Independent DICOM programs that judge our files: dcmtk and dicom3tools.

They are Debian packages, not Python ones, so a machine may lack them; the tests then say so.
"""

from __future__ import annotations

import shutil
import subprocess
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from pathlib import Path

PACKAGE_OF = {
    "dciodvfy": "dicom3tools",
    "dcm2json": "dcmtk",
    "dcmcjpeg": "dcmtk",
    "dcmcjpls": "dcmtk",
    "dcmcrle": "dcmtk",
    "dcmconv": "dcmtk",
    "dcmdump": "dcmtk",
    "dcmftest": "dcmtk",
    "dcmmkdir": "dcmtk",
}


def toolkit(program: str, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """Run a program of an independent toolkit, or say plainly that it could not be run."""
    found = shutil.which(program)
    if found is None:
        pytest.skip(
            f"not checked: the program {program} is not on this machine "
            f"(Debian package {PACKAGE_OF[program]})"
        )
    return subprocess.run(
        [found, *map(str, arguments)], capture_output=True, text=True, check=False, timeout=60
    )
