"""The main job as its user does it: commands in a folder of their own, files read back by other libraries."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import trimesh
from stl import mesh as numpy_stl

ROOT = Path(__file__).resolve().parent.parent
DEMO = "fog-signal-controller"


def run(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "partgen", *arguments]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)


def bench(folder: Path) -> Path:
    """A person's folder with the shipped profiles in it."""
    (folder / "profiles").mkdir()
    for path in (ROOT / "profiles").glob("*.toml"):
        if not path.name.endswith(".log.toml"):
            shutil.copy(path, folder / "profiles")
    return folder


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict]:
    """The demo built once: its folder and the document that build printed."""
    folder = bench(tmp_path_factory.mktemp("demo"))
    done = run(folder, "build", f"profiles/{DEMO}.toml", "--json")
    assert done.returncode == 0, done.stderr
    return folder, json.loads(done.stdout)


def test_predict_gives_every_position_its_own_height_as_the_tilt_demands(demo):
    _, document = demo
    row = [p for p in document["positions"] if p["label"].startswith("A")]
    heights = np.array([p["height_mm"] for p in row])
    x = np.array([p["at_mm"][0] for p in row])
    assert (np.diff(heights) > 0).all()
    # the row's own slope is the panel's along x, to within its stated uncertainty
    slope = np.polyfit(x, heights, 1)[0]
    expected = np.tan(np.radians(document["panel"]["tilt_deg"])) * np.cos(np.radians(document["panel"]["uphill_deg"]))
    assert slope == pytest.approx(expected, abs=np.tan(np.radians(3 * document["panel"]["tilt_u95_deg"])))
    assert all(p["proud_u95_mm"] > 0 for p in document["positions"])


def test_every_exported_file_is_closed_single_and_of_the_stated_size(demo):
    folder, document = demo
    home = folder / "outputs" / DEMO / "r01"
    assert len(document["positions"]) == 24
    for p in document["positions"]:
        path = home / p["file"]
        assert path.stat().st_size == 84 + 50 * len(numpy_stl.Mesh.from_file(str(path)).vectors)  # binary STL layout
        read = trimesh.load_mesh(path)
        assert read.is_watertight and read.is_winding_consistent and read.volume > 0
        assert read.body_count == 1
        assert read.extents == pytest.approx(p["extent_mm"], abs=0.01)
        # the height along the seat's axis, socket floor to crown, read off the file by rays
        hits = _on_axis(read, p)
        assert hits == pytest.approx(p["model_height_mm"], abs=0.01)


def _on_axis(read: trimesh.Trimesh, p: dict) -> float:
    """Thickness of material over the socket on the seat's axis, whichever way up the file lies."""
    size = p["section_mm"]
    assert size[0] < read.extents[0] + 0.2  # lies on the seat's axis, so X and Y are still the section's
    centre = (read.bounds[0] + read.bounds[1]) / 2
    origin = np.array([[centre[0] + 0.0123, centre[1] + 0.0077, read.bounds[1][2] + 5.0]])
    locations = read.ray.intersects_location(origin, np.array([[0.0, 0.0, -1.0]]), multiple_hits=True)[0]
    z = np.unique(np.round(locations[:, 2], 4))
    return float(z[-1] - z[-2]) if len(z) > 1 else float("nan")


def test_fit_json_is_what_build_printed_and_the_log_has_the_revision(demo):
    folder, document = demo
    assert json.loads((folder / "outputs" / DEMO / "r01" / "fit.json").read_text()) == document
    history = json.loads(run(folder, "log", f"profiles/{DEMO}.toml", "--json").stdout)
    assert [r["id"] for r in history["revision"]] == ["r01"]
    assert {b["label"] for b in history["revision"][0]["built"]} == {p["label"] for p in document["positions"]}


def test_plan_and_geometry_stand_side_by_side_and_agree(demo):
    _, document = demo
    for p in document["positions"]:
        assert p["geometry"]["height_mm"] == pytest.approx(p["model_height_mm"], abs=0.01)
        assert p["geometry"]["clearance_mm"] == pytest.approx(p["clearance"]["model_nominal_mm"], abs=0.02)
        assert p["geometry"]["interference_mm3"] == 0


