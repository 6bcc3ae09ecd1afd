"""Every family in one profile: predicted without CAD, built and reported in one run."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import trimesh

from partgen.kinds import BY_KIND

ROOT = Path(__file__).resolve().parents[2]
DEMO = "tide-gauge-panel"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("all")
    shutil.copy(ROOT / "profiles" / f"{DEMO}.toml", home)
    return home


def said_by(script: str, folder: Path) -> str:
    """What an interpreter of its own prints."""
    done = subprocess.run([sys.executable, "-c", script], cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_predict_of_every_family_imports_no_cad(folder: Path) -> None:
    script = (
        "import sys; from pathlib import Path; from partgen.jobs.plan import plan_profile\n"
        f"done = plan_profile(Path('{DEMO}.toml'))\n"
        "print(sorted({p.kind for p in done.document.positions}))\n"
        "print(sorted({m.split('.')[0] for m in sys.modules} & {'OCP', 'cadquery', 'trimesh', 'vtk', 'vtkmodules'}))"
    )
    kinds, heavy = said_by(script, folder).splitlines()
    assert kinds == str(sorted(BY_KIND))
    assert heavy == "[]"


def test_one_run_builds_and_reports_all(folder: Path) -> None:
    """And loads no CAD: the kernel runs in a process of its own, whatever the part kind."""
    script = (
        "import sys; from partgen.cli.app import main\n"
        f"sys.argv = ['partgen', 'build', '{DEMO}.toml', '--json']\n"
        "try:\n    main()\n"
        "finally:\n    assert not {'OCP', 'cadquery'} & set(sys.modules)"
    )
    document = json.loads(said_by(script, folder))
    home = folder / "outputs" / DEMO / "r01"
    for p in document["positions"]:
        read = trimesh.load_mesh(home / p["file"])
        assert read.is_watertight and read.body_count == 1
        assert read.extents == pytest.approx(p["extent_mm"], abs=0.01)
    over = [p for p in document["positions"] if p["drawing"]["over"]]
    assert len(over) == 6
    for p in over:
        assert p["drawing"]["over"] and p["drawing"]["passage"] == []
        assert p["geometry"]["clearance_mm"] > 0
        assert p["height_mm"] == pytest.approx(p["drawing"]["face_z"] + p["proud_wanted_mm"], abs=2e-4)
    report = (home / "report.html").read_text(encoding="utf-8")
    for p in document["positions"]:
        assert p["label"] in report
    assert "to what is below" in report
