"""The plausible bounds of every length in a profile: beyond them a slip is far likelier than a panel.

One table, in mm (degrees and newtons where said). It is common practice of instrument work, no
source: wide enough for anything a person turns, slides or presses by finger, tight enough to catch
a decimal point in the wrong place or millimetres read as inches.
"""

from __future__ import annotations

from dataclasses import dataclass

from pydantic import BaseModel

from partgen.profile import panel_records, part_records, profile_record


@dataclass(frozen=True)
class Bounds:
    """Least and most that is taken for plausible."""

    low: float
    high: float
    unit: str = "mm"

    def __str__(self) -> str:
        return f"{self.low:g} to {self.high:g} {self.unit}"


_SIZE = Bounds(1.0, 150.0)  # an opening that a finger's part passes through
_SEAT = Bounds(0.8, 60.0)  # what such a part mounts on
_RADIUS = Bounds(0.0, 75.0)
_OFFSET = Bounds(0.0, 5.0)

BOUNDS: dict[type[BaseModel], dict[str, Bounds]] = {
    panel_records.Caliper: {
        "resolution": Bounds(0.0005, 0.2),
        "limit_of_error": Bounds(0.001, 0.5),
        "repeatability": Bounds(0.001, 1.0),
        "zero": Bounds(-2.0, 2.0),
        "inside_flats": Bounds(0.0, 5.0),
    },
    panel_records.Reference: {"size": Bounds(0.5, 300.0), "limit": Bounds(0.0, 0.5), "read": Bounds(0.3, 305.0)},
    panel_records.Gap: {"at": Bounds(-1000.0, 1000.0), "read": Bounds(0.2, 200.0)},
    panel_records.Spacing: {"read": Bounds(0.1, 1500.0), "in_line": Bounds(0.0, 5.0)},
    panel_records.Panel: {
        "thickness": Bounds(0.2, 25.0),
        "thickness_limit": Bounds(0.0, 2.0),
        "bow_limit": Bounds(0.0, 5.0),
        "tilt_limit": Bounds(0.1, 45.0, "degrees"),
    },
    panel_records.HoleBase: {"offset_limit": _OFFSET, "bevel": Bounds(0.0, 3.0)},
    panel_records.RoundHole: {"diameter": _SIZE},
    panel_records.RectangleHole: {"width": _SIZE, "depth": _SIZE, "corner_radius": _RADIUS},
    panel_records.SlotHole: {"width": _SIZE, "depth": _SIZE},
    panel_records.OutlineHole: {"points": Bounds(-150.0, 150.0), "limit_of_error": Bounds(0.0, 2.0)},
    panel_records.SeatBase: {
        "length": Bounds(0.5, 60.0),
        "travel": Bounds(0.0, 25.0),
        "height": Bounds(0.0, 200.0),
        "body": Bounds(0.2, 150.0),
        "spread": Bounds(0.0, 2.0),
        "play": Bounds(0.0, 3.0),
        "wobble": Bounds(0.0, 6.0),
        "pull_limit": Bounds(0.5, 500.0, "N"),
    },
    panel_records.RoundSeat: {"diameter": _SEAT},
    panel_records.RectangleSeat: {"width": _SEAT, "depth": _SEAT, "corner_radius": Bounds(0.0, 30.0)},
    panel_records.FlattedSeat: {
        "diameter": _SEAT,
        "across_flat": _SEAT,
        "flat_direction": Bounds(-360.0, 360.0, "degrees"),
    },
    panel_records.SplinedSeat: {"diameter": _SEAT, "root_diameter": _SEAT},
    panel_records.TongueSeat: {"width": Bounds(0.3, 60.0), "depth": Bounds(0.3, 60.0)},
    panel_records.CrossSeat: {"width": _SEAT, "depth": _SEAT, "arm": Bounds(0.3, 30.0)},
    panel_records.TubeSeat: {"diameter": _SEAT, "bore": Bounds(0.3, 59.0)},
    profile_record.Recheck: {"drop": Bounds(-100.0, 150.0)},
    part_records.Position: {
        "at": Bounds(-1000.0, 1000.0),
        "at_limit": _OFFSET,
        "wobble": Bounds(0.0, 6.0),
        "drop": Bounds(-100.0, 150.0),  # negative: a shaft's end that stands above the panel
        "offset": Bounds(-5.0, 5.0),
        "offset_limit": _OFFSET,
        "proud": Bounds(-20.0, 60.0),
        "height": Bounds(0.5, 150.0),
    },
    part_records.PartSpec: {
        "proud": Bounds(-20.0, 60.0),
        "proud_tolerance": Bounds(0.02, 5.0),
        "height": Bounds(0.5, 150.0),
        "wall": Bounds(0.3, 10.0),
        "section": Bounds(0.8, 150.0),
        "corner_radius": _RADIUS,
        "crown_rise": Bounds(0.0, 10.0),
        "edge_radius": Bounds(0.0, 10.0),
        "flange_overlap": Bounds(0.0, 20.0),
        "flange_thickness": Bounds(0.2, 20.0),
        "flange_gap": Bounds(0.0, 20.0),
        "socket_depth": Bounds(0.3, 60.0),
        "interference": Bounds(-0.5, 1.0),
    },
}

PART_LENGTH = Bounds(-150.0, 150.0)
"""For a family's lengths that the table does not name."""


def bounds_of(model: type[BaseModel], key: str) -> Bounds | None:
    """The bounds of one key of a model, looked up along its bases; None where it has none."""
    for base in model.__mro__:
        found = BOUNDS.get(base, {}).get(key)
        if found is not None:
            return found
        own = base.__dict__.get("BOUNDS", {}).get(key)  # a family keeps its own beside its keys
        if own is not None:
            return Bounds(*own)
    return None
