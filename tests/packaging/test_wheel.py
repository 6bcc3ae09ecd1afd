"""The wheel holds everything, and works from a folder outside the checkout."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
MADE = {"__pycache__", "build"}


@pytest.fixture(scope="module")
def dist(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the sdist and the wheel built from that, without network, from a copy of what git hands out."""
    source = tmp_path_factory.mktemp("source") / "partgen"
    ignore = shutil.ignore_patterns(".git", ".venv", "outputs", "__pycache__", "build", "dist")
    shutil.copytree(ROOT, source, ignore=ignore)
    for log in source.glob("profiles/*.log.toml"):
        log.unlink()
    out = tmp_path_factory.mktemp("dist")
    command = [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(out), str(source)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    return out


@pytest.fixture(scope="module")
def wheel(dist: Path) -> Path:
    return next(dist.glob("*.whl"))


def test_the_sdist_holds_what_git_does(dist):
    with tarfile.open(next(dist.glob("*.tar.gz"))) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    for folder in ("partgen", "profiles", "tests", "docs"):
        for path in (ROOT / folder).rglob("*"):
            relative = path.relative_to(ROOT)
            made = MADE & set(relative.parts) or (folder == "profiles" and path.name.endswith(".log.toml"))
            if path.is_file() and not made and not path.name.startswith("."):
                assert relative.as_posix() in names, relative
    assert {"README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml"} <= names


def test_the_wheel_holds_code_data_and_templates(wheel):
    names = set(zipfile.ZipFile(wheel).namelist())
    for kind in ("printers", "materials", "seats"):
        shipped = {f"partgen/shipped/{kind}/{p.name}" for p in (ROOT / "profiles" / kind).glob("*.toml")}
        assert shipped and shipped <= names
    for path in (ROOT / "partgen").rglob("*"):
        if path.is_file() and "__pycache__" not in path.parts:
            assert path.relative_to(ROOT).as_posix() in names, path
    assert not [name for name in names if name.startswith(("tests/", "docs/"))]


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The commands' folder of an environment with nothing of the checkout in it: the wheel, and its libraries."""
    home = tmp_path_factory.mktemp("environment")
    venv.create(home, with_pip=False)
    command = [sys.executable, "-m", "pip", "--python", str(home / "bin" / "python"), "install", "-q", "--no-deps"]
    subprocess.run([*command, "--no-index", str(wheel)], check=True, capture_output=True)
    # the libraries are those of this environment; the wheel's own folder comes first on the path
    target = next(home.glob("lib/python*/site-packages"))
    (target / "libraries.pth").write_text(sysconfig.get_paths()["purelib"] + "\n")
    return home / "bin"


def shell(script: str, folder: Path, commands: Path, program: str = "sh") -> subprocess.CompletedProcess[str]:
    """A script as a person would paste it, with the installed partgen first on the path."""
    environment = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "VIRTUAL_ENV")}
    environment["PATH"] = f"{commands}{os.pathsep}{os.environ['PATH']}"
    command = [program, *(["-e"] if program == "sh" else []), "-c", script]
    return subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False)


def test_it_is_the_installed_one(installed, tmp_path):
    done = shell("partgen --version; python -m partgen --version; python -c 'import partgen; print(partgen.__file__)'",
                 tmp_path, installed)  # fmt: skip
    first, second, where = done.stdout.splitlines()
    assert first == second and first.startswith("partgen ")
    assert Path(where).is_relative_to(installed.parent)


@pytest.mark.long  # mypy reads all the libraries anew
def test_the_python_interface_is_typed_for_whoever_uses_it(installed, tmp_path):
    """mypy, strict, sees the types of the installed package, and a wrong use is an error."""
    (tmp_path / "use.py").write_text(
        "from partgen.api import build, load_profile, plan\n\n"
        'loaded = load_profile("my-panel.toml")\n'
        "fit = plan(loaded, seed=3)\n"
        "heights: list[float] = [position.height_mm for position in fit.positions]\n"
        'folder: str = build(loaded, "outputs").folder.name\n'
        "wrong: int = fit.set.p_all_fit\n",
        encoding="utf-8",
    )
    command = [sys.executable, "-m", "mypy", "--strict", "--python-executable", str(installed / "python"), "use.py"]
    command += ["--cache-dir", str(tmp_path / "cache"), "--follow-imports", "silent"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    errors = [line for line in done.stdout.splitlines() if "error:" in line]
    assert len(errors) == 1 and errors[0].startswith("use.py:7:"), done.stdout


def test_the_tutorial_runs_from_start_to_end(installed, tmp_path):
    """Every command of docs/tutorial.md, from the wheel, in a folder outside the checkout."""
    text = (ROOT / "docs" / "tutorial.md").read_text(encoding="utf-8")
    blocks = re.findall(r"^```sh\n(.*?)^```", text, flags=re.S | re.M)
    assert len(blocks) >= 8
    for block in blocks:
        done = shell(block, tmp_path, installed)
        assert done.returncode == 0, f"{block}\n{done.stdout[-1500:]}\n{done.stderr[-1500:]}"
    home = tmp_path / "outputs" / "tide-gauge"
    first, second = ({p.stem[:2] for p in (home / r / "parts").glob("*.stl")} for r in ("r01", "r02"))
    assert len(first) == 6
    assert second and second < first  # the trial's rubbing cap, not the whole set
    assert (home / "r02" / "report.html").stat().st_size > 50_000
    assert list(home.glob("r02/plate-*.3mf"))


def test_the_shell_completes_commands_and_options(installed, tmp_path):
    script = (
        'eval "$(partgen --show-completion)"\n'
        "COMP_WORDS=(partgen pre); COMP_CWORD=1; _partgen_completion partgen; echo ${COMPREPLY[@]}\n"
        "COMP_WORDS=(partgen build --re); COMP_CWORD=2; _partgen_completion partgen; echo ${COMPREPLY[@]}\n"
    )
    done = shell(script, tmp_path, installed, "bash")
    assert done.stdout.split() == ["predict", "--revision"], done.stderr
