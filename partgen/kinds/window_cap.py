"""Window cap: a button cap with a light window in its crown, over a channel that lets the light of a lamp up.

The channel runs straight down beside the socket, as wide as the window. Printed in one colour the crown is left as a
thin pane over it; with a colour of its own the pane is a body by itself, printed into the cap's window. Lengths in
mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Literal

import numpy as np
from pydantic import Field

from partgen.core.findings import Finding, State, worst
from partgen.design.part_models import PartModel, Polygon, Section
from partgen.design.plan_context import Job, PartPlans
from partgen.design.plan_records import PositionPlan
from partgen.design.section_outlines import leaned, outline
from partgen.geometry.feasibility import Misfit
from partgen.geometry.features import Body, Prism, add, cut, features, keep
from partgen.geometry.outlines import outline_of
from partgen.kinds.button_cap import BUTTON_CAP, ButtonCap, LetteredCap
from partgen.kinds.legend import wanted
from partgen.kinds.misfits import sizes_finding
from partgen.kinds.record import ColourBody, Family
from partgen.metrology.estimate_records import FloatArray
from partgen.profile.fields import Length
from partgen.profile.panel_records import Seat
from partgen.profile.part_records import PartSpec
from partgen.profile.printer_records import Material
from partgen.shapes.seats import SEATS

if TYPE_CHECKING:
    from partgen.geometry.height_derivation import Maker
    from partgen.kinds.record import Measured
    from partgen.verify.triangles import Triangles

WALL = 0.8
"""mm of wall around the channel at least: two lines (common practice, no source)."""
CHANNEL = 0.2
"""mm of channel that must be left over the plunger, where its size is measured."""
APART = 0.3
"""mm between lamp and cap at least, beside it and over it (common practice, no source)."""
FINGER = 30.0
"""N that a firm finger presses with (common practice, no source)."""
HEAT_OUT = (8.0, 15.0)
"""W per m^2 and kelvin that a small surface in still air gives off: some 6 by radiation, the rest by convection,
for which Incropera and DeWitt, table 1.1, have 2 to 25 (from memory)."""
AROUND = 40.0
"""Degrees Celsius inside a closed instrument (common practice, no source)."""


class WindowCap(ButtonCap):
    """Keys of a [part.*] table with kind = "window-cap": a button cap's, and those of its window."""

    kind: Literal["window-cap"] = "window-cap"  # type: ignore[assignment]
    window: tuple[Length, Length] = (2.0, 3.0)
    """(along X, along Y) of the light window; of a round one both are the diameter."""
    window_shape: Literal["round", "rectangle"] = "rectangle"
    window_at: tuple[Length, Length]
    """(x, y) of its middle from the seat's axis: over the lamp."""
    window_colour: Annotated[str, Field(pattern=r"^#[0-9a-fA-F]{6}$")] | None = None
    """Of the pane as a body of its own; None: the crown itself is left thin over the channel."""
    pane: Length = 0.8
    """Thickness of the pane."""
    lamp: Length = 3.0
    """Diameter of the lamp."""
    lamp_depth: Length | None = None
    """From the seat's top at rest down to the lamp's top. None: not known."""
    lamp_power: Annotated[float, Field(ge=0, le=50)] = 0.04
    """Watts: volts times amperes. A small light-emitting diode takes 0.02 to 0.06, a filament lamp 0.3 to 3."""

    BOUNDS: ClassVar[dict[str, tuple[float, float]]] = {
        "window": (0.6, 60.0),
        "window_at": (-60.0, 60.0),
        "pane": (0.1, 5.0),
        "lamp": (0.5, 30.0),
        "lamp_depth": (-20.0, 60.0),
    }


@dataclass(frozen=True)
class WindowModel(LetteredCap):
    """A button cap with a straight channel of the window's outline."""

    window: Section = Section("round", 0.0, 0.0)  # noqa: RUF009 - a frozen record
    at: tuple[float, float] = (0.0, 0.0)
    pane: float = 0.0
    """Left of the crown over the channel, on its axis."""
    open: bool = False
    """True where the pane is a body of its own: the channel then goes through."""

    @property
    def light(self) -> Polygon:
        """The channel's outline where it stands."""
        x, y = self.at
        return tuple((x + u, y + v) for u, v in outline(self.window, opening=True, tolerance=0.005))


@dataclass(frozen=True)
class PaneModel(PartModel):
    """What closes the window of a cap in another colour."""

    of: WindowModel | None = None


def plan(job: Job, name: str, spec: PartSpec, survival: FloatArray) -> PartPlans:
    """The planner of window caps: a button cap, and the room its light has."""
    assert isinstance(spec, WindowCap)
    plans, notes = BUTTON_CAP.plan(job, name, spec, survival)
    material = job.material(spec)
    if spec.window_colour is not None:
        notes = [
            *notes,
            f"[part.{name}]: the pane is a body of its own in the plates (3MF), in {spec.window_colour}; the STL files "
            "leave the window open, to be closed with clear resin or a cut piece",
        ]
    return {label: _with_window(job, spec, one, material) for label, one in plans.items()}, notes


