"""Makes the pictures that README and the docs show, from the tool itself: `python docs/pictures.py`.

Needs Debian's chromium and the test extra. Run it after a change that is meant to be seen.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
DEMO = "fog-signal-controller"


def main() -> None:
    """Build the demo in a temporary folder and photograph its report."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copy(ROOT / "profiles" / f"{DEMO}.toml", folder)
        subprocess.run(
            [sys.executable, "-m", "partgen", "build", f"{DEMO}.toml", "--quiet"],
            cwd=folder,
            check=True,
            stdout=subprocess.DEVNULL,
        )
        report = folder / "outputs" / DEMO / "r01" / "report.html"
        with sync_playwright() as p:
            browser = p.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
            page = browser.new_page(viewport={"width": 1100, "height": 1430})
            page.goto(report.as_uri())
            page.wait_for_timeout(1500)  # the 3D view draws its first frames
            page.screenshot(path=HERE / "pictures" / "report.png")
            browser.close()


if __name__ == "__main__":
    main()
