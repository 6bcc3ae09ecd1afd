"""What a print service is asked for, and what is measured first.

Records and CSV; printing.order_page makes a page of the same records. Pure.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from partgen.design.plan_records import PositionPlan
from partgen.output.tolerances import Callout, callout
from partgen.profile.printer_records import Material, Printer

LEAST_TOLERANCE = 0.05
"""mm, plus or minus: less is not asked of a printed part, however little the readings leave."""
SHRINK_TOLERANCE = 0.2
"""mm by which a skirt may come out smaller than drawn: more only widens the gap that is seen."""
FINISH = "as printed; no coating, tumbling or sanding (it changes sizes)"
GENERAL_TOLERANCE = "ISO 2768-m"
_PROCESS = {
    "material-extrusion": "material extrusion (ISO/ASTM 52900)",
    "vat-photopolymerization": "vat photopolymerization (ISO/ASTM 52900)",
    "powder-bed-fusion": "powder bed fusion (ISO/ASTM 52900)",
}


@dataclass(frozen=True)
class Dimension:
    """One size that matters, as the finished part must have it."""

    name: str
    size: Callout
    how: str
    """How to measure it."""


@dataclass(frozen=True)
class OrderLine:
    """One part number."""

    number: int
    label: str
    part: str
    file: str
    quantity: int
    colour: str
    further: tuple[tuple[str, str], ...]
    """What of it has another colour: its name and colour."""
    extent: tuple[float, float, float]
    """Bounding box as it lies, mm."""
    volume: float
    """mm^3."""
    dimensions: tuple[Dimension, ...]
    keep_free: str
    """Surfaces on which no support may stand."""

    @property
    def colours(self) -> str:
        """All of them in words: the part's own first."""
        return "; ".join((self.colour, *(f"{name} {colour}" for name, colour in self.further)))


@dataclass(frozen=True)
class Order:
    """A whole revision as an order."""

    title: str
    revision: str
    date: str
    process: str
    material: str
    finish: str
    orientation: str
    lines: tuple[OrderLine, ...]

    @property
    def pieces(self) -> int:
        """Number of parts, spares included."""
        return sum(line.quantity for line in self.lines)


@dataclass(frozen=True)
class Ordered:
    """What an order needs to know of one built part besides its plan."""

    file: str
    quantity: int
    colour: str
    extent: tuple[float, float, float]
    volume: float
    further: tuple[tuple[str, str], ...] = ()
    """What of it has another colour: its name and colour."""


def make_order(
    plans: Sequence[PositionPlan],
    parts: Mapping[str, Ordered],
    printer: Printer,
    material: Material,
    *,
    heading: tuple[str, str, str],
    orientation: str,
) -> Order:
    """The order of all plans that were built (those with an entry in `parts`). `heading`: title, revision, date."""
    lines = [
        OrderLine(
            number=number,
            label=plan.label,
            part=plan.part,
            file=parts[plan.label].file,
            quantity=parts[plan.label].quantity,
            colour=parts[plan.label].colour,
            further=parts[plan.label].further,
            extent=parts[plan.label].extent,
            volume=parts[plan.label].volume,
            dimensions=critical_dimensions(plan, printer),
            keep_free="crown, sides of the skirt, inside of the socket",
        )
        for number, plan in enumerate((plan for plan in plans if plan.label in parts), start=1)
    ]
    title, revision, date = heading
    return Order(title, revision, date, _PROCESS[printer.process], material.name, FINISH, orientation, tuple(lines))


