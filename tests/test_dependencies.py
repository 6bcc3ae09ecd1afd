"""What pyproject.toml declares is what is imported: nothing unused, nothing that another package happens to bring."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
OPTIONAL = PROJECT["optional-dependencies"]

CALLED = {
    "ocp": "cadquery",  # its kernel
    "stl": "numpy-stl",
    "skimage": "scikit-image",
    "pil": "pillow",
    "cv2": "opencv-python-headless",
    "fpdf": "fpdf2",
    "pydantic-core": "pydantic",
}
"""Packages whose modules have another name than they."""
NOT_IMPORTED = {
    "matplotlib": "its font file is read",
    "networkx": "trimesh imports it",
    "rtree": "trimesh imports it",
    "lxml": "trimesh imports it",
    "pytest-xdist": "a plugin",
    "sphinx": "run as a command",
    "myst-parser": "Sphinx imports it",
}


def plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def declared(lines: list[str]) -> set[str]:
    return {plain(re.split(r"[<>=!~;\[ ]", line, maxsplit=1)[0]) for line in lines}


def imported(*folders: str) -> set[str]:
    """Top modules that are neither the standard library's nor ours."""
    paths = [path for folder in folders for path in (ROOT / folder).rglob("*.py")]
    ours = {"partgen", *folders}
    if "partgen" not in folders:  # outside the package modules import one another by their bare names
        ours |= {path.stem for folder in folders for path in (ROOT / folder).rglob("*")}
    found = set()
    for path in paths:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
                found.add(node.module.split(".")[0])
    return {CALLED.get(plain(name), plain(name)) for name in found - set(sys.stdlib_module_names) - ours}


def test_the_package_declares_what_it_imports() -> None:
    core = declared(PROJECT["dependencies"])
    assert imported("partgen") - core == set(), "imported, but only there where something else brings it"
    assert core - imported("partgen") - set(NOT_IMPORTED) == set(), "declared, but never imported"


def test_the_tests_declare_what_they_import_beyond_that() -> None:
    core, tests = declared(PROJECT["dependencies"]), declared(OPTIONAL["test"])
    assert tests & core == set(), "declared twice"
    wanted = imported("tests", "docs") - core
    assert wanted - tests == set()
    assert tests - wanted - set(NOT_IMPORTED) == set()


def test_every_exception_has_a_use() -> None:
    everything = declared(PROJECT["dependencies"]) | declared(OPTIONAL["test"])
    needless = (imported("partgen") | imported("tests", "docs")) & set(NOT_IMPORTED)
    assert set(NOT_IMPORTED) <= everything and not needless
