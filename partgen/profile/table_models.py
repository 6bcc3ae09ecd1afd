"""Which record each table of a profile becomes."""

from __future__ import annotations

from typing import Any, Final, get_args

from pydantic import BaseModel

from partgen.kinds import FAMILIES
from partgen.profile import panel_records
from partgen.profile.part_records import Position
from partgen.profile.profile_record import Profile, Recheck, Target


def _shapes(union: Any) -> dict[str, type[panel_records.HoleBase | panel_records.SeatBase]]:  # noqa: ANN401 - a typing form
    """The models of a union of shapes, by the word that `shape` takes."""
    models = get_args(get_args(union)[0])
    return {get_args(model.model_fields["shape"].annotation)[0]: model for model in models}


HOLES: Final = _shapes(panel_records.Hole)
SEATS: Final = _shapes(panel_records.Seat)
MODELS: Final[dict[str, tuple[type[BaseModel], ...]]] = {
    "at the top of the file, before the first [table]": (Profile,),
    "in [caliper]": (panel_records.Caliper,),
    "in [[caliper.reference]]": (panel_records.Reference,),
    "in [panel]": (panel_records.Panel,),
    "in [[panel.gap]]": (panel_records.Gap,),
    "in [target]": (Target,),
    "in [[spacing]]": (panel_records.Spacing,),
    "in [hole.NAME]": tuple(HOLES.values()),
    "in [seat.NAME]": tuple(SEATS.values()),
    "in [part.NAME]": tuple(FAMILIES.values()),
    "in [[position]]": (Position,),
    "in [[recheck]]": (Recheck,),
}
"""By where a table stands, in words."""
