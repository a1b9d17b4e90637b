"""``python3 -m tests.audit``: known weaknesses of the pinned packages, where pip-audit can tell.

Needs the package pip-audit and a registry that answers its questions. Packages that could not be
asked about are counted and named, never passed over.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

from gait import environment

PINS = Path(environment.__file__).with_name("constraints.txt")


def pins(text: str) -> list[str]:
    """Return the pinned packages, one ``name==version`` each."""
    lines = (line.strip() for line in text.splitlines())
    return [line for line in lines if "==" in line and not line.startswith("#")]


def main() -> int:
    """Ask about every pin; 0 when none is known to be weak, 2 when nothing could be asked."""
    wanted = pins(PINS.read_text(encoding="utf-8"))
    with tempfile.TemporaryDirectory() as folder:
        listed = Path(folder) / "pins.txt"
        listed.write_text("\n".join(wanted), encoding="utf-8")
        asked = subprocess.run(
            [sys.executable, "-m", "pip_audit", "-r", str(listed), "--no-deps", "--disable-pip",
             "--format", "json", "--progress-spinner", "off"],
            capture_output=True,
            text=True,
            check=False,
        )  # fmt: skip
    if not asked.stdout.strip():
        print("pip-audit is not installed, or no registry answered.", file=sys.stderr)
        return 2
    found = json.loads(asked.stdout)["dependencies"]
    skipped = [d["name"] for d in found if "skip_reason" in d]
    weak = [d for d in found if d.get("vulns")]
    for package in weak:
        known = ", ".join(v["id"] for v in package["vulns"])
        print(f"{package['name']} {package['version']}: {known}")
    print(f"{len(found) - len(skipped)} of {len(wanted)} packages asked about, {len(weak)} weak.")
    if skipped:
        print(f"Could not be asked about: {', '.join(skipped)}")
    return 1 if weak else 2 if len(skipped) == len(found) else 0


if __name__ == "__main__":
    raise SystemExit(main())
