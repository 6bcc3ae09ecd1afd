"""The fit document's records. Lengths in mm, angles in degrees, forces in N (it is a file format).

The report is rendered from this and nothing else. Keys of the contract come first in each record;
the others stand beside them.
"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict

from partgen.core.units import Unit

Point = tuple[float, float]
State = Literal["pass", "fail", "not proven"]


class Doc(BaseModel):
    """Base: frozen, no unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class PanelDoc(Doc):
    tilt_deg: float
    tilt_u95_deg: float
    uphill_deg: float
    residual_mm: float
    slope: Point
    """(dz/dx, dz/dy) of the fitted plane."""
    bow_mm: tuple[float, float, float]
    thickness_mm: float
    thickness_u95_mm: float


class CheckDoc(Doc):
    name: str
    value: float | None
    limit: float | None
    u95: float
    unit: str
    state: State
    why: str
    code: str
    source: Literal["plan", "geometry", "printing"] = "plan"


class BudgetLineDoc(Doc):
    source: str
    kind: str
    distribution: str
    u_mm: float
    dof: float | None
    """null: infinite."""
    sensitivity: float
    contribution_mm: float


class BudgetDoc(Doc):
    """Uncertainty budget of the seat-to-face distance, in the GUM's form."""

    subject: str
    value_mm: float
    u_mm: float
    u95_mm: float
    dof: float | None
    lines: tuple[BudgetLineDoc, ...]


class SectionDoc(Doc):
    shape: str
    width_mm: float
    depth_mm: float
    corner_radius_mm: float = 0.0
    outline: tuple[Point, ...]
    """Polygon, counter-clockwise, centred on the seat's axis."""


class ObstacleDoc(Doc):
    """What stands on the panel's face around the seat."""

    name: str
    width_mm: float
    """Across, square to the panel."""
    height_mm: float
    """Above the face."""


class CarriedDoc(Doc):
    """What sits on a part and is not printed, such as an original cap: a prism."""

    section: SectionDoc
    bottom: float
    top: float


class DrawingDoc(Doc):
    """Everything a section drawing needs, in the model frame (z = 0 at the seat's contact plane)."""

    slope: Point
    """Local slope of the panel face."""
    face_z: float
    """Panel face on the seat's axis: the seat-to-face distance."""
    face_u95: float
    thickness: float
    hole: SectionDoc
    """The opening in the panel's own plane."""
    passage: tuple[Point, ...]
    offset: Point
    section: SectionDoc
    model_section: SectionDoc
    crown: str
    crown_rise: float
    crown_slope: Point
    edge_radius: float
    crown_z: float
    """Wanted height: crown on the axis, at rest."""
    skirt_bottom: float
    wall: float
    flange: SectionDoc | None
    flange_top: float | None
    flange_bottom: float | None
    socket_shape: str
    socket_width: float
    socket_depth: float
    socket_length: float
    seat_width: float
    seat_depth: float
    seat_length: float
    travel: float
    body: float | None
    """Distance from the seat's top at rest down to the first obstacle, if known."""
    over: bool = False
    """True for a part that stays over the panel: the passage is then empty, and the room is that to face and nut."""
    silhouette_x: tuple[Point, ...] = ()
    """Outline of the part in the cut along X as (along, z); empty where section, crown and flange say it all."""
    silhouette_y: tuple[Point, ...] = ()
    obstacles: tuple[ObstacleDoc, ...] = ()
    sides_mm: tuple[float, float, float, float] | None = None
    """Room between section and passage at -X, +X, -Y, +Y, along the lines through the seat's axis; that of what the
    part carries, where it carries something."""
    carried: CarriedDoc | None = None
    """What sits on the part and is not printed."""
    light: tuple[Point, ...] = ()
    """Outline of a light window in the crown; empty where it has none."""


class GripDoc(Doc):
    kind: str
    pull_off_n: Point
    insertion_n: Point
    strain: Point
    strain_limit: float
    interference_mm: Point
    slop_mm: float
    bore_error_mm: float | None = None
    """Printed minus drawn width of a bore that the socket allows for."""
    note: str


class ClearanceDoc(Doc):
    nominal_mm: float
    worst_mm: float
    rss_mm: float
    u95_mm: float
    model_nominal_mm: float
    model_rocked_mm: float


class ColouredDoc(Doc):
    """A body in another colour, printed into a part or on it."""

    name: str
    """What it is: legend, pointer, scale, line."""
    colour: str
    """#rrggbb."""
    volume_mm3: float
    """Of this body alone."""


class GeometryDoc(Doc):
    """The same numbers measured afresh on the mesh."""

    height_mm: float
    clearance_mm: float
    clearance_rocked_mm: float
    interference_mm3: float
    volume_mm3: float
    watertight: bool
    bodies: int
    min_wall_mm: float
    overhang_mm2: float
    orientation: str
    lie: tuple[float, ...] = ()
    """Row-major 4 by 4 matrix that takes the model frame to the file's."""
    scale: float = 1.0
    """Of the file over the part: above 1 for a pattern whose copies shrink. All else here is the part's size."""
    colours: tuple[ColouredDoc, ...] = ()
    """What of the part has another colour: bodies of their own in the 3MF."""


