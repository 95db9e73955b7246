"""Fail when a package that users install carries a licence that would bind their code."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from importlib.metadata import requires
from pathlib import Path

from packaging.requirements import Requirement

# LGPL is linked, not copied, and so does not bind; the GPL and AGPL do.
REFUSED = ("GPL", "AGPL")
ALLOWED_DESPITE = ("LGPL", "Lesser General Public")


def runtime_packages(root: str = "thalweg") -> set[str]:
    """Return the names of every package that installing `root` brings."""
    found: set[str] = set()
    queue = [root]
    while queue:
        name = queue.pop()
        for line in requires(name) or []:
            requirement = Requirement(line)
            wanted = requirement.marker is None or requirement.marker.evaluate({"extra": ""})
            if wanted and requirement.name.lower() not in found:
                found.add(requirement.name.lower())
                queue.append(requirement.name)
    return found


def main() -> int:
    """Print each offending package; return 1 if there is one."""
    command = [sys.executable, "-m", "piplicenses", "--format=json", "--from=mixed"]
    rows = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
    wanted = {name.replace("_", "-") for name in runtime_packages()}
    bad = [
        row
        for row in rows
        if row["Name"].lower().replace("_", "-") in wanted
        and any(word in row["License"] for word in REFUSED)
        and not any(word in row["License"] for word in ALLOWED_DESPITE)
    ]
    for row in bad:
        sys.stderr.write(f"{row['Name']} {row['Version']}: {row['License']}\n")
    known = tomllib.loads(Path("pyproject.toml").read_text(encoding="utf-8"))
    direct = len(known["project"]["dependencies"])
    sys.stdout.write(f"licences: {len(wanted)} packages ({direct} direct), {len(bad)} refused\n")
    return 1 if bad else 0


if __name__ == "__main__":
    raise SystemExit(main())
