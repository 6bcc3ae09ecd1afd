"""`partgen bench` as a command: what it says when it cannot run."""

from __future__ import annotations

import subprocess
import sys

from served import TINY


def run(folder, code: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-c", code], cwd=folder, capture_output=True, text=True, check=False)


def test_without_its_packages_it_says_what_to_install_and_exits_3(tmp_path):
    (tmp_path / "panel.toml").write_text(TINY)
    hidden = (
        "import importlib.util as u, sys\n"
        "found = u.find_spec\n"
        "u.find_spec = lambda name, *rest: None if name == 'uvicorn' else found(name, *rest)\n"
        "sys.argv = ['partgen', 'bench', 'panel.toml']\n"
        "from partgen.cli.app import main\nmain()\n"
    )
    done = run(tmp_path, hidden)
    assert done.returncode == 3
    assert 'pip install "partgen[bench]"' in done.stderr and done.stdout == ""


def test_a_name_that_can_name_no_profile_is_refused(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "partgen", "bench", "panel.log.toml"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2 and "this is a log" in done.stderr
    assert not list(tmp_path.iterdir())
