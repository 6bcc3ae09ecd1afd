"""The house's own rules: size of modules, what is light to start, and that help matches the README."""

from __future__ import annotations

import ast
import subprocess
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "partgen"
TESTS = sorted((ROOT / "tests").rglob("*.py"))
HEAVY = ("cadquery", "OCP", "vtk", "vtkmodules", "trimesh", "manifold3d", "matplotlib")

# a module that may be longer than 400 lines stands here with its reason
LONG: dict[str, str] = {}


def test_no_module_is_longer_than_400_lines_without_a_reason():
    long = {
        path.relative_to(PACKAGE).as_posix(): lines
        for path in PACKAGE.rglob("*.py")
        if (lines := len(path.read_text().splitlines())) > 400
    }
    assert set(long) <= set(LONG), long


def test_every_module_says_what_lives_there():
    silent = [
        path.relative_to(ROOT).as_posix()
        for path in PACKAGE.rglob("*.py")
        if not path.read_text().lstrip().startswith('"""')
    ]
    assert not silent


@pytest.mark.parametrize("arguments", [["--help"], ["predict", "profiles/fog-signal-controller.toml", "--json"]])
def test_light_commands_import_no_cad_library(arguments):
    code = (
        "import sys\n"
        f"sys.argv = ['partgen', *{arguments!r}]\n"
        "from partgen.cli.app import main\n"
        "try:\n    main()\nexcept SystemExit as done:\n    assert done.code in (0, None), done.code\n"
        f"loaded = [name for name in {HEAVY!r} if name in sys.modules]\n"
        "assert not loaded, loaded\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2000:]


def test_the_build_itself_loads_no_kernel():
    """The kernel runs in a process of its own, which starts while the plan is worked out."""
    code = "import sys, partgen.jobs.build; assert 'OCP' not in sys.modules and 'cadquery' not in sys.modules"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-1000:]


def test_no_module_needs_itself_by_way_of_others():
    """Of what is imported when a module is. Raises CycleError with the round where there is one."""
    needs: dict[str, set[str]] = {}
    for path in PACKAGE.rglob("*.py"):
        name = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        found = [n for n in ast.parse(path.read_text()).body if isinstance(n, ast.ImportFrom) and n.module]
        needs[name] = set()
        for one in (n for n in found if n.module.split(".")[0] == "partgen"):
            folder = ROOT.joinpath(*one.module.split("."))
            for alias in one.names:
                inside = (folder / f"{alias.name}.py").is_file() or (folder / alias.name / "__init__.py").is_file()
                needs[name].add(f"{one.module}.{alias.name}" if inside else one.module)
        needs[name] -= {name, "partgen"}  # the version stands in the package itself
    assert len(tuple(TopologicalSorter(needs).static_order())) >= len(needs) > 100


def test_no_two_test_files_have_the_same_name():
    """pytest imports a test file under its bare name: the second of two is not collected, and its tests do not run."""
    alone = [path for path in TESTS if not (path.parent / "__init__.py").is_file()]
    names = [path.name for path in alone if path.name != "conftest.py"]
    assert not {name for name in names if names.count(name) > 1}


def test_no_test_file_needs_another_or_a_conftest():
    """What several tests share stands in a module of helpers: a test file can then be moved, split or run alone."""
    for path in TESTS:
        found = [n for n in ast.walk(ast.parse(path.read_text())) if isinstance(n, ast.Import | ast.ImportFrom)]
        named = {n.module or "" for n in found if isinstance(n, ast.ImportFrom)}
        named |= {alias.name for n in found if isinstance(n, ast.Import) for alias in n.names}
        others = [name for name in named if name.split(".")[-1].startswith("test_") or name == "conftest"]
        assert not others, (path.relative_to(ROOT), others)
