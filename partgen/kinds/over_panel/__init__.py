"""Parts that stay over the panel: what a knob, a slider cap and a lever cap decide alike.

`stand` has their common keys, their motion and heights, `rooms` what they may touch, `plan` the rest.
"""

from partgen.kinds.over_panel.pair import Below, below, pair_rooms, tops
from partgen.kinds.over_panel.plan import Decided, common, grips, height_findings, leaned, obstacles, plan_all, upper
from partgen.kinds.over_panel.rooms import Room, face_room, nut_rooms, nut_u, room_findings
from partgen.kinds.over_panel.stand import Motion, OverPanelSpec, Stand, ceiling, least_gap, nut_top, stands

__all__ = [
    "Below",
    "Decided",
    "Motion",
    "OverPanelSpec",
    "Room",
    "Stand",
    "below",
    "ceiling",
    "common",
    "face_room",
    "grips",
    "height_findings",
    "leaned",
    "least_gap",
    "nut_rooms",
    "nut_top",
    "nut_u",
    "obstacles",
    "pair_rooms",
    "plan_all",
    "room_findings",
    "stands",
    "tops",
    "upper",
]  # fmt: skip