def test_a_revision_is_made_again_from_the_log_alone(demo):
    folder, _ = demo
    home = folder / "outputs" / DEMO / "r01"
    before = {path.name: path.read_bytes() for path in [*home.glob("parts/*"), home / "fit.json"]}
    profile = folder / "profiles" / f"{DEMO}.toml"
    text = profile.read_text()
    try:
        profile.write_text(text.replace("proud = 2.5", "proud = 1.9"))
        shutil.rmtree(home)
        done = run(folder, "build", f"profiles/{DEMO}.toml", "--revision", "r01")
    finally:
        profile.write_text(text)
    assert done.returncode == 0, done.stderr
    assert "the same to the last byte" in done.stderr
    assert {path.name: path.read_bytes() for path in [*home.glob("parts/*"), home / "fit.json"]} == before


def test_a_hole_that_is_too_small_fails_and_names_the_positions(tmp_path, demo):
    folder = bench(tmp_path)
    section = next(p["section_mm"] for p in demo[1]["positions"] if p["label"] == "A1")
    profile = folder / "profiles" / f"{DEMO}.toml"
    head, hole, tail = re.split(r"(\[hole\.window\].*?)(?=\n\[)", profile.read_text(), maxsplit=1, flags=re.S)
    hole = re.sub(r"(?m)^width.*$", f"width = {section[0] + 0.02:.3f}", hole)
    hole = re.sub(r"(?m)^depth.*$", f"depth = {section[1] + 0.02:.3f}", hole)
    profile.write_text(head + hole + tail)
    done = run(folder, "build", f"profiles/{DEMO}.toml", "--json")
    assert done.returncode == 1
    document = json.loads(done.stdout)
    window = {p["label"] for p in document["positions"] if p["hole"] == "window"}
    checks = [(p["label"], c) for p in document["positions"] for c in p["checks"]]
    binds = {label for label, c in checks if c["code"] == "bind" and c["state"] == "fail"}
    assert binds == window and len(window) == 20


def test_one_height_for_all_is_reported_position_by_position(tmp_path):
    folder = bench(tmp_path)
    profile = folder / "profiles" / f"{DEMO}.toml"
    profile.write_text(profile.read_text().replace("proud = 2.5", "proud = 2.5\nheight = 8.7"))
    done = run(folder, "predict", f"profiles/{DEMO}.toml")
    assert done.returncode == 1
    said = {m[1]: m[2] for m in re.finditer(r"^(\w+): fail: .*?(sunk|too proud)", done.stdout, flags=re.M)}
    assert said["A1"] == said["B1"] == "too proud"
    assert said["A10"] == said["B10"] == "sunk"
    assert "A5" not in said  # where the panel happens to be as high as the one height


def test_bad_input_exits_2_with_a_message_and_writes_nothing(tmp_path):
    folder = bench(tmp_path)
    profile = folder / "profiles" / f"{DEMO}.toml"
    profile.write_text(profile.read_text().replace("thickness = [", "thicknes = ["))
    before = sorted(path.relative_to(folder) for path in folder.rglob("*") if path.is_file())
    for command in ("predict", "build"):
        done = run(folder, command, f"profiles/{DEMO}.toml")
        assert done.returncode == 2
        assert "[panel]" in done.stderr and "thicknes" in done.stderr and "thickness" in done.stderr
        assert "Traceback" not in done.stderr and done.stdout == ""
    assert sorted(path.relative_to(folder) for path in folder.rglob("*") if path.is_file()) == before


def test_the_same_build_gives_the_same_bytes(tmp_path, demo):
    folder = bench(tmp_path)
    assert run(folder, "build", f"profiles/{DEMO}.toml", "--quiet").returncode == 0
    for path in (demo[0] / "outputs" / DEMO / "r01").rglob("*"):
        if path.is_file() and path.suffix in (".stl", ".3mf", ".step"):
            assert path.read_bytes() == (folder / path.relative_to(demo[0])).read_bytes(), path.name


