"""A photograph in which the marker sheet lies on the panel, laid flat: then it is measured like a scan.

The markers give camera and pose (`lens`); the panel's face is drawn anew as it would look from right above, at the
photograph's own resolution, and goes through the same stages as a flatbed scan. What the lens leaves unsure of each
place goes along with it (`Sight`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from partgen.core.errors import Fault, InputError
from partgen.metrology.estimate_records import FloatArray
from partgen.metrology.readings import rectangular
from partgen.profile.panel_records import Caliper
from partgen.scan import lens
from partgen.scan.image import Loaded, as_scan, load
from partgen.scan.lens import Lens
from partgen.scan.marker_sheet import BOARDS, PAGE, SQUARE, Board, dictionary, marked_distance
from partgen.scan.scan_records import ByteArray, Picture

PAPER = 0.1
"""mm: thickness of the sheet, 80 g/m² (common practice, no source); its print lies that much above the panel's face."""
LIFT = 0.15
"""mm, plus or minus: how far a sheet that lies flat may stand off the panel (common practice, no source)."""
UNCHECKED = 0.005
"""Standard uncertainty of an unchecked sheet's scale: what office printers stretch (common practice, no source)."""
LEAST_CORNERS = 12
STEEP, TOO_STEEP = 1.6, 2.5
"""How many times as coarse the far end may be as the near one before it is said, and before it is refused."""
BLURRED = 2.0
"""Pixels, standard deviation of an edge's spread: beyond it the photograph is refused."""
GLARE = 0.15
"""Fraction of the sheet's black squares that shine white before the photograph is refused."""
REACH = 300.0
"""mm beyond the seen markers that are still drawn."""
MOST_PIXELS = 80_000_000
_GRID = 16


@dataclass(frozen=True)
class Sight:
    """What a photograph leaves unsure, for the flat picture made of it (mm on the table: x right, y up)."""

    lens: Lens
    origin: FloatArray
    """(2,) of the flat picture's first pixel on the sheet's frame, mm."""
    stretch_u: float
    """Relative standard uncertainty of the sheet's scale."""
    checked: bool
    """True where the marked distance was read with the calipers."""
    lift_u: float
    """mm, standard uncertainty of the depth of the face behind the print."""
    sheets: tuple[FloatArray, ...]
    """(4, 2) corners of each board in the flat picture's pixels: no opening of the panel lies there."""

    def spread(self, table: FloatArray) -> FloatArray:
        """(2n, 2n) covariance of places `table` (n, 2): camera and pose, and the sheet's lift."""
        flat = table * np.array([1.0, -1.0]) + self.origin
        sign = np.tile([1.0, -1.0], len(flat))
        cov = self.lens.spread(flat) * np.outer(sign, sign)
        h = 0.5
        nearer = Lens(self.lens.p, self.lens.cov, 0.0, self.lens.depth - h)
        by_lift = ((flat - nearer.on_face(self.lens.project(flat))) / h).ravel() * sign
        return np.asarray(cov + np.outer(by_lift, by_lift) * self.lift_u**2)


def read_panel(
    path: Path, caliper: Caliper, *, dpi: float | None = None, sheet_mm: float | None = None, face_below: float = 0.0
) -> Picture:
    """The panel in the picture at `path`: a photograph where the marker sheet is in it, else a flatbed scan.

    Raises InputError for what is neither, OutsideError when a library is missing or the disk fails.
    """
    loaded = load(path)
    boards = sheet_in(loaded.rgb)
    if boards:
        return laid_flat(loaded, boards, caliper, sheet_mm=sheet_mm, face_below=face_below)
    if sheet_mm is not None:
        raise InputError(
            Fault(loaded.source, "no marker sheet", "a photograph in which the sheet lies flat and can be seen")
        )
    return as_scan(loaded, dpi)


def sheet_in(rgb: ByteArray) -> dict[Board, lens.Seen]:
    """The boards that a picture shows, with the corners seen; empty where there is none."""
    import cv2

    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    small = 1600 / max(grey.shape)
    quick = cv2.resize(grey, None, fx=small, fy=small, interpolation=cv2.INTER_AREA) if small < 1 else grey
    if not len(cv2.aruco.ArucoDetector(dictionary()).detectMarkers(quick)[0]):
        return {}  # a scan: a first look is enough to tell
    found = {}
    for board in BOARDS:
        corners, numbers, _, _ = cv2.aruco.CharucoDetector(board.made).detectBoard(grey)
        if numbers is not None and len(numbers) >= LEAST_CORNERS:
            at = np.asarray(numbers).ravel()
            found[board] = lens.Seen(board.corners[at], np.asarray(corners, dtype=float).reshape(-1, 2))
    return found