def _with_window(job: Job, spec: WindowCap, one: PositionPlan, material: Material) -> PositionPlan:
    layer, error = job.printer.layer_height, job.estimate.bore_error.value
    width, depth = (side - error for side in spec.window)
    window = Section("round", width, width) if spec.window_shape == "round" else Section("rectangle", width, depth, 0.2)
    pane = round(max(round(spec.pane / layer), 1) * layer, 6)
    known: dict[str, Any] = {f.name: getattr(one.model, f.name) for f in fields(one.model)}
    model = WindowModel(**known, window=window, at=spec.window_at, pane=pane, open=spec.window_colour is not None)
    checks = (
        *one.checks,
        *_walls(one.label, spec, one, model),
        _pane(one.label, model, material, layer),
        *_lamp(one.label, spec, one),
        _heat(one.label, spec, one, material),
        *_legend(one.label, spec),
        *sizes_finding(one.label, spec, _pane_misfit(spec, model, layer)),
    )
    return replace(one, model=model, checks=checks, state=worst(f.state for f in checks))


def _walls(label: str, spec: WindowCap, one: PositionPlan, model: WindowModel) -> list[Finding]:
    """Between the channel and the cap's side, and between the channel and the socket."""
    from shapely import LineString, Point, box
    from shapely import Polygon as Area

    channel = Area(model.light)
    rise = (model.height - model.skirt_bottom) * math.tan(model.draft)  # least wall where sides that lean in end
    skirt = Area(outline(leaned(one.model_section, rise), opening=False, tolerance=0.005))
    socket = model.socket
    half = (
        socket.width / 2,
        (socket.width if SEATS[socket.shape].is_round else socket.depth) / 2,
    )
    pocket = box(-half[0], -half[1], half[0], half[1])
    side = float(skirt.exterior.distance(channel)) if skirt.contains(channel) else -1.0
    if socket.groove is not None:
        pocket = pocket.union(Point(0.0, 0.0).buffer(socket.groove.diameter / 2))
    if socket.screw is not None:  # its hole runs outwards, through whatever stands there
        way = np.array([math.cos(socket.screw.direction), math.sin(socket.screw.direction)])
        pocket = pocket.union(LineString([(0.0, 0.0), tuple(100.0 * way)]).buffer(socket.screw.boss / 2 - WALL))
    inner = float(pocket.distance(channel)) if not pocket.intersects(channel) else -1.0
    needed = WALL if socket.fingers is None else WALL + socket.fingers.thickness + socket.fingers.room
    found = []
    for code, name, left, least, cure in (
        ("window-side", "wall outside the light channel", side, WALL, "nearer to the middle, or make it smaller"),
        (
            "window-socket",
            "wall between channel and socket",
            inner,
            needed,
            "farther from the plunger, or make it smaller",
        ),
    ):
        state: State = "pass" if left >= least - 1e-9 else "fail"
        why = f"{max(left, 0.0):.2f} mm of wall are left; {least:.2f} mm hold and keep the light in"
        if state != "pass":
            why += f". Put {label}'s window {cure}"
        found.append(Finding(code, label, name, left, least, 0.0, "mm", state, why))
    return found


def _pane(label: str, model: WindowModel, material: Material, layer: float) -> Finding:
    """Whether the pane bears a finger: a round plate built in at its edge, evenly loaded.

    sigma = 3 F / (4 pi t^2), Young and Budynas, Roark's Formulas, 7th ed., table 11.2, case 10b (from memory).
    """
    needed = math.sqrt(3 * FINGER / (4 * math.pi * 0.5 * material.strength))
    state: State = "pass" if model.pane >= needed else "fail"
    why = (
        f"{label}'s pane is {model.pane:.2f} mm thick, {round(model.pane / layer)} layers; {needed:.2f} mm of "
        f"{material.name} bear a finger of {FINGER:.0f} N at half its strength"
    )
    if state != "pass":
        why += ". Make pane thicker"
    return Finding("pane", label, "pane bears a finger", model.pane, needed, 0.0, "mm", state, why)


def _pane_misfit(spec: WindowCap, model: WindowModel, layer: float) -> Misfit | None:
    """A pane so thick that its channel ends beside the socket."""
    most = math.floor((model.height - CHANNEL) / layer + 1e-6) * layer
    if model.pane <= most + 1e-9:
        return None
    why = f"its pane is as thick as the {max(model.height, 0.0):.2f} mm of cap over the plunger"
    return Misfit(why, "pane", spec.pane, most)


