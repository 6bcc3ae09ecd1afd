"""The whole job in a real browser by keyboard alone: from an empty folder to the second revision.

What the page made is held against what the commands make of the same profile, file by file.
"""

from __future__ import annotations

import io
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import lib3mf
import pytest
import tomlkit
from keyboard import Keyboard
from playwright.sync_api import Browser
from served import Served, served

from partgen.profile.log_file import read_log

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "profiles" / "fog-signal-controller.toml"

BEGIN_SMALL = {
    "title": "Lamp test panel", "unit": "", "rows": "1", "columns": "2", "pitch": "19.0", "row_pitch": "",
    "hole": "rectangle 12.02 7.01", "thickness": "2.04", "seat": "rectangle 3.29 3.28", "seat_length": "4.2",
    "travel": "1.62", "drop": "4.73", "kind": "", "proud": "2.5", "resolution": "", "limit_of_error": "",
    "printer": "",
}  # fmt: skip
READ_SMALL = {
    "panel thickness": ["2.05"],
    "hole window width": ["12.00"],
    "seat plunger width": ["3.30"],
    "position A1 drop": ["4.71", "4.71"],
    "position A2 drop": ["5.02", "0.1992 in", "5,01"],  # the last as calipers set to a comma send it
}

COMMANDS = """
import sys
from partgen.cli.app import main
for line in ("build {name}", "trial {name} trial.csv", "build {name}"):
    sys.argv = ["partgen", *line.split()]
    try:
        main()
    except SystemExit as done:
        assert done.code in (0, 1, None), (line, done.code)
"""


@contextmanager
def opened(chromium: Browser, page: Served) -> Iterator[Keyboard]:
    """The page as its address opens it; nothing may be asked of any other machine."""
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, accept_downloads=True)
    window = context.new_page()
    strayed: list[str] = []
    faults: list[str] = []
    window.on(
        "request", lambda r: strayed.append(r.url) if not r.url.startswith((page.base, "data:", "blob:")) else None
    )
    window.on("pageerror", lambda error: faults.append(str(error)))
    window.goto(page.address)
    yield Keyboard(window)
    context.close()
    assert not strayed
    assert not faults


def begin(keys: Keyboard, answers: dict[str, str]) -> None:
    keys.page.wait_for_url("**/start")
    for answer in answers.values():  # Enter moves on, so a calipers cable can answer here too
        keys.type_line(answer)
    keys.page.keyboard.press("Enter")
    keys.page.wait_for_url("**/measure")