def laid_flat(
    picture: Loaded, boards: dict[Board, lens.Seen], caliper: Caliper, *, sheet_mm: float | None = None,
    face_below: float = 0.0,
) -> Picture:  # fmt: skip
    """The photograph as a scan of the panel's face. `sheet_mm`: what the calipers read between the sheet's marks;
    `face_below`: mm by which the face lies below what the sheet lies on.

    Raises InputError where the photograph is too steep, too soft or too bright to be measured, with what to do.
    """
    drawn = marked_distance("a4" if PAGE in boards else "strip")
    scale = 1.0 if sheet_mm is None else sheet_mm / drawn
    if abs(scale - 1) > 0.1:
        raise InputError(
            Fault("--sheet-mm", f"{sheet_mm:g} mm", f"near {drawn:.0f} mm: it is the distance of the two marks")
        )
    seen = [lens.Seen(one.flat * scale, one.pixels) for one in boards.values()]
    height, width = picture.rgb.shape[:2]
    depth = PAPER + face_below
    try:
        sight = lens.adjust(seen, (width, height), depth)
    except ValueError as error:
        raise InputError(
            Fault(picture.source, "too little of the sheet", "at least a dozen squares of it, in one piece")
        ) from error
    notes = [*picture.notes, *_judged(picture, boards, sight, scale)]
    corner = np.concatenate([one.pixels for one in seen])
    low, high = _extent(sight, (width, height), corner)
    pitch = float(np.median(sight.pitch(sight.on_face(corner))))
    pitch = max(pitch, float(np.sqrt(np.prod(high - low) / MOST_PIXELS)))
    flat = _drawn_anew(picture.rgb, sight, low, high, pitch)
    stretch = (
        UNCHECKED
        if sheet_mm is None
        else float(np.hypot(rectangular(caliper.limit_of_error), caliper.repeatability)) / drawn
    )
    notes.append(
        f"A photograph: {len(corner)} corners of the sheet were seen, {sight.corner_rms:.2f} pixels off on the mean."
    )
    if sheet_mm is None:
        notes.append(
            f"Read the two marks on the sheet with the calipers and give --sheet-mm: until then what the printer "
            f"stretched is not known ({drawn:.0f} mm as drawn)."
        )
    sheets = tuple((sight.on_face(_corners(sight, k, board, scale)) - low) / pitch for k, board in enumerate(boards))
    _blanked(flat, sheets)
    view = Sight(sight, low, stretch, sheet_mm is not None, LIFT / np.sqrt(3), sheets)
    return Picture(picture.name, flat, (25.4 / pitch, 25.4 / pitch), tuple(notes), picture.lossy, view)


def _blanked(flat: ByteArray, sheets: Sequence[FloatArray]) -> None:
    """Paint each board in the white of its own paper: a sheet's squares are no openings."""
    import cv2

    for corners in sheets:
        mask = np.zeros(flat.shape[:2], dtype=np.uint8)
        cv2.fillConvexPoly(mask, np.round(corners).astype(np.int32), 1)
        inside = mask.astype(bool)
        if inside.any():
            white = np.percentile(flat[inside], 90, axis=0)
            flat[cv2.dilate(mask, np.ones((5, 5), np.uint8)).astype(bool)] = white.round().astype(np.uint8)


def _corners(sight: Lens, number: int, board: Board, scale: float) -> FloatArray:
    """(4, 2) pixels of a board's outer corners."""
    width, height = board.size
    flat = np.array([(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)]) * scale
    return lens.of_board(sight.p, number, flat)


def _judged(picture: Loaded, boards: dict[Board, lens.Seen], sight: Lens, scale: float) -> list[str]:
    """Remarks on slant; raises InputError where the photograph cannot be measured well."""
    where = picture.source
    soft = _blur(picture.rgb, boards)
    if soft > BLURRED:
        sharp = "a sharp one: more light, the phone held against something, touched to focus on the panel"
        raise InputError(Fault(where, f"a blurred photograph ({soft:.1f} pixels)", sharp))
    if (bright := _glare(picture.rgb, boards, sight, scale)) > GLARE:
        mild = "a photograph without a lamp's reflection: no flash, light from the side"
        raise InputError(Fault(where, f"glare on {100 * bright:.0f} % of the sheet", mild))
    flat = np.concatenate([one.flat * scale for one in boards.values()])
    pitches = sight.pitch(flat)
    ratio = float(pitches.max() / pitches.min())
    words = f"the far end is {ratio:.1f} times as coarse as the near one"
    if ratio > TOO_STEEP:
        raise InputError(Fault(where, words, "a photograph from above the middle of the panel"))
    return [f"{words[0].upper()}{words[1:]}: another photograph from above is surer."] if ratio > STEEP else []


