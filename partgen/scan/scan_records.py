"""What a scan says, as frozen records. Lengths in mm, angles in radians.

Frames: *pixels* (x right, y down, centres of pixels at whole numbers); *table*: mm, x right, y up, set
right for stretch, skew and mirroring; *panel*: the table turned and moved onto the profile's board frame.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from partgen.metrology.estimate_records import Doubt, FloatArray

if TYPE_CHECKING:
    from partgen.scan.photo import Sight

ByteArray = NDArray[np.uint8]
BoolArray = NDArray[np.bool_]
ShapeKind = Literal["round", "rectangle", "slot", "outline"]
Behind = Literal["bright", "dark"]


@dataclass(frozen=True)
class Picture:
    """A scan as read: `rgb` (h, w, 3) bytes, the resolution tag in dots per inch (across, along)."""

    name: str
    rgb: ByteArray
    dpi: tuple[float, float]
    notes: tuple[str, ...]
    """What was done to the file on the way in, in plain words."""
    lossy: bool = False
    """True where the format keeps colour coarser than lightness."""
    sight: Sight | None = None
    """What a photograph that was laid flat leaves unsure; None of a flatbed scan."""


@dataclass(frozen=True)
class Rim:
    """The edge of one opening in pixels, found between its local tones inside and outside."""

    points: FloatArray
    """(n, 2) in order around the opening."""
    normals: FloatArray
    """(n, 2) unit, outward."""
    blur: float
    """Standard deviation of the edge's spread, in pixels."""
    level_u: float
    """How far, in pixels, the half tone may lie from the true edge: the scanner's tone curve."""
    inside: FloatArray
    """(3,) tone seen through the opening, 0-255."""
    outside: FloatArray
    """(3,) tone of the panel beside it, 0-255."""
    coverage: float
    """Fraction of the circumference on which an edge was found."""


@dataclass(frozen=True)
class Shape:
    """A fitted opening. `width` along its own first axis, which lies at `angle` from +X.

    A round has width == depth == 2 corner_radius; a slot has corner_radius == half its smaller size.
    `points` (n, 2) is an outline around (0, 0), turned by nothing: it already lies as in the frame.
    """

    kind: ShapeKind
    x: float
    y: float
    width: float
    depth: float
    angle: float
    corner_radius: float
    points: tuple[tuple[float, float], ...] = ()

    @property
    def centre(self) -> FloatArray:
        """(2,) in mm."""
        return np.array([self.x, self.y])


@dataclass(frozen=True)
class Fit:
    """A shape with what is known of its error."""

    shape: Shape
    u_centre: tuple[float, float]
    """Standard uncertainty of x and y from the edge points alone."""
    u_width: float
    u_depth: float
    u_angle: float
    u_corner: float
    residual: float
    """Root mean square of the edge points off the shape, mm."""
    misfit: float
    """The slow part of the residual (form rather than noise), mm."""
    used: BoolArray
    """(n,) edge points that were not put aside as dust."""


@dataclass(frozen=True)
class Distance:
    """One calipers distance between two openings, in mm.

    `how`: between centres, across the two far walls ("outside") or the web between them ("inside").
    """

    a: str
    b: str
    mm: tuple[float, ...]
    how: Literal["centres", "outside", "inside"] = "centres"

    def __str__(self) -> str:
        return f"{self.a} to {self.b} {' '.join(f'{m:g}' for m in self.mm)} mm ({self.how})"


@dataclass(frozen=True)
class Scale:
    """Pixels to millimetres. True = [[1 + e_x, k], [0, 1 + e_y]] · tagged.

    `correction` is (e_x, e_y, k), `cov` its (3, 3) covariance.
    """

    dpi: tuple[float, float]
    correction: tuple[float, float, float]
    cov: FloatArray
    distances: tuple[int, int]
    """How many calipers distances ran mainly across and along the scanner's bed, doubted ones left out."""
    doubts: tuple[Doubt, ...]
    notes: tuple[str, ...]
    checked: bool = False
    """True where a marker sheet whose marks were read with the calipers lay beside the openings."""

    @property
    def proven(self) -> bool:
        """True when two distances in each direction hold the scale, or a checked marker sheet does."""
        return self.checked or min(self.distances) >= 2

    @property
    def matrix(self) -> FloatArray:
        """(2, 2): pixel difference (x right, y down) to mm on the table (x right, y up)."""
        e_x, e_y, k = self.correction
        return np.array([[1 + e_x, k], [0.0, 1 + e_y]]) @ np.diag([25.4 / self.dpi[0], -25.4 / self.dpi[1]])


@dataclass(frozen=True)
class Opening:
    """One opening in the panel frame, with standard uncertainties (scale counted in)."""

    label: str
    known: bool
    """True when the profile has a position of this label."""
    fit: Fit
    rim: Rim
    """For the picture and for corrections."""
    u_at: tuple[float, float]
    """Of (x, y), relative to the openings as a whole."""
    u_width: float
    u_depth: float
    pixel: tuple[float, float]
    """Centre in the scan's pixels."""

    @property
    def shape(self) -> Shape:
        """The fitted shape in the panel frame."""
        return self.fit.shape


@dataclass(frozen=True)
class Group:
    """Openings of equal shape and size, and what they say together (standard uncertainties)."""

    name: str
    known: bool
    """True when the profile has this [hole.*]."""
    labels: tuple[str, ...]
    shape: Shape
    """At the origin, unturned."""
    u_width: float
    u_depth: float
    u_corner: float


@dataclass(frozen=True)
class Scan:
    """All that one scan says."""

    picture: str
    behind: Behind
    mirrored: bool
    turned: float
    """Radians by which the panel lay turned on the glass (taken out)."""
    scale: Scale
    openings: tuple[Opening, ...]
    groups: tuple[Group, ...]
    missing: tuple[str, ...]
    """Labels of the profile at whose place no opening was found."""
    doubts: tuple[Doubt, ...]
    notes: tuple[str, ...]

    @property
    def proven(self) -> bool:
        """False when the scale rests on the file's resolution tag alone."""
        return self.scale.proven
