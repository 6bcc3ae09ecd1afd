"""A person's folder where one small revision was built and tried: its files by name, and the texts in them."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

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


def filled_form() -> str:
    """A coupon's form with two readings of every feature, each a little off."""
    from partgen.output.coupon_readings import HEADER
    from partgen.profile.coupon_features import features
    from partgen.profile.library import find_printer

    rows = [",".join(HEADER)]
    for i, feature in enumerate(features(find_printer("material-extrusion"))):
        off = 0.05 * ((i % 5) - 2)
        rows.append(f"1,{feature.name},{feature.nominal + off:.2f},{feature.nominal + off + 0.02:.2f},")
    return "\n".join(rows) + "\n"