def test_a_trial_of_a_panel_with_a_doubted_reading_is_recorded_and_changes_the_next_revision(tmp_path):
    """A wild reading and a trial together once ended in a traceback."""
    folder = bench(tmp_path)
    profile = folder / "profiles" / f"{DEMO}.toml"
    text = profile.read_text()
    first = re.search(r'label = "A3".*?drop = \[([\d.]+)', text, flags=re.S)
    profile.write_text(text.replace(f"drop = [{first[1]}", f"drop = [{float(first[1]) + 0.9:.2f}"))
    document = json.loads(run(folder, "build", f"profiles/{DEMO}.toml", "--json").stdout)
    assert [d["label"] for d in document["doubts"]] == ["A3"]
    prouds = {p["label"]: p["proud_mm"] for p in document["positions"]}
    (folder / "seen.csv").write_text(
        f"label,proud_mm,feel,grip,note\nA1,{prouds['A1'] + 0.6:.2f},free,holds,\nA8,{prouds['A8']:.2f},free,holds,\n"
    )
    done = run(folder, "trial", f"profiles/{DEMO}.toml", "seen.csv")
    assert done.returncode == 0, done.stderr
    assert "A1 proud" in done.stderr  # far from what the readings foretell: questioned before it is believed
    assert run(folder, "trial", f"profiles/{DEMO}.toml", "seen.csv").returncode == 2  # the same trial twice
    (folder / "again.csv").write_text(f"label,proud_mm,feel,grip,note\nA1,{prouds['A1'] + 0.58:.2f},,,measured again\n")
    assert run(folder, "trial", f"profiles/{DEMO}.toml", "again.csv").returncode == 0
    second = json.loads(run(folder, "build", f"profiles/{DEMO}.toml", "--json").stdout)
    made = {p["label"] for p in second["positions"] if p["unchanged_since"] is None}
    assert "A1" in made and "A8" not in made
    assert {path.name for path in (folder / "outputs" / DEMO / "r02" / "parts").glob("*.stl")} == {
        f"{label}-r02.stl" for label in made
    }


GAPS = "".join(
    f"[[panel.gap]]\nat = [{x}, {y}]\nread = [{gap:.2f}, {gap + 0.01:.2f}]\n"
    for x, y, gap in ((-10, 0, 11.30), (30, 12, 11.95), (10, -12, 11.64))
)
"""Panel gaps beside README's two positions, as its drops and a seat 9.2 mm high have them."""


def test_readmes_own_profile_plans_and_predict_says_what_would_prove_it_until_enough_is_measured(tmp_path):
    text = re.search(r"```toml\n(.*?)```", (ROOT / "README.md").read_text(), flags=re.S)[1]
    (tmp_path / "short.toml").write_text(text)
    done = run(tmp_path, "predict", "short.toml")
    assert done.returncode == 0, done.stderr
    assert "that all 2 fit" in done.stdout and "not proven" in done.stdout
    assert "\nNext: " in done.stdout and "wobbles was not read" in done.stdout
    known = text.replace("[panel]", "[caliper]\nzero = [0.00, 0.00]\n[panel]", 1)
    known = known.replace(
        "[hole.window]", GAPS + "[hole.window]\noffset_limit = 0.2\nbevel = 0\ncorner_radius = 0.5", 1
    )
    seat = "[seat.plunger]\ntravel = 1.2\nbody = 6.5\nwobble = [0.10, 0.11]\nheight = [9.20, 9.21]"
    (tmp_path / "read.toml").write_text(known.replace("[seat.plunger]", seat, 1))
    done = run(tmp_path, "predict", "read.toml")
    assert done.returncode == 0, done.stderr
    assert ": fits:" in done.stdout and "not proven" not in done.stdout
    assert "Enough is measured" in done.stdout and "Next: " not in done.stdout
