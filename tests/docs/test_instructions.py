"""What DEVELOPERS.md and the how-to pages tell a contributor is followed here to the letter."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from partgen.core.findings import Finding
from partgen.profile.seats import known_seats, recognise_size

ROOT = Path(__file__).resolve().parents[2]
FAMILY = (ROOT / "docs/howto/add-a-part-family.md").read_text(encoding="utf-8")
REST = (ROOT / "docs/howto/add-a-seat-check-or-process.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def block(text: str, kind: str, containing: str) -> str:
    """The code block of a page that holds a certain word."""
    found = [b for b in re.findall(rf"^```{kind}\n(.*?)^```", text, flags=re.S | re.M) if containing in b]
    assert len(found) == 1
    return found[0]


def test_a_family_is_one_module_and_one_word(tmp_path):
    """The page's module, put where the page says, in a copy of the package."""
    shutil.copytree(ROOT / "partgen", tmp_path / "partgen", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(ROOT / "profiles", tmp_path / "profiles", ignore=shutil.ignore_patterns("*.log.toml"))
    (tmp_path / "partgen/kinds/call_cap.py").write_text(block(FAMILY, "python", "CALL_CAP"), encoding="utf-8")
    register = tmp_path / "partgen/kinds/__init__.py"
    text = register.read_text(encoding="utf-8")
    text = text.replace(
        "from partgen.kinds.knob", "from partgen.kinds.call_cap import CALL_CAP\nfrom partgen.kinds.knob", 1
    )
    text = re.sub(r"(REGISTER: tuple\[Family, \.\.\.\] = \([^)]*?),?\s*\)", r"\1, CALL_CAP)", text)
    register.write_text(text, encoding="utf-8")
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    profile = block(readme, "toml", "[part.key]").replace("button-cap", "call-cap").replace("proud = 1.5", "")
    (tmp_path / "my-panel.toml").write_text(profile, encoding="utf-8")
    environment = {**os.environ, "PYTHONPATH": str(tmp_path)}
    command = [sys.executable, "-m", "partgen", "predict", "my-panel.toml"]
    done = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    row = next(line.split() for line in done.stdout.splitlines() if line.startswith("S1"))
    assert float(row[4]) == pytest.approx(4.0, abs=0.15)  # the family's own default for how proud it stands
    wrong = (tmp_path / "my-panel.toml").read_text(encoding="utf-8").replace('"call-cap"', '"call-cup"')
    (tmp_path / "my-panel.toml").write_text(wrong, encoding="utf-8")
    done = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 2 and 'did you mean "call-cap"?' in done.stderr


def test_a_known_seat_is_a_file(tmp_path):
    subprocess.run(["sh", "-e", "-c", block(REST, "sh", "workshop.toml")], cwd=tmp_path, check=True)
    found = recognise_size(4.98, 0.02, known_seats(tmp_path / "profiles"))
    assert "5 mm key switch plunger" in [seat.name for seat, _ in found]


@pytest.mark.parametrize(
    "sign",
    [r'TubeSeat|"tube"', '"vat-photopolymerization"|"powder-bed-fusion"'],
    ids=["shapes of seats", "processes"],
)
def test_every_module_that_knows_them_apart_is_named(sign):
    named = set(re.findall(r"[\w-]+\.py", REST))
    knowing = [
        path
        for path in (ROOT / "partgen").rglob("*.py")
        if re.search(sign, path.read_text(encoding="utf-8")) and path.parent.name not in ("kinds", "over_panel")
    ]
    assert len(knowing) > 4
    assert not [path.relative_to(ROOT).as_posix() for path in knowing if path.name not in named]
    modules = {path.name for path in (ROOT / "partgen").rglob("*.py")}
    assert named - {"family_gallery.py"} <= modules


def test_the_page_s_check_judges_after_iso_14253():
    place: dict[str, object] = {}
    exec(compile(block(REST, "python", "roof_finding"), "the page", "exec"), place)
    check = place["roof_finding"]
    states = [check("S1", roof, 0.05, 0.45).state for roof in (1.0, 0.9, 0.8)]
    assert states == ["pass", "not proven", "fail"]
    assert isinstance(check("S1", 0.8, 0.05, 0.45), Finding) and "socket_depth" in check("S1", 0.8, 0.05, 0.45).why


def test_one_command_each_and_the_hooks_and_ci_use_the_same():
    tasks = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["poe"]["tasks"]
    assert set(re.findall(r"(?m)^poe (\w+)", DEVELOPERS)) == set(tasks)
    hooks = re.findall(r"entry: (.*)", (ROOT / ".pre-commit-config.yaml").read_text(encoding="utf-8"))
    assert hooks and all(hook.split()[0] == "poe" and hook.split()[1] in tasks for hook in hooks)
    assert {hook.split()[1] for hook in hooks} < set(tasks["check"]["sequence"])
    assert "poe check" in (ROOT / "tests/setup.sh").read_text(encoding="utf-8")
    assert all(task["help"] for task in tasks.values())


def test_the_folders_are_all_described_and_the_tests_mirror_them():
    folders = {p.name for p in (ROOT / "partgen").iterdir() if (p / "__init__.py").is_file()}
    described = set(re.findall(r"`(\w+)/`", DEVELOPERS))
    assert folders <= described, folders - described
    own = {"formats": "", "packaging": "", "docs": "", "reference": "", "robustness": ""}
    own |= dict.fromkeys(("simulated_repairs", "benchmarks", "frozen", "broken"), "")
    for folder in (p for p in (ROOT / "tests").iterdir() if p.is_dir() and p.name != "__pycache__"):
        assert folder.name in folders or folder.name in own, f"tests/{folder.name} mirrors no folder of partgen"
    untested = {name for name in folders - set(own.values()) if not list((ROOT / "tests" / name).glob("**/test_*.py"))}
    assert untested <= {"shapes"}, untested  # its tests lie with the solids that are built with it
