"""The part families. Each is one module here with its profile keys and, later, its plan and solid.

Registering a family is one line in FAMILIES. May import: model, metrology, plan, parts.
CAD is imported inside functions only, so that `predict` stays light.
"""

from __future__ import annotations

from partgen.families.button_cap import ButtonCap
from partgen.model.part import PartSpec

FAMILIES: dict[str, type[PartSpec]] = {
    "button-cap": ButtonCap,
}
