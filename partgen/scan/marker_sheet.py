"""The marker sheet that lies on the panel while it is photographed: its boards, and the sheet as a PDF.

A board is OpenCV's ChArUco: a chessboard with a coded marker in each white square, so that every inner corner
of the part that can be seen has a number. Markers: dictionary 5x5_250 of the same library. Board frame: mm as
printed, origin at the board's upper left corner, x right, y down, seen from above.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from partgen.metrology.estimate_records import FloatArray

if TYPE_CHECKING:
    from fpdf import FPDF

Paper = Literal["a4", "letter", "strip"]
SQUARE = 15.0
"""mm: side of a square."""
MARKER = 11.0
"""mm: side of a marker; two mm of white around it are more than one of its cells, which the library asks for."""
SHEETS: dict[str, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4), "strip": (210.0, 297.0)}
"""Width and height of the paper, mm: ISO 216:2007 A4, ANSI/ASME Y14.1 size A."""


@dataclass(frozen=True)
class Board:
    """One board: `columns` by `rows` squares, whose markers count from `first`."""

    columns: int
    rows: int
    first: int

    @property
    def size(self) -> tuple[float, float]:
        """Width and height, mm."""
        return self.columns * SQUARE, self.rows * SQUARE

    @property
    def markers(self) -> int:
        """How many markers it has: one in each white square."""
        return self.columns * self.rows // 2

    @cached_property
    def made(self) -> Any:  # noqa: ANN401 - the library's board
        """The library's own board."""
        import cv2

        ids = np.arange(self.first, self.first + self.markers)
        return cv2.aruco.CharucoBoard((self.columns, self.rows), SQUARE, MARKER, dictionary(), ids)

    @cached_property
    def corners(self) -> FloatArray:
        """(n, 2) inner corners by their numbers, mm."""
        return np.asarray(self.made.getChessboardCorners(), dtype=float)[:, :2]


PAGE = Board(12, 16, 0)
"""What a full sheet bears."""
STRIPS = (Board(3, 16, 100), Board(3, 16, 130))
"""What a sheet of strips bears, to be cut apart: one above the holes and one below."""
BOARDS = (PAGE, *STRIPS)


def marked_distance(paper: Paper) -> float:
    """mm between the two marks that are checked with the calipers."""
    return 90.0 if paper == "strip" else 180.0


def dictionary() -> Any:  # noqa: ANN401 - the library's dictionary
    """The markers' patterns."""
    import cv2

    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_250)


def sheet_pdf(paper: Paper) -> bytes:
    """The sheet as PDF, vectors only, at true size; the same bytes each time."""
    import datetime

    from fpdf import FPDF

    width, height = SHEETS[paper]
    pdf = FPDF(unit="mm", format=(width, height))
    pdf.set_creation_date(datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC))  # so that its bytes repeat
    pdf.set_title("Marker sheet for photographs of a panel")
    pdf.set_auto_page_break(False)
    pdf.add_page()
    if paper == "strip":
        for board, left in zip(STRIPS, (30.0, width - 30.0 - STRIPS[1].size[0]), strict=True):
            _draw(pdf, board, left, 12.0)
            pdf.set_draw_color(150)
            pdf.set_dash_pattern(2, 2)
            pdf.rect(left - 4, 8, board.size[0] + 8, board.size[1] + 8)
            pdf.set_dash_pattern()
        words = (
            "Print at 100 %, without fitting to the page. Cut both strips out along the dashed lines.",
            "Lay them flat on the panel's face, one above the holes and one below.",
        )
        top = 12.0 + STRIPS[0].size[1] + 10
    else:
        left = (width - PAGE.size[0]) / 2
        _draw(pdf, PAGE, left, 8.0)
        words = (
            "Print at 100 %, without fitting to the page. Lay it flat on the panel's face, beside the holes;",
            "cut off what you do not need: every part with a few squares serves.",
        )
        top = 8.0 + PAGE.size[1] + 6
    _mark(pdf, width / 2, top, marked_distance(paper))
    pdf.set_font("Helvetica", size=8)
    for number, line in enumerate(
        (
            *words,
            f"With the calipers: how far are the two upright lines apart? ({marked_distance(paper):.0f} mm as drawn.)",
            "Give it as --sheet-mm: it takes out what your printer stretches.",
        )
    ):
        pdf.text(width / 2 - marked_distance("a4") / 2, top + 9 + 3.6 * number, line)
    return bytes(pdf.output())


def _draw(pdf: FPDF, board: Board, left: float, top: float) -> None:
    """Black squares, and in each white one its marker."""
    pdf.set_fill_color(0)
    corners = board.made.getObjPoints()
    for row in range(board.rows):
        for column in range(board.columns):
            if (row + column) % 2 == 0:
                pdf.rect(left + column * SQUARE, top + row * SQUARE, SQUARE, SQUARE, style="F")
    for number, marker in zip(board.made.getIds().ravel(), corners, strict=True):
        cells = dictionary().generateImageMarker(int(number), 7) < 128  # five cells and the black border around them
        side = MARKER / len(cells)
        x, y = (float(v) for v in marker[0][:2])
        for r, line in enumerate(cells):
            for begin, end in _runs(line):
                pdf.rect(left + x + begin * side, top + y + r * side, (end - begin) * side, side, style="F")


def _runs(line: Any) -> list[tuple[int, int]]:  # noqa: ANN401 - a row of booleans
    """Where a row of cells is black, as (from, to)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(int), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _mark(pdf: FPDF, middle: float, top: float, apart: float) -> None:
    """Two upright lines whose middles are `apart` from each other, and a thin one between."""
    pdf.set_line_width(0.1)
    for x in (middle - apart / 2, middle + apart / 2):
        pdf.line(x, top - 3, x, top + 5)
    pdf.line(middle - apart / 2, top, middle + apart / 2, top)