def _blur(rgb: ByteArray, boards: dict[Board, lens.Seen]) -> float:
    """Median standard deviation, in pixels, of the edges at the seen corners: contrast over steepest slope."""
    soft = []
    for one in boards.values():
        for x, y in one.pixels.round().astype(int):
            patch = rgb[max(0, y - 9) : y + 10, max(0, x - 9) : x + 10].mean(axis=2)
            if min(patch.shape) >= 12:
                slope = float(np.hypot(*np.gradient(patch)).max())
                soft.append(float(np.ptp(patch)) / max(slope, 1e-9) / np.sqrt(2 * np.pi))
    return float(np.median(soft)) if soft else np.inf


def _glare(rgb: ByteArray, boards: dict[Board, lens.Seen], sight: Lens, scale: float) -> float:
    """Fraction of the black squares on the first board, within the picture, whose middle shines white."""
    board = next(iter(boards))
    squares = np.argwhere(np.add.outer(np.arange(board.columns), np.arange(board.rows)) % 2 == 0)
    middles = (squares + 0.5) * SQUARE
    low, high = boards[board].flat.min(axis=0) - SQUARE, boards[board].flat.max(axis=0) + SQUARE
    middles = middles[((middles > low) & (middles < high)).all(axis=1)]
    at = sight.project(middles * scale).round().astype(int)
    height, width = rgb.shape[:2]
    at = at[(at >= 0).all(axis=1) & (at[:, 0] < width) & (at[:, 1] < height)]
    return float((rgb[at[:, 1], at[:, 0]].min(axis=1) > 235).mean()) if len(at) else 0.0


def _extent(sight: Lens, size: tuple[int, int], corners: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(2,) least and greatest places, mm, that the flat picture shows: what the photograph does, near the sheet."""
    width, height = size
    t = np.linspace(0.0, 1.0, 41)
    sides = [(t, 0 * t), (t, 0 * t + 1), (0 * t, t), (0 * t + 1, t)]
    around = np.concatenate([np.stack(side, axis=1) for side in sides]) * (width - 1, height - 1)
    border, sheet = sight.on_face(around), sight.on_face(corners)
    seen = np.hypot(*(sight.project(border) - around).T) < 1.0  # not where a lean photograph looks over the horizon
    border = (
        border[seen] if seen.all() else np.vstack([border[seen], sheet.min(axis=0) - REACH, sheet.max(axis=0) + REACH])
    )
    low = np.maximum(border.min(axis=0), sheet.min(axis=0) - REACH)
    high = np.minimum(border.max(axis=0), sheet.max(axis=0) + REACH)
    return low, high


def _drawn_anew(rgb: ByteArray, sight: Lens, low: FloatArray, high: FloatArray, pitch: float) -> ByteArray:
    """The face from right above, one pixel every `pitch` mm from `low` to `high`.

    Where each pixel lies in the photograph is worked out on a grid and is straight between: over 16 pixels a
    lens bends by less than a hundredth of one.
    """
    import cv2

    width, height = (int(n) for n in np.ceil((high - low) / pitch))
    columns, rows = width // _GRID + 3, height // _GRID + 3
    across = (np.arange(columns) - 0.5) * _GRID - 0.5
    along = (np.arange(rows) - 0.5) * _GRID - 0.5
    places = np.stack(np.meshgrid(across, along), axis=-1).reshape(-1, 2) * pitch + low
    pixels = sight.project(places).reshape(rows, columns, 2).astype(np.float32)
    whole = (columns * _GRID, rows * _GRID)
    maps = [
        cv2.resize(np.ascontiguousarray(pixels[..., i]), whole, interpolation=cv2.INTER_LINEAR)[
            _GRID : _GRID + height, _GRID : _GRID + width
        ]
        for i in (0, 1)
    ]
    seen = cv2.remap(rgb, maps[0], maps[1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(seen, dtype=np.uint8)
