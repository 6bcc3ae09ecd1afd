"""A small bench with one built revision, copied for every case."""

from __future__ import annotations

import shutil

import pytest
from harness import ROOT, run
from lamp_bench import LOG, PROFILE, Bench, filled_form


@pytest.fixture(scope="session")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    folder = tmp_path_factory.mktemp("bench")
    for kind in ("printers", "materials"):
        (folder / "profiles" / kind).mkdir(parents=True)
    shutil.copy(ROOT / "profiles" / "harbour-lamp-tester.toml", folder / PROFILE)
    shutil.copy(ROOT / "profiles/printers/material-extrusion.toml", folder / "profiles/printers/mine.toml")
    stuff = next(path for path in (ROOT / "profiles/materials").glob("*.toml") if path.stem.casefold() == "pla")
    shutil.copy(stuff, folder / "profiles/materials" / stuff.name)
    built = run(folder, "build", PROFILE, "--out", "out", "--quiet", "--printer", "mine")
    assert built.code in (0, 1), built
    trial = "label,proud_mm,feel,grip,note\nLEFT,2.31,free,holds,\nMIDDLE,2.29,rubs left,tight,a note\nRIGHT,flush,,,\n"
    return Bench(
        folder,
        (folder / PROFILE).read_text(),
        (folder / LOG).read_text(),
        (folder / "out/lamp/r01/fit.json").read_text(),
        filled_form(),
        trial,
    )