def same_as_the_commands(folder: Path, name: str, trials: str, other: Path) -> None:
    """Run the commands on the profile that the page wrote; every file, and what the log holds, must be equal."""
    profile = f"{name}.toml"
    (other / profile).write_bytes((folder / profile).read_bytes())
    (other / "trial.csv").write_text(f"label,proud_mm,feel,grip,note\n{trials}")
    done = subprocess.run(
        [sys.executable, "-c", COMMANDS.format(name=profile)], cwd=other, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr

    def files(home: Path) -> dict[str, bytes]:
        return {p.relative_to(home).as_posix(): p.read_bytes() for p in (home / "outputs").rglob("*") if p.is_file()}

    ours, theirs = files(folder), files(other)
    assert ours.keys() == theirs.keys()
    assert [name for name in ours if ours[name] != theirs[name]] == []
    by_page, by_commands = (_built_and_tried(home / f"{name}.log.toml") for home in (folder, other))
    assert by_page == by_commands


def _built_and_tried(path: Path) -> list[dict[str, Any]]:
    """What a log says was built and tried; the page's also says what was typed before, which moves the order."""
    log = read_log(path)
    return [one.model_dump(exclude={"step"}) for one in (*log.revision, *log.trial)]


def objects_of(path: Path) -> int:
    """How many placed items a 3MF holds, read by lib3mf, strictly."""
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    assert reader.GetWarningCount() == 0
    return model.GetBuildItems().Count()


def test_from_an_empty_folder_to_the_second_revision_by_keyboard(chromium, tmp_path):
    folder, other, got = (tmp_path / name for name in ("page", "commands", "got"))
    for one in (folder, other, got):
        one.mkdir()
    with served(folder) as page, opened(chromium, page) as keys:
        begin(keys, BEGIN_SMALL)
        keys.readings({place: list(values) for place, values in READ_SMALL.items()})
        text = (folder / "panel.toml").read_text()
        assert 'drop = [5.02, "0.1992 in", 5.01]' in text and "drop = [4.73, 4.71, 4.71]" in text
        keys.section("shape")
        keys.set("crown", "domed")
        keys.build("r01")
        plate = keys.fetch('a[href$="plate-1.3mf"]', got / "plate-1.3mf")
        assert plate.read_bytes() == (folder / "outputs/panel/r01/plate-1.3mf").read_bytes()
        assert objects_of(plate) == 2
        keys.section("try")
        keys.tried("A1", "2.55", "free", "loose")
        keys.tried("A2", "2.52", "free", "loose")
        keys.press("#record")
        keys.settled()
        keys.page.get_by_role("heading", name="What this teaches").wait_for()
        keys.page.locator("#changes td").first.wait_for()
        keys.build("r02")
        whole = keys.fetch('a[href$="all.zip"]', got / "all.zip")
    with zipfile.ZipFile(io.BytesIO(whole.read_bytes())) as pack:
        packed = {name.removeprefix("panel-r02/"): pack.read(name) for name in pack.namelist()}
    home = folder / "outputs/panel/r02"
    assert packed == {p.relative_to(home).as_posix(): p.read_bytes() for p in home.rglob("*") if p.is_file()}
    same_as_the_commands(folder, "panel", "A1,2.55,free,loose,\nA2,2.52,free,loose,\n", other)


# --- the demo's own numbers -----------------------------------------------------------------------------


def written(item: Any) -> list[str]:
    """A reading's numbers as the demo's file has them."""
    items = item if isinstance(item, list) else [item]
    return [str(one) if isinstance(one, str) else one.as_string().strip() for one in items]


@pytest.mark.long
def test_the_demo_typed_in_by_keyboard_alone(chromium, tmp_path):
    demo: Any = tomlkit.parse(DEMO.read_text())
    folder, other, got = (tmp_path / name for name in ("page", "commands", "got"))
    for one in (folder, other, got):
        one.mkdir()
    window, plunger, port, pin = (
        demo["hole"]["window"],
        demo["seat"]["plunger"],
        demo["hole"]["port"],
        demo["seat"]["pin"],
    )
    positions = {p["label"]: p for p in demo["position"]}
    left: dict[str, list[str]] = {"panel thickness": written(demo["panel"]["thickness"])[1:]}
    for name, table in (("window", window), ("port", port)):
        for key in ("width", "depth", "diameter"):
            if key in table:
                left[f"hole {name} {key}"] = written(table[key])[1:]
    for name, table in (("plunger", plunger), ("pin", pin)):
        for key in ("width", "depth", "diameter", "travel"):
            if key in table:
                left[f"seat {name} {key}"] = written(table[key])[0 if (name, key) == ("pin", "travel") else 1 :]
    for label, position in positions.items():
        if "drop" in position:
            left[f"position {label} drop"] = written(position["drop"])[1 if label in ("A1", "R1") else 0 :]
    with served(folder, "fog-signal-controller.toml") as page, opened(chromium, page) as keys:
        begin(
            keys,
            {
                "title": str(demo["title"]), "unit": "", "rows": "2", "columns": "10", "pitch": "19.0",
                "row_pitch": "22.0", "hole": f"rectangle {written(window['width'])[0]} {written(window['depth'])[0]}",
                "thickness": written(demo["panel"]["thickness"])[0],
                "seat": f"rectangle {written(plunger['width'])[0]} {written(plunger['depth'])[0]}",
                "seat_length": "4.2", "travel": written(plunger["travel"])[0],
                "drop": written(positions["A1"]["drop"])[0], "kind": "", "proud": "2.5", "resolution": "0.01",
                "limit_of_error": "0.03", "printer": "",
            },
        )  # fmt: skip
        keys.section("shape")
        _add(keys, "hole", {"name": "port", "shape": f"round {written(port['diameter'])[0]}"})
        _add(keys, "seat", {"name": "pin", "shape": f"round {written(pin['diameter'])[0]}", "length": "4.0"})
        _add(keys, "part", {"name": "dot", "kind": "", "hole": "port", "seat": "pin", "proud": "2.2"})
        _add(
            keys,
            "position",
            {
                "label": "R1",
                "x": "28.5",
                "y": "44.0",
                "part": "dot",
                "count": "4",
                "pitch": "38.0",
                "drop": written(positions["R1"]["drop"])[0],
            },
        )
        for table, name, values in (
            ("part", "key", {"section": "10.9, 5.9"}),
            ("part", "dot", {"section": "7.9, 7.9", "crown": "domed"}),
            ("hole", "window", {"offset_limit": "0.2", "corner_radius": "0.5"}),
            ("hole", "port", {"offset_limit": "0.2"}),
            ("seat", "plunger", {"height": ", ".join(written(plunger["height"])), "body": "6.6"}),
            ("seat", "pin", {"body": "6.3"}),
            ("caliper", "", {"repeatability": "0.03"}),
        ):
            keys.choose(table, name)
            for key, value in values.items():
                keys.set(key, value)
        keys.section("measure")
        keys.readings(left)
        for gap in demo["panel"]["gap"]:
            keys.press("#d-gap summary")
            keys.tab_to("#gap-x")
            keys.type_line(written(gap["at"])[0])
            keys.type_line(written(gap["at"])[1])
            keys.settled()
            assert "gap" in keys.page.locator("#place-name").inner_text()
            for value in written(gap["read"]):
                keys.type_line(value)
                keys.settled()
            keys.page.keyboard.press("Escape")
            keys.tab_to("#d-gap summary")
            keys.page.keyboard.press("Enter")
        keys.build("r01")
        plate = keys.fetch('a[href$="plate-1.3mf"]', got / "plate-1.3mf")
        assert objects_of(plate) >= 20
        keys.section("try")
        for label, proud in (("A1", "2.52"), ("A2", "2.47")):
            keys.tried(label, proud, "free", "loose")
        keys.press("#record")
        keys.settled()
        keys.build("r02")
    trials = "A1,2.52,free,loose,\nA2,2.47,free,loose,\n"
    same_as_the_commands(folder, "fog-signal-controller", trials, other)
    # and the numbers are the demo's: the same plan as the shipped file gives, position by position
    alone = got / DEMO.name  # away from its log, so that the trials do not count
    alone.write_bytes((folder / DEMO.name).read_bytes())
    assert _plan(alone) == pytest.approx(_plan(DEMO), abs=1e-6)


def _add(keys: Keyboard, what: str, values: dict[str, str]) -> None:
    """Fill one of the forms under "Add" in their order."""
    if not keys.page.locator("#d-add").evaluate("d => d.open"):
        keys.press("#d-add summary")
    for name, value in values.items():
        keys.tab_to(f'form[data-add="{what}"] [name="{name}"]')
        if value:
            keys.page.keyboard.type(value)
    keys.press(f'form[data-add="{what}"] button')
    keys.settled()
    assert not keys.page.locator("#refused").inner_text()


def _plan(path: Path) -> dict[str, float]:
    from partgen.jobs.plan import plan_profile

    document = plan_profile(path).document
    return {p.label: p.height_mm for p in document.positions} | {"tilt": document.panel.tilt_deg}
