"""What every command has in common: help as a person reads it, plain refusals, version, shell completion."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import commands
import pytest
from typer.testing import CliRunner

from partgen import __version__
from partgen.cli.app import app

ROOT = Path(__file__).resolve().parents[2]
COMMANDS = sorted(str(c.name or c.callback.__name__) for c in app.registered_commands)


def my_panel(folder: Path) -> Path:
    """README's own profile in a folder."""
    text = re.search(r"```toml\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), flags=re.S)[1]
    path = folder / "my-panel.toml"
    path.write_text(text, encoding="utf-8")
    return path


def partgen(folder: Path, *arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    if not environment:
        return commands.run(folder, *arguments)
    command = [sys.executable, "-m", "partgen", *arguments]
    return subprocess.run(
        command,
        cwd=folder,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=False,
        stdin=subprocess.DEVNULL,
        timeout=300,
    )


@pytest.mark.parametrize("name", COMMANDS)
def test_help_names_what_a_command_takes_without_a_library_s_signs(name):
    text = CliRunner().invoke(app, [name, "--help"], prog_name="partgen").output
    usage = text.split("\n\n")[0]
    assert not re.search(r"[{}<>]|\[\[|\]\]", usage), usage
    assert not re.search(r"<(path|str|int|float|bool|list)", text)  # a choice may stand in them: <a4|letter>
    assert re.search(r"(?m)^  -h, --help|^  --help", text)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["build", "my-panel.toml", "--formats", ""], "--formats: read nothing; one or more of stl, 3mf, step"),
        (["build", "my-panel.toml", "--formats", " , "], "--formats: read nothing; one or more of stl, 3mf, step"),
        (["build", "my-panel.toml", "--formats", "stl,stp"], "--formats: read stp; one or more of stl, 3mf, step"),
        (["build", "my-panel.toml", "--revision", "7"], "--revision: read 7; revisions are called r01, r02, ...; did"),
        (["report", "my-panel.toml", "--revision", "v2"], "did you mean r02?"),
        (["build", "my-panel.toml", "--revision", "r07"], "nothing has been built yet; `partgen build my-panel.toml`"),
    ],
)
def test_what_cannot_be_is_said_in_full_and_nothing_is_written(tmp_path, arguments, said):
    my_panel(tmp_path)
    done = partgen(tmp_path, *arguments)
    assert done.returncode == 2
    assert said in done.stderr and done.stdout == ""
    assert [path.name for path in tmp_path.iterdir()] == ["my-panel.toml"]


def test_a_log_shows_no_option_without_effect_and_still_takes_a_build_s_line(tmp_path):
    my_panel(tmp_path)
    shown = CliRunner().invoke(app, ["log", "--help"], prog_name="partgen").output
    assert "--seed" not in shown and "--out" not in shown and "--json" in shown
    assert partgen(tmp_path, "log", "my-panel.toml", "--seed", "3", "--out", "elsewhere").returncode == 0


def test_a_log_is_shown_also_where_the_printer_s_file_is_gone(tmp_path):
    path = my_panel(tmp_path)
    path.write_text('printer = "lent-to-a-friend"\n' + path.read_text(encoding="utf-8"), encoding="utf-8")
    done = partgen(tmp_path, "log", "my-panel.toml")
    assert done.returncode == 0 and "Nothing has been built" in done.stderr
    assert partgen(tmp_path, "predict", "my-panel.toml").returncode == 2


def test_version_and_module():
    assert partgen(ROOT, "--version").stdout == f"partgen {__version__}\n"


def test_importing_partgen_loads_nothing_else():
    code = (
        "import sys; before = set(sys.modules); import partgen, partgen.api\n"
        "roots = {name.split('.')[0] for name in set(sys.modules) - before}\n"
        "assert not roots & {'numpy', 'scipy', 'pydantic', 'typer', 'trimesh', 'cadquery'}, roots\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_starts_in_a_process_of_its_own(name, tmp_path):
    """Other tests run commands in their own process, where a module may have been loaded by a test before."""
    # these may begin where there is no file yet
    wrong = {"bench": ["panel.log.toml"], "start": ["panel", "--yes"], "coupon": ["../x"]}
    done = partgen(tmp_path, name, *wrong.get(name, ["no-such-file.toml"]), LANG="C.UTF-8")
    assert done.returncode == 2, done.stderr
    assert "Traceback" not in done.stderr
