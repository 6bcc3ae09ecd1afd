"""A small bench with one built revision, copied for every case."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest
from harness import ROOT, run

PROFILE = "profiles/lamp.toml"
LOG = "profiles/lamp.log.toml"


@dataclass(frozen=True)
class Bench:
    """Texts of a bench where one revision was built and tried."""

    folder: Path
    profile: str
    log: str
    fit: str
    readings: str
    """A coupon's form, filled in."""
    trial: str

    def copy(self, to: Path) -> Path:
        """The bench without its outputs in a folder of its own."""
        shutil.copytree(self.folder / "profiles", to / "profiles")
        return to


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


def filled_form() -> str:
    """A coupon's form with two readings of every feature, each a little off."""
    from partgen.model.coupon import features
    from partgen.printing.coupon_readings import HEADER
    from partgen.profile.library import find_printer

    rows = [",".join(HEADER)]
    for i, feature in enumerate(features(find_printer("material-extrusion"))):
        off = 0.05 * ((i % 5) - 2)
        rows.append(f"1,{feature.name},{feature.nominal + off:.2f},{feature.nominal + off + 0.02:.2f},")
    return "\n".join(rows) + "\n"
