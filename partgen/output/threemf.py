"""3MF packages: one print plate, every part a named object with its part number and colour.

After 3MF Core Specification 1.3 (3MF Consortium, 2021): an OPC package (ECMA-376 part 2) holding one
model part in millimetres. Written here with the standard library, so that equal input gives equal
bytes (no clock, no random identifiers) and a build needs no native library for it; the tests read
every package with the consortium's own library in strict mode.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from io import BytesIO
from typing import TYPE_CHECKING
from xml.sax.saxutils import quoteattr

import numpy as np

from partgen.geometry.mesh_records import Floats, Ints, Mesh, transformed, trimesh_of

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from trimesh import Trimesh

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
MODEL_TYPE = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
THUMBNAIL_TYPE = "http://schemas.openxmlformats.org/package/2006/relationships/metadata/thumbnail"
RELATIONSHIPS = "http://schemas.openxmlformats.org/package/2006/relationships"
CONTENT_TYPES = "http://schemas.openxmlformats.org/package/2006/content-types"
MODEL_PART, THUMBNAIL_PART = "3D/3dmodel.model", "Metadata/thumbnail.png"
_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'


@dataclass(frozen=True, eq=False)
class Further:
    """A body of a part in another colour, in the part's own frame."""

    name: str
    mesh: Trimesh
    colour: str


@dataclass(frozen=True, eq=False)
class PlacedPart:
    """One part on a plate, in as many copies as it has places."""

    name: str
    """The position's label."""
    number: str
    """Part number: label and revision."""
    mesh: Trimesh
    places: tuple[Floats, ...]
    """(4, 4) rigid each, from the mesh's frame to the plate's, mm."""
    colour: str
    """#rrggbb."""
    material: str
    further: tuple[Further, ...] = ()
    """Bodies in other colours: with them the part is an object of components (Core Specification 4.2)."""


@dataclass(frozen=True)
class About:
    """What the package says of itself."""

    title: str
    created: date
    description: str = ""
    application: str = ""


def plate_3mf(parts: Sequence[PlacedPart], about: About, thumbnail: bytes | None = None) -> bytes:
    """The plate as the bytes of a .3mf file. `thumbnail` is a PNG."""
    relations = [(f"/{MODEL_PART}", "model", MODEL_TYPE)]
    kinds = [
        ("rels", "application/vnd.openxmlformats-package.relationships+xml"),
        ("model", "application/vnd.ms-package.3dmanufacturing-3dmodel+xml"),
    ]
    files = {MODEL_PART: "".join(_model(parts, about)).encode()}
    if thumbnail is not None:
        relations.append((f"/{THUMBNAIL_PART}", "thumbnail", THUMBNAIL_TYPE))
        kinds.append(("png", "image/png"))
        files[THUMBNAIL_PART] = thumbnail
    defaults = "".join(f'<Default Extension="{end}" ContentType="{kind}"/>' for end, kind in kinds)
    links = "".join(f'<Relationship Target="{to}" Id="{name}" Type="{kind}"/>' for to, name, kind in relations)
    whole = {
        "[Content_Types].xml": f'{_HEAD}<Types xmlns="{CONTENT_TYPES}">{defaults}</Types>'.encode(),
        "_rels/.rels": f'{_HEAD}<Relationships xmlns="{RELATIONSHIPS}">{links}</Relationships>'.encode(),
        **files,
    }
    buffer = BytesIO()
    day = (about.created.year, about.created.month, about.created.day, 0, 0, 0)
    with zipfile.ZipFile(buffer, "w") as package:
        for name, data in whole.items():
            entry = zipfile.ZipInfo(name, date_time=day)
            entry.create_system = 0  # the same on every system
            package.writestr(entry, data, zipfile.ZIP_DEFLATED, compresslevel=4)
    return buffer.getvalue()


def _model(parts: Sequence[PlacedPart], about: About) -> Iterator[str]:
    """The model part's text, an object at a time."""
    bases = list(
        dict.fromkeys(
            (part.material, colour) for part in parts for colour in (part.colour, *(f.colour for f in part.further))
        )
    )
    metadata = {
        "Title": about.title,
        "Description": about.description,
        "Application": about.application,
        "CreationDate": about.created.isoformat(),
    }
    said = "".join(f"<metadata name={_quoted(k)}>{_escaped(v)}</metadata>" for k, v in metadata.items() if v)
    materials = "".join(
        f"<base name={_quoted(f'{material} {colour}')} displaycolor={_quoted(colour.upper() + 'FF')}/>"
        for material, colour in bases
    )
    yield f'{_HEAD}<model unit="millimeter" xml:lang="en" xmlns="{CORE}">{said}<resources>'
    yield f'<basematerials id="1">{materials}</basematerials>'
    items = []
    number = 1

    def added(name: str, colour: tuple[str, str], inside: str) -> str:
        nonlocal number
        number += 1
        base = f' pid="1" pindex="{bases.index(colour)}"' if inside.startswith("<mesh>") else ""
        return f'<object id="{number}" type="model" {name}{base}>{inside}</object>'

    for part in parts:
        called = f"name={_quoted(part.name)} partnumber={_quoted(part.number)}"
        plain = (part.material, part.colour)
        if part.further:
            first = number + 1
            yield added(f"name={_quoted(f'{part.name} body')}", plain, _mesh(part.mesh))
            for f in part.further:
                yield added(f"name={_quoted(f'{part.name} {f.name}')}", (part.material, f.colour), _mesh(f.mesh))
            inside = "".join(f'<component objectid="{body}"/>' for body in range(first, number + 1))
            yield added(called, plain, f"<components>{inside}</components>")
        else:
            yield added(called, plain, _mesh(part.mesh))
        for copy, place in enumerate(part.places, start=1):
            named = part.number if copy == 1 else f"{part.number} spare {copy - 1}"
            items.append(f'<item objectid="{number}" transform="{_transform(place)}" partnumber={_quoted(named)}/>')
    yield f"</resources><build>{''.join(items)}</build></model>\n"


