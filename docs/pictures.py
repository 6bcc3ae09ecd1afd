"""Makes the pictures that README and the docs show, from the tool itself: `python docs/pictures.py`.

Needs Debian's chromium and the test extra. Run it after a change that is meant to be seen.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
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


def tutorial() -> None:
    """Follow the tutorial's commands in a temporary folder; keep what they print, and photograph what they make."""
    text = (HERE / "tutorial.md").read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as name:
        folder, said = Path(name), {}
        for block in re.findall(r"^```sh\n(.*?)^```", text, flags=re.S | re.M):
            done = subprocess.run(["sh", "-e", "-c", block], cwd=folder, check=True, capture_output=True, text=True)
            for command in re.findall(r"(?m)^partgen (\w+)", block):
                said.setdefault(command, done.stdout)
        for command in ("predict", "trial"):
            (HERE / "pictures" / f"tutorial-{command}.txt").write_text(said[command].strip() + "\n", encoding="utf-8")
        made = folder / "outputs" / "tide-gauge"
        with sync_playwright() as p, serving(folder) as address:
            browser = p.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
            page = browser.new_page(viewport={"width": 1100, "height": 900})

            def shoot(what: str, at: str, element: str = "") -> None:
                page.goto(at if at.startswith("http") else (made / at).as_uri())
                page.wait_for_timeout(1500)  # the 3D view draws its first frames
                target = page.locator(element).first if element else page
                target.screenshot(path=HERE / "pictures" / f"{what}.png")

            shoot("tutorial-sheet", "sheet.html")
            shoot("tutorial-report", "r01/report.html")
            shoot("tutorial-round", "r01/report.html", "#solid")
            shoot("tutorial-section", "r01/report.html", "#pos-0")
            shoot("tutorial-since", "r02/report.html", "section:has(h2:text-is('Since r01'))")
            page.set_viewport_size({"width": 1100, "height": 720})
            shoot("bench-page", address)
            browser.close()


@contextmanager
def serving(folder: Path) -> Iterator[str]:
    """The bench page of the tutorial's panel: its address, token included."""
    command = [sys.executable, "-m", "partgen", "bench", "profiles/tide-gauge.toml", "--port", "8479", "--quiet"]
    with subprocess.Popen(command, cwd=folder, stdout=subprocess.PIPE, text=True) as server:
        try:
            assert server.stdout is not None
            yield server.stdout.readline().strip()
        finally:
            server.terminate()


FAMILIES = {
    "knob": "LEVEL", "knob-tapered": "TRIM", "slider-cap": "FLOOD", "lever-cap": "MODE", "button-cap": "K1",
    "extension": "K4", "plug": "LAMP", "plug-fingers": "COUNT", "sleeve": "K5", "window-cap": "K6",
}  # fmt: skip
"""A position of the tide gauge's panel that shows each."""


def families() -> None:
    """Build the tide gauge's panel and draw one part of each family, from above and from below."""
    from partgen.jobs.build_meshes import make_parts
    from partgen.jobs.inputs import gather
    from partgen.jobs.plan import plan_inputs
    from partgen.views.mesh_picture import Body, picture, view
    from partgen.views.report_extras import Shape

    inputs = gather(ROOT / "profiles" / "tide-gauge-panel.toml")
    planned = plan_inputs(inputs)
    wanted = [plan for plan in planned.plan.positions if plan.label in FAMILIES.values()]
    bore = planned.estimate.bore_error.value
    made, _ = make_parts(wanted, inputs.profile, inputs.printer, lambda *_: None, bore_error=bore)
    for name, label in FAMILIES.items():
        mesh, colour = made[label].cap.mesh, inputs.profile.part[made[label].plan.part].colour
        shape = Shape(mesh.vertices, mesh.faces)
        turned = Shape(mesh.vertices * (1.0, -1.0, -1.0), mesh.faces)
        aside = 1.5 * float(np.ptp(mesh.vertices[:, 0]))
        low = float(mesh.vertices[:, 2].min() + mesh.vertices[:, 2].max())
        bodies = [Body(shape, colour), Body(turned, colour, (aside, 0.0, low))]
        bodies += [Body(Shape(body.mesh.vertices, body.mesh.faces), body.colour) for body in made[label].bodies]
        (HERE / "pictures" / f"{name}.png").write_bytes(picture(bodies, view(25.0, 32.0), 560, 320))


DESK = {
    "knob-pair": ("GATE", "CREEP"), "knob-scale": ("WEST", "EAST"), "signs": ("RAISE", "LAMP", "LOWER"),
    "pattern": ("HORN",),
}  # fmt: skip
"""Positions of the lock gate desk that show what parts may bear."""


def desk() -> None:
    """Build the lock gate desk and draw its parts side by side, every colour as it is; a pair also in its place."""
    from partgen.jobs.build_meshes import MadePart, make_parts
    from partgen.jobs.inputs import gather
    from partgen.jobs.plan import plan_inputs
    from partgen.views.mesh_picture import Body, picture, view
    from partgen.views.report_extras import Shape

    inputs = gather(ROOT / "profiles" / "lock-gate-desk.toml")
    planned = plan_inputs(inputs)
    bore = planned.estimate.bore_error.value
    made, _ = make_parts(planned.plan.positions, inputs.profile, inputs.printer, lambda *_: None, bore_error=bore)

    def bodies(part: MadePart, at: tuple[float, float, float]) -> list[Body]:
        core = part.cap.mesh if part.core is None else part.core
        colours = [(core, inputs.profile.part[part.plan.part].colour), *((b.mesh, b.colour) for b in part.bodies)]
        return [Body(Shape(mesh.vertices, mesh.faces), colour, at) for mesh, colour in colours]

    for name, labels in DESK.items():
        x, shown = 0.0, []
        for label in labels:
            wide = float(np.ptp(made[label].cap.mesh.vertices[:, 0]))
            shown += bodies(made[label], (x + wide / 2, 0.0, -float(made[label].cap.mesh.vertices[:, 2].min())))
            x += 1.25 * wide
        if name == "knob-pair":  # over the panel's face, as they stand on one another
            for label in labels:
                shown += bodies(made[label], (x + 14.0, 0.0, -made[label].plan.drop))
        (HERE / "pictures" / f"{name}.png").write_bytes(picture(shown, view(-25.0, 40.0), 640, 320))


if __name__ == "__main__":
    main()
    tutorial()
    families()
    desk()
