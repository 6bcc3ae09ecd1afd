"""The wheel holds everything, and works from a folder outside the checkout."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The project's wheel, built without network from a copy of what git would hand out."""
    source = tmp_path_factory.mktemp("source") / "partgen"
    ignore = shutil.ignore_patterns(".git", ".venv", "outputs", "__pycache__", "*.log.toml", "build", "dist")
    shutil.copytree(ROOT, source, ignore=ignore)
    out = tmp_path_factory.mktemp("dist")
    command = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(out), str(source)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    return next(out.glob("*.whl"))


def test_the_wheel_holds_code_data_and_templates(wheel):
    names = set(zipfile.ZipFile(wheel).namelist())
    for kind in ("printers", "materials", "seats"):
        shipped = {f"partgen/shipped/{kind}/{p.name}" for p in (ROOT / "profiles" / kind).glob("*.toml")}
        assert shipped and shipped <= names
    for path in (ROOT / "partgen").rglob("*"):
        if path.is_file() and "__pycache__" not in path.parts:
            assert path.relative_to(ROOT).as_posix() in names, path
    assert not [name for name in names if name.startswith(("tests/", "docs/"))]


@pytest.fixture
def installed(wheel, tmp_path) -> Path:
    """An environment with nothing of the checkout in it: the wheel, and the libraries it depends on."""
    home = tmp_path / "environment"
    venv.create(home, with_pip=False)
    target = next(home.glob("lib/python*/site-packages"))
    subprocess.run(
        [sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--no-index", "--target", str(target), str(wheel)],
        check=True,
        capture_output=True,
    )
    # the libraries are those of this environment; the wheel's own folder comes first on the path
    (target / "libraries.pth").write_text(sysconfig.get_paths()["purelib"] + "\n")
    return home / "bin" / "python"


def test_it_runs_the_whole_job_outside_the_checkout(installed, tmp_path):
    folder = tmp_path / "bench"
    folder.mkdir()

    def run(*arguments: str) -> subprocess.CompletedProcess[str]:
        environment = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH",)}
        command = [str(installed), "-m", "partgen", *arguments]
        return subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False)

    where = subprocess.run(
        [str(installed), "-c", "import partgen; print(partgen.__file__)"],
        cwd=folder,
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert str(installed.parent.parent) in where
    assert run("--version").stdout.startswith("partgen ")
    started = run("start", "bench-panel", "--rows", "1", "--columns", "2", "--pitch", "20", "--hole", "round 9.0",
                  "--thickness", "2.0", "--seat", "round 3.0", "--seat-length", "4.0", "--travel", "1.5",
                  "--drop", "4.3", "--proud", "2.0", "--yes")  # fmt: skip
    assert started.returncode == 0, started.stderr
    built = run("build", "profiles/bench-panel.toml", "--quiet")
    assert built.returncode == 0, built.stderr
    home = folder / "outputs" / "bench-panel" / "r01"
    assert (home / "report.html").stat().st_size > 50_000
    assert len(list((home / "parts").glob("*.stl"))) == 2