def _mesh(mesh: Trimesh) -> str:
    vertices = _rows('<vertex x="%.6f" y="%.6f" z="%.6f"/>', np.asarray(mesh.vertices) + 0.0)
    triangles = _rows('<triangle v1="%d" v2="%d" v3="%d"/>', np.asarray(mesh.faces))
    return f"<mesh><vertices>{vertices}</vertices><triangles>{triangles}</triangles></mesh>"


def _rows(pattern: str, table: Floats | Ints) -> str:
    """Every row of the table through the pattern, in one formatting call: there are thousands."""
    return (pattern * len(table)) % tuple(table.ravel().tolist())


def _transform(place: Floats) -> str:
    """Twelve numbers of a matrix that multiplies row vectors from the right (Core Specification 3.3)."""
    return " ".join(f"{v + 0.0:.9g}" for v in np.asarray(place)[:3].T.ravel())


def _clean(text: str) -> str:
    """Text without the characters that XML 1.0 cannot hold (section 2.2, Char)."""
    return _NOT_XML.sub("\ufffd", text)


def _quoted(text: str) -> str:
    return quoteattr(_clean(text))


def _escaped(text: str) -> str:
    return _clean(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


@dataclass(frozen=True, eq=False)
class ReadItem:
    """One placed object as a reader found it."""

    name: str
    number: str
    colour: str
    mesh: Trimesh
    """Moved to its place on the plate; of a part in several colours, its first body."""
    further: tuple[Further, ...] = ()
    """Its other bodies, moved with it."""
    place: Floats = field(default_factory=lambda: np.eye(4))
    """(4, 4) by which they were moved."""


def read_3mf(data: bytes) -> tuple[ReadItem, ...]:
    """Read a plate back with the standard library alone. Raises ValueError where it is no 3MF in millimetres."""
    from xml.etree import ElementTree

    try:
        with zipfile.ZipFile(BytesIO(data)) as package:
            root = ElementTree.fromstring(package.read(MODEL_PART))
        return _items(root)
    except (zipfile.BadZipFile, zlib.error, ElementTree.ParseError, LookupError, TypeError) as error:
        raise ValueError(f"no 3MF: {error}") from error


def _items(root: Element) -> tuple[ReadItem, ...]:
    """Every placed object of a model."""
    if root.get("unit", "millimeter") != "millimeter":
        raise ValueError(f"a model in {root.get('unit')}, not in millimetres")
    space = f"{{{CORE}}}"
    colours = [base.get("displaycolor", "") for base in root.iter(f"{space}base")]
    objects = {found.get("id"): found for found in root.iter(f"{space}object")}
    items = []
    for item in root.iter(f"{space}item"):
        source = objects[item.get("objectid")]
        matrix = np.eye(4)
        matrix[:3] = np.array([float(v) for v in _numbers(item.get("transform"))]).reshape(4, 3).T
        parts = [objects[c.get("objectid")] for c in source.iter(f"{space}component")] or [source]
        bodies = [
            Further(body.get("name", ""), transformed(_read_mesh(body, space), matrix), _read_colour(body, colours))
            for body in parts
        ]
        items.append(
            ReadItem(
                source.get("name", ""),
                item.get("partnumber", ""),
                bodies[0].colour,
                bodies[0].mesh,
                tuple(bodies[1:]),
                matrix,
            )
        )
    return tuple(items)


def _read_mesh(source: Element, space: str) -> Trimesh:
    vertices = np.array([[float(v.get(k, "nan")) for k in "xyz"] for v in source.iter(f"{space}vertex")])
    names = ("v1", "v2", "v3")
    faces = np.array([[int(t.get(k, "-1")) for k in names] for t in source.iter(f"{space}triangle")])
    return trimesh_of(Mesh(vertices, faces.astype(np.int64)))


def _read_colour(source: Element, colours: Sequence[str]) -> str:
    return colours[int(source.get("pindex", "0"))][:7].lower()


def _numbers(transform: str | None) -> Iterable[str]:
    return transform.split() if transform else ["1", "0", "0", "0", "1", "0", "0", "0", "1", "0", "0", "0"]