def _lamp(label: str, spec: WindowCap, one: PositionPlan) -> list[Finding]:
    """Whether the cap clears the lamp, pressed home; a lamp narrower than the channel may stand in it."""
    if spec.lamp_depth is None:
        return []
    beside = (min(spec.window) - spec.lamp) / 2
    lower = min(one.model.skirt_bottom, one.model.flange.bottom if one.model.flange else 0.0)
    over = lower - one.travel + spec.lamp_depth
    if over >= APART or beside < APART:
        left, where = over, "its lower end stays {:.2f} mm over the lamp"
    else:
        left = min(beside, one.model_height - spec.pane - one.travel + spec.lamp_depth)
        where = "the lamp stands in the channel, {:.2f} mm from it"
    state: State = "pass" if left >= APART else "fail"
    why = f"pressed home, {where.format(left)}; {APART:.1f} mm wanted"
    if state != "pass":
        why += f". Make socket_depth smaller, or the window wider than {spec.lamp + 2 * APART:.1f} mm"
    return [Finding("lamp", label, "clear of the lamp", left, APART, 0.0, "mm", state, why)]


def _heat(label: str, spec: WindowCap, one: PositionPlan, material: Material) -> Finding:
    """How warm the cap gets if all of the lamp's power warms it: P / (h A) over what is around it (Newton)."""
    section, model = one.model_section, one.model
    ring = outline(section, opening=False, tolerance=0.01)
    around = sum(math.dist(a, b) for a, b in zip(ring, (*ring[1:], ring[0]), strict=True))
    area = (around * (model.height - model.skirt_bottom) + section.width * section.depth) * 1e-6
    warmest, least = (AROUND + spec.lamp_power / (h * area) for h in HEAT_OUT)
    limit = material.soften_by
    state: State = "pass" if warmest <= limit else ("not proven" if least <= limit else "fail")
    why = (
        f"all of {spec.lamp_power:g} W would warm {label} to {least:.0f} to {warmest:.0f} °C, with {AROUND:.0f} °C "
        f"around it; {material.name} softens by {limit:.0f} °C"
    )
    if state != "pass":
        why += ". Take a light-emitting diode, less current, or a material that bears more heat"
    return Finding("heat", label, "warmth of the lamp", warmest, limit, 0.0, "°C", state, why)


def _legend(label: str, spec: WindowCap) -> list[Finding]:
    """Letters would run into the window."""
    if not wanted(spec):
        return []
    why = f"{label}'s crown has a window: it bears no letters or signs beside it"
    return [Finding("window-legend", label, "nothing else on the crown", None, None, 0.0, "", "fail", why)]


@features.register
def _(model: WindowModel) -> Body:
    low = min(model.skirt_bottom, -model.socket.length, model.flange.bottom if model.flange else 0.0) - 2.0
    high = model.height + 20.0 if model.open else model.height - model.pane
    return Body((add(_uncut(model)), cut(_channel(model, low, high), hidden=True)), "window cap")


@features.register
def _(model: PaneModel) -> Body:
    """What closes the window, flush with the crown."""
    cap = model.of
    assert cap is not None
    return Body((add(_uncut(cap)), keep(_channel(cap, cap.height - cap.pane, cap.height + 20.0))), "pane")


def _uncut(model: WindowModel) -> Body:
    """The same cap without its window."""
    known = {f.name: getattr(model, f.name) for f in fields(LetteredCap)}
    return features(LetteredCap(**known))


def _channel(model: WindowModel, low: float, high: float) -> Prism:
    return Prism(outline_of(model.window), low, high, at=model.at)


def maker() -> Maker:
    """Every height is a build of its own: the channel is as long as the cap is tall."""
    from partgen.geometry.height_derivation import Maker

    return Maker()


def bodies(plan: PositionPlan, spec: PartSpec) -> tuple[ColourBody, ...]:
    """The pane, where it has a colour of its own."""
    assert isinstance(spec, WindowCap) and isinstance(plan.model, WindowModel)
    if spec.window_colour is None:
        return ()
    bare = replace(plan.model, mark="", mark_kind="none")
    known: dict[str, Any] = {f.name: getattr(bare, f.name) for f in fields(PartModel)}
    return (ColourBody("window", spec.window_colour, PaneModel(**known, of=bare), maker),)


def measure(plan: PositionPlan, mesh: Triangles, spec: PartSpec, seat: Seat | None) -> Measured:
    """What is measured of a button cap, and the window: its size, and what is left over it."""
    from partgen.verify.cap_fit import AGREE, AGREE_HEIGHT, agreement
    from partgen.verify.window_fit import measure_window

    model = plan.model
    assert isinstance(model, WindowModel)
    fit, found = BUTTON_CAP.measure(plan, mesh, spec, seat)
    seen = measure_window(mesh, model.at, (model.height - model.pane) / 2)  # over the socket, where nothing opens it
    over = 0.0 if model.open else model.pane
    rows = [
        ("mesh-window-width", "window's width on the mesh", (seen.width, model.window.width), AGREE),
        ("mesh-window-depth", "window's depth on the mesh", (seen.depth, model.window.depth), AGREE),
    ]
    if model.crown.kind == "flat":
        rows.append(("mesh-pane", "pane on the mesh", (seen.over, over), AGREE_HEIGHT))
    return fit, (*found, *(agreement(plan.label, *row) for row in rows))


WINDOW_CAP = Family(WindowCap, plan, maker, measure, bodies)
