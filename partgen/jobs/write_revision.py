"""What a revision holds besides its parts' own files: plates, print data, order sheets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from partgen.core.files import write_new
from partgen.geometry.mesh_records import Floats, scaled, transformed
from partgen.jobs.build_meshes import MadePart
from partgen.jobs.inputs import Inputs
from partgen.output.file_names import plain
from partgen.output.order import Order, Ordered, first_article_csv, make_order, order_csv
from partgen.output.orientation import laid
from partgen.output.plates import Packing, Wanted, pack
from partgen.output.quantities import PartVolume, PrintData, plate_data, total
from partgen.output.result_document import PlacedDoc, PlateDoc, PrintDoc
from partgen.output.threemf import About, Further, PlacedPart, plate_3mf
from partgen.profile.printer_records import Material
from partgen.views.order_page import order_page

ORDER_FOLDER = "order"


@dataclass(frozen=True)
class LaidOut:
    """How a revision's parts lie on the printer, and what that takes."""

    packing: Packing
    plates: tuple[PrintData, ...]
    """One per plate."""
    data: PrintData | None
    """All plates; None where nothing was made."""


def lay_out(made: Mapping[str, MadePart], inputs: Inputs) -> LaidOut:
    """Pack every made part and its spares on plates."""
    wanted = [
        Wanted(
            label=label,
            size=_extent(part),
            matrix=laid(part.shown, part.orientation),
            colour=inputs.profile.part[part.plan.part].colour,
            material=_material(part, inputs).name,
            copies=_copies(part, inputs),
        )
        for label, part in made.items()
    ]
    packing = pack(wanted, inputs.printer)
    volumes = {label: PartVolume(part.volume, part.print.support_space) for label, part in made.items()}
    by_name = {material.name: material for material in inputs.materials.values()}
    plates = tuple(plate_data(p, volumes, inputs.printer, by_name[p.material]) for p in packing.plates)
    return LaidOut(packing, plates, total(plates))


def plate_names(out: LaidOut) -> tuple[str, ...]:
    """What the plates' files are called, in the revision's folder."""
    return tuple(f"plate-{number}.3mf" for number in range(1, len(out.packing.plates) + 1))


def write_plates(
    made: Mapping[str, MadePart], inputs: Inputs, out: LaidOut, about: About, stems: Mapping[str, str], folder: Path
) -> None:
    """Every plate as 3MF, one named object per position; `stems` are the part numbers by label."""
    for name, plate in zip(plate_names(out), out.packing.plates, strict=True):
        places: dict[str, list[Floats]] = {}
        for item in plate.items:
            places.setdefault(item.label, []).append(np.reshape(item.matrix, (4, 4)))
        parts = [
            _placed(made[label], stems[label], tuple(spots), plate.colour, plate.material)
            for label, spots in places.items()
        ]
        entitled = replace(about, title=f"{about.title}, {name.split('.')[0]}")
        write_new(folder / name, plate_3mf(parts, entitled, _thumbnail(parts)))


def _placed(part: MadePart, stem: str, spots: tuple[Floats, ...], colour: str, material: str) -> PlacedPart:
    """One part as large as its files, every colour a body of its own."""
    further = tuple(Further(b.name, scaled(b.mesh, part.scale), b.colour) for b in part.bodies)
    core = part.shown if part.core is None else scaled(part.core, part.scale)
    return PlacedPart(part.plan.label, stem, core, spots, colour, material, further)


def _thumbnail(parts: Sequence[PlacedPart]) -> bytes:
    """A small picture of a plate, as file managers show it."""
    from partgen.views.mesh_picture import Body, picture, view
    from partgen.views.report_extras import Shape

    lying = [
        (transformed(mesh, place), colour)
        for part in parts
        for place in part.places
        for mesh, colour in ((part.mesh, part.colour), *((f.mesh, f.colour) for f in part.further))
    ]
    return picture([Body(Shape(m.vertices, m.faces), colour) for m, colour in lying], view(-25, 40), 256, 256)


