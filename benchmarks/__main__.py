"""Run every benchmark, one after the other: ``python -m benchmarks``."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path


def main() -> int:
    """Run each script of this folder in a process of its own; return the worst exit code."""
    worst = 0
    for script in sorted(Path(__file__).parent.glob("[a-z]*.py")):
        print(f"== {script.name}", flush=True)
        worst = max(worst, subprocess.run([sys.executable, str(script)], check=False).returncode)
    return worst


if __name__ == "__main__":
    raise SystemExit(main())