class PositionDoc(Doc):
    label: str
    part: str
    height_mm: float
    model_height_mm: float
    proud_mm: float
    proud_u95_mm: float
    clearance_mm: float
    clearance_worst_mm: float
    p_bind: float
    grip_n: Point
    section_mm: Point
    model_section_mm: Point
    extent_mm: tuple[float, float, float] | None
    """Bounding box of the file; null before it is built."""
    state: State
    checks: tuple[CheckDoc, ...]
    kind: str
    at_mm: Point
    colour: str
    hole: str
    seat: str
    mark: str
    proud_wanted_mm: float
    proud_tolerance_mm: float
    proud_pressed_mm: float
    largest_section_mm: Point
    readings_mm: tuple[float, ...]
    """The position's own drop readings."""
    clearance: ClearanceDoc
    grip: GripDoc
    drawing: DrawingDoc
    budget: BudgetDoc | None
    geometry: GeometryDoc | None = None
    file: str | None = None
    """The position's STL, relative to the revision's folder."""
    unchanged_since: str | None = None
    """The revision whose print still serves; null where this revision must be printed."""
    change: str = ""
    """What changed since the last revision and why, one sentence."""
    socket_mm: Point | None = None
    """The socket's narrowest opening in the file along X and Y, rib crest to rib crest; null where there is none."""


class DoubtDoc(Doc):
    label: str
    what: str
    reading_mm: float
    why: str


class NextDoc(Doc):
    label: str
    what: str
    why: str
    gain_mm: float


class AdviceDoc(Doc):
    """One thing to do."""

    action: str
    """read-again, read, recheck, zero, reference, wobble, gap, coupon, pilot, layer-height, proud or keep."""
    label: str
    """A position, a seat, a hole or a part; "" for the whole set."""
    what: str
    """The quantity: drop, gap, wobble, offset, ..."""
    p_all_fit_after: float
    """Chance that all fit once it is done, computed."""
    minutes: float
    """Of the person's time."""
    text: str
    """What to do and what for."""
    labels: tuple[str, ...] = ()
    """Of a pilot: the parts to print and try first."""
    value: float | None = None
    """Of another layer height or proud, mm."""


class AssumedDoc(Doc):
    """One quantity that nobody read and that matters."""

    what: str
    """wobble, body, corner_radius, offset, bevel, travel, zero, depth, recheck or thickness."""
    label: str
    """Name of the seat or hole; "" for the whole set."""
    text: str
    """What was taken in its place."""
    open: bool = False
    """Whether it could change that the set fits: while it is open, the set is not proven."""


class SetDoc(Doc):
    p_all_fit: float
    """Probability that none binds and every one stands as proud as wanted, shared causes counted once."""
    next_measurement: NextDoc | None
    state: State
    """The worst of all positions; not proven, too, while something that decides was not read (`assumed`, open)."""
    p_all_fit_wanted: float
    advice: tuple[AdviceDoc, ...] = ()
    """What would raise it most, best first; empty when the set is as sure as wanted."""
    pilot_of: int | None = None
    """Positions of the whole set where these are some of them, made alone to be tried first; the chance is of all."""


class PlacedDoc(Doc):
    """One part on a plate."""

    label: str
    at_mm: Point
    """Lower left corner of its bounding box on the plate."""
    size_mm: Point


class PlateDoc(Doc):
    """One plate: the printer's bed seen from above."""

    file: str
    size_mm: Point
    items: tuple[PlacedDoc, ...]


class MeasuredDoc(Doc):
    """One measured quantity that is not a position's drop: "[hole.window] width"."""

    subject: str
    readings_mm: tuple[float, ...]
    value_mm: float
    u95_mm: float


class PrintDoc(Doc):
    """How it lies on the printer; extended by the printing stage."""

    process: str
    material: str
    layer_height_mm: float
    orientation: str = ""
    orientation_why: str = ""
    mass_g: float | None = None
    time_min: float | None = None
    time_model: str = ""
    """What the time rests on, in words."""
    support_mm3: float | None = None
    cost: float | None = None
    currency: str = ""
    plates: tuple[str, ...] = ()
    layout: tuple[PlateDoc, ...] = ()


class FitDocument(Doc):
    format: Literal[1] = 1
    title: str
    revision: str | None
    printer: str
    panel: PanelDoc
    positions: tuple[PositionDoc, ...]
    doubts: tuple[DoubtDoc, ...]
    set: SetDoc
    profile: str
    """The profile's file name, without its folder."""
    date: str
    """ISO 8601 date of the revision."""
    partgen: str
    """Version."""
    seed: int
    draws: int
    notes: tuple[str, ...]
    print: PrintDoc
    assumed: tuple[AssumedDoc, ...] = ()
    """What was not measured and matters, what decides first."""
    contradictions: tuple[str, ...] = ()
    """Where independent readings of the same thing disagree, and what probably went wrong."""
    previous: str | None = None
    sources: tuple[str, ...] = ()
    measured: tuple[MeasuredDoc, ...] = ()
    """Readings other than drops, for the report's table."""
    unit: Unit = "mm"
    """The profile's own unit, in which people read lengths; the values here are mm whatever it is."""