def critical_dimensions(plan: PositionPlan, printer: Printer) -> tuple[Dimension, ...]:
    """Height, section and socket with what the plan leaves the printer.

    Height may deviate by what proud may, less what the readings take of it (95 %). The skirt may
    never be larger than drawn. The socket may deviate by half the range of interference that was
    planned with.
    """
    height = max(LEAST_TOLERANCE, plan.proud_tolerance - 2 * plan.drop_u)
    found = [
        Dimension(
            "height",
            callout(plan.height, "js", height),
            "depth gauge or calipers' rod, crown to the socket's floor, in the middle",
        ),
    ]
    section = plan.section
    outside = f"outside jaws, {'half way up the skirt' if plan.model.draft == 0 else 'at the lower end of the skirt'}"
    if section.shape == "round":
        found.append(Dimension("skirt diameter", callout(section.width, "h", SHRINK_TOLERANCE), outside))
    else:
        found.append(Dimension("skirt width", callout(section.width, "h", SHRINK_TOLERANCE), outside))
        found.append(Dimension("skirt depth", callout(section.depth, "h", SHRINK_TOLERANCE), outside))
    found += _socket(plan, printer)
    return tuple(found)


def _socket(plan: PositionPlan, printer: Printer) -> list[Dimension]:
    """The socket's bore across its walls, as printed: drawn size plus the printer's expected error on holes."""
    socket = plan.model.socket
    if socket.shape not in ("round", "rectangle", "tongue", "cross"):
        return []
    low, high = plan.grip.interference
    allowed = max(LEAST_TOLERANCE, (high - low) / 2)
    error = printer.error.hole.value
    inside = "inside jaws, between the ribs" if socket.ribs else "inside jaws"
    width = Dimension("socket width", callout(socket.width + error, "JS", allowed), inside)
    if socket.shape == "round":
        return [Dimension("socket diameter", width.size, inside)]
    return [width, Dimension("socket depth", callout(socket.depth + error, "JS", allowed), inside)]


ORDER_COLUMNS = (
    "no", "file", "part", "label", "revision", "quantity", "process", "material", "colour", "finish",
    "size_x_mm", "size_y_mm", "size_z_mm", "volume_cm3", "critical_dimensions", "general_tolerance", "no_support_on",
)  # fmt: skip
FIRST_ARTICLE_COLUMNS = (
    "no", "label", "characteristic", "nominal_mm", "callout", "lower_mm", "upper_mm", "how", "measured_mm", "accepted",
)  # fmt: skip


def order_csv(order: Order) -> str:
    """The part list, one row per part number."""
    rows = (
        (
            line.number,
            line.file,
            line.part,
            line.label,
            order.revision,
            line.quantity,
            order.process,
            order.material,
            line.colours,
            order.finish,
            *(f"{side:.2f}" for side in line.extent),
            f"{line.volume / 1000:.3f}",
            "; ".join(f"{d.name} {d.size.text}" for d in line.dimensions),
            GENERAL_TOLERANCE,
            line.keep_free,
        )
        for line in order.lines
    )
    return _csv(ORDER_COLUMNS, rows)


def first_article_csv(order: Order) -> str:
    """Every critical dimension of every part number, with empty cells for what was measured."""
    rows = (
        (
            f"{line.number}.{index}",
            line.label,
            d.name,
            f"{d.size.nominal:.2f}",
            d.size.text,
            f"{d.size.lower:.3f}",
            f"{d.size.upper:.3f}",
            d.how,
            "",
            "",
        )
        for line in order.lines
        for index, d in enumerate(line.dimensions, start=1)
    )
    return _csv(FIRST_ARTICLE_COLUMNS, rows)


def _csv(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")  # RFC 4180
    writer.writerow(header)
    writer.writerows([safe_cell(value) for value in row] for row in rows)
    return text.getvalue()


def safe_cell(value: object) -> str:
    """A cell that no spreadsheet takes for a formula: text that starts like one gets an apostrophe.

    Numbers are left as they are, also negative ones.
    """
    text = str(value)
    try:
        float(text)
    except ValueError:
        # Also behind blanks, which some programs skip; tabs and line breaks start a new cell in others.
        if text.lstrip().startswith(("=", "+", "-", "@", "|", "%")) or text.startswith(("\t", "\r", "\n")):
            return "'" + text
    return text
