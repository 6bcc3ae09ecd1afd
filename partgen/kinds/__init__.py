"""The part families. Each is one module here: profile keys, plan, solid, measurements.

Registering a family is one line in REGISTER.
CAD is imported inside functions only, so that `predict` stays light.
"""

from __future__ import annotations

from partgen.kinds.button_cap import BUTTON_CAP
from partgen.kinds.extension import EXTENSION
from partgen.kinds.knob import KNOB
from partgen.kinds.lever_cap import LEVER_CAP
from partgen.kinds.plug import PLUG
from partgen.kinds.record import Family
from partgen.kinds.sleeve import SLEEVE
from partgen.kinds.slider_cap import SLIDER_CAP
from partgen.kinds.window_cap import WINDOW_CAP
from partgen.profile.part_records import PartSpec

REGISTER: tuple[Family, ...] = (BUTTON_CAP, KNOB, SLIDER_CAP, LEVER_CAP, EXTENSION, PLUG, SLEEVE, WINDOW_CAP)

BY_KIND: dict[str, Family] = {family.kind: family for family in REGISTER}
FAMILIES: dict[str, type[PartSpec]] = {family.kind: family.keys for family in REGISTER}
"""Each kind's profile keys."""
PLAIN: tuple[str, ...] = tuple(
    kind
    for kind, keys in FAMILIES.items()
    if {key for key, field in keys.model_fields.items() if field.is_required()} == {"hole", "seat"}
)
"""Kinds of which a first profile needs to say nothing but the hole and the seat."""