def print_doc(made: Mapping[str, MadePart], inputs: Inputs, out: LaidOut, written: Sequence[str]) -> PrintDoc:
    """What the fit document says of printing. `written`: the plates' files, where they were written."""
    ways = {part.plan.part: part.orientation for part in made.values()}
    data = out.data
    return PrintDoc(
        process=inputs.printer.process,
        material=", ".join(dict.fromkeys(plate.material for plate in out.packing.plates)) or inputs.printer.material,
        layer_height_mm=inputs.printer.layer_height,
        orientation=", ".join(dict.fromkeys(way.name.replace("-", " ") for way in ways.values())),
        orientation_why="; ".join(
            dict.fromkeys(f"{name}: {way.why}. Next best: {way.runner_up}" for name, way in ways.items())
        ),
        mass_g=None if data is None else round(data.mass, 2),
        time_min=None if data is None else round(data.minutes, 1),
        time_model="" if data is None else data.model,
        support_mm3=None if data is None else round(data.support, 1),
        cost=None if data is None else round(data.cost, 2),
        currency=inputs.printer.currency,
        plates=tuple(written),
        layout=tuple(
            PlateDoc(
                file=file,
                size_mm=plate.bed,
                items=tuple(
                    PlacedDoc(
                        label=item.label,
                        at_mm=(round(item.at[0], 3), round(item.at[1], 3)),
                        size_mm=(round(item.size[0], 3), round(item.size[1], 3)),
                    )
                    for item in plate.items
                ),
            )
            for file, plate in zip(plate_names(out), out.packing.plates, strict=True)
        ),
    )


def order_of(
    made: Mapping[str, MadePart], inputs: Inputs, files: Mapping[str, str], identity: str, day: str
) -> dict[str, Order]:
    """One order per material, by its name. `files`: each part's file by label, relative to the revision's folder."""
    orders: dict[str, Order] = {}
    for name in dict.fromkeys(_material(part, inputs).name for part in made.values()):
        chosen = {label: part for label, part in made.items() if _material(part, inputs).name == name}
        material = next(m for m in inputs.materials.values() if m.name == name)
        ways = {part.plan.part: part.orientation.why for part in chosen.values()}
        orders[name] = make_order(
            [part.plan for part in chosen.values()],
            {
                label: Ordered(
                    file=Path(files[label]).name,
                    quantity=_copies(part, inputs),
                    colour=inputs.profile.part[part.plan.part].colour,
                    extent=_extent(part),
                    volume=part.volume,
                    further=tuple((body.name, body.colour) for body in part.bodies),
                )
                for label, part in chosen.items()
            },
            inputs.printer,
            material,
            heading=(inputs.profile.title or inputs.name, identity, day),
            orientation="; ".join(f"{name} {why}" if len(ways) > 1 else why for name, why in ways.items()),
        )
    return orders


def write_orders(orders: Mapping[str, Order], out: LaidOut, folder: Path) -> tuple[str, ...]:
    """Part list and first-article sheet as CSV and as a page, per material; their paths in the folder."""
    written = []
    for material, order in orders.items():
        tail = f"-{plain(material)}" if len(orders) > 1 else ""
        own = [d for d, p in zip(out.plates, out.packing.plates, strict=True) if p.material == material]
        contents = {
            f"part-list{tail}.csv": order_csv(order),
            f"first-article{tail}.csv": first_article_csv(order),
            f"order-sheet{tail}.html": order_page(order, total(own)),
        }
        for name, text in contents.items():
            target = folder / ORDER_FOLDER / name
            target.parent.mkdir(exist_ok=True)
            # The byte order mark tells spreadsheets that the CSV is UTF-8.
            write_new(target, text.encode("utf-8-sig" if name.endswith(".csv") else "utf-8"))
            written.append(f"{ORDER_FOLDER}/{name}")
    return tuple(written)


def _material(part: MadePart, inputs: Inputs) -> Material:
    return inputs.materials[inputs.profile.part[part.plan.part].material or inputs.printer.material]


def _copies(part: MadePart, inputs: Inputs) -> int:
    return 1 + inputs.profile.part[part.plan.part].spares


def _extent(part: MadePart) -> tuple[float, float, float]:
    size = part.lying.bounds[1] - part.lying.bounds[0]
    return float(size[0]), float(size[1]), float(size[2])
