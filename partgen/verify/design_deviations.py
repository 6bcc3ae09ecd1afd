"""What was drawn otherwise than asked for, because it cannot be had: a shorter mark, a sharper edge. Said, not
judged.
"""

from __future__ import annotations

from collections.abc import Iterator

from partgen.core.findings import Finding
from partgen.geometry.crowns import edge_radius
from partgen.geometry.mesh_records import BuiltCap
from partgen.profile.part_records import PartSpec

SEEN = 0.01
"""mm: a rounding smaller by less is the one that was asked for."""


def drawn_otherwise(label: str, cap: BuiltCap, spec: PartSpec) -> tuple[Finding, ...]:
    """One passed finding for each thing that a person would else only find on the print."""
    return tuple(_found(label, cap, spec))


def _found(label: str, cap: BuiltCap, spec: PartSpec) -> Iterator[Finding]:
    if cap.engraving.note:
        yield Finding("drawn-mark", label, "mark as cut", None, None, 0.0, "", "pass", cap.engraving.note)
    wanted = getattr(spec, "edge_radius", None)
    crown = cap.model.crown
    if wanted is None or crown.edge_radius <= 0:
        return
    drawn = edge_radius(cap.model.section, crown)
    if drawn < wanted - SEEN:
        most = "a ball follows this outline no further: ask for less, or give it fewer, longer edges"
        if crown.edge_radius < wanted - SEEN:
            most = "the part is not wide enough for more"
        elif cap.model.section.shape != "outline":
            most = "a ball follows its corners no further on a domed crown: a larger corner_radius lets it"
        words = f"rounded by {drawn:.2f} mm" if drawn > 0 else "left sharp"
        why = f"the crown's edge is {words} where edge_radius asks for {wanted:.2f} mm; {most}"
        yield Finding("drawn-edge", label, "edge rounding as drawn", drawn, None, 0.0, "mm", "pass", why)
