"""From decided sizes to button caps as they will be drawn. Lengths in mm.

Model sizes are wanted sizes less the printer's mean error; what positions of a part can share is made equal, so that
equal shapes are built once.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from partgen.design.cap_spec import CapSpec
from partgen.design.heights import Collar, Crown, Site, collar
from partgen.design.part_models import CapModel, CrownModel, FlangeModel, Section, SocketModel
from partgen.design.plan_findings import HELD
from partgen.design.section_outlines import offset
from partgen.profile.printer_records import Printer

_SLOPE_GRID = 0.001
"""Crowns cut parallel are rounded to this slope (6 um over 6 mm), so that they can share a shape."""
_SIZE_GRID = 0.01
_RELIEF_GRID = 0.05


@lru_cache(maxsize=1024)
def compensated(section: Section, error: float) -> Section:
    """The section to draw so that it prints as `section` when prints come out `error` wider.

    Drawn to 0.01 mm and never larger: a section sized to just meet its p_bind must not print wider.
    """
    if abs(error) < 1e-9:
        return section
    drawn = offset(section, error / 2)
    if section.shape == "outline":
        return drawn
    width, depth = (round(math.floor(v / _SIZE_GRID + 1e-6) * _SIZE_GRID, 4) for v in (drawn.width, drawn.depth))
    return replace(drawn, width=width, depth=depth)


@lru_cache(maxsize=1024)
def printed(model: Section, error: float) -> Section:
    """The section expected from the printer for a drawn one."""
    return offset(model, -error / 2) if abs(error) > 1e-9 else model


def flange_section(opening: Section, overlap: float) -> Section:
    """The collar's outline: the opening's own, `overlap` wider on every side."""
    wider = offset(opening, -overlap)
    if opening.shape == "outline":
        return wider
    width, depth = (round(round(v / _SIZE_GRID) * _SIZE_GRID, 4) for v in (wider.width, wider.depth))
    radius = opening.corner_radius + overlap if opening.shape == "rectangle" else 0.0
    return replace(wider, width=width, depth=depth, corner_radius=round(radius, 4))


@dataclass(frozen=True)
class CapSite:
    """One position of a part with what was decided for it."""

    label: str
    site: Site
    crown: Crown
    section: Section
    """Wanted."""
    socket: SocketModel


def collars(caps: Sequence[CapSite], spec: CapSpec, flange: Section, printer: Printer) -> list[Collar | None]:
    """A collar per cap. Tops are made equal where a lifted cap still keeps its hold on the seat.

    Sorted by their own highest top, caps join a group as long as the group's lowest top lets none of
    them be lifted by more than the socket holds.
    """
    own = [collar(spec, c.site, flange, -c.socket.length, c.crown.wanted, printer) for c in caps]
    order = sorted((i for i, made in enumerate(own) if made is not None), key=lambda i: own[i].top)  # type: ignore[union-attr]
    shared: list[Collar | None] = list(own)
    top = -math.inf
    for i in order:
        made, cap = own[i], caps[i]
        assert made is not None
        lower = made.top - top
        if made.lift + lower > max(made.lift, cap.socket.length - 2 * HELD):
            top, lower = made.top, 0.0
        shared[i] = Collar(top, made.rest_gap + lower, made.lift + lower)
    return shared


def cap_model(
    cap: CapSite,
    spec: CapSpec,
    flange: Section,
    held: Collar | None,
    model_section: Section,
    width_error: float,
    printer: Printer,
) -> CapModel:
    """One cap as it will be drawn."""
    narrow = min(model_section.width, model_section.depth)
    crown = CrownModel(
        kind=spec.crown,
        rise=spec.crown_rise if spec.crown in ("domed", "dished") else 0.0,
        edge_radius=min(spec.edge_radius, round(0.45 * narrow, 2)),
        slope=_on_grid(cap.site.slope) if spec.crown == "parallel" else (0.0, 0.0),
    )
    bottom = -cap.socket.length
    return CapModel(
        section=model_section,
        height=round(cap.crown.model, 6),
        crown=crown,
        skirt_bottom=bottom,
        wall=spec.wall,
        flange=None
        if held is None
        else FlangeModel(section=compensated(flange, width_error), top=round(held.top, 6), bottom=bottom),
        socket=cap.socket,
        relief=relief_of(printer),
        mark=cap.label if spec.mark != "none" else "",
        mark_kind=spec.mark,
    )


def relief_of(printer: Printer) -> float:
    """Chamfer against the first layer's flare, so much coarser than the flare that equal parts stay equal."""
    return round(math.ceil(max(printer.error.flare.value, 0.0) / _RELIEF_GRID - 1e-9) * _RELIEF_GRID, 4)


def _on_grid(slope: tuple[float, float]) -> tuple[float, float]:
    x, y = (round(round(v / _SLOPE_GRID) * _SLOPE_GRID, 6) for v in slope)
    return x, y
