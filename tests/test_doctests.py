"""Every example in a docstring runs and gives what it says, in a folder that holds README's own profile."""

from __future__ import annotations

import doctest
import importlib
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
EXAMPLES = sorted(
    ".".join(path.relative_to(ROOT).with_suffix("").parts)
    for path in (ROOT / "partgen").rglob("*.py")
    if ">>> " in path.read_text(encoding="utf-8")
)
PUBLIC = ("load_profile", "plan", "build", "undo")


@pytest.mark.parametrize("name", EXAMPLES)
def test_examples_in_docstrings_are_true(name, tmp_path, monkeypatch):
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    (tmp_path / "my-panel.toml").write_text(re.search(r"```toml\n(.*?)```", readme, flags=re.S)[1], encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    module = importlib.import_module(name)
    result = doctest.testmod(module, optionflags=doctest.ELLIPSIS)
    assert result.attempted and not result.failed


def test_every_public_function_has_an_example_its_units_and_its_errors():
    api = importlib.import_module("partgen.api")
    named = {name for name, what in vars(api).items() if callable(what) and what.__module__ == "partgen.api"}
    assert named == set(PUBLIC)
    for name in PUBLIC:
        text = getattr(api, name).__doc__
        assert ">>> " in text and ("mm" in text or "units" in text), name
        assert "Raises" in text, name
