"""Kernel results kept on disk by their content, so that an unchanged shape is never built twice.

The folder may be deleted at any time. An entry's name is a hash over everything its content follows from: the model,
the maker, the libraries' and Python's versions, and the text of every module of ours that can have a say. An entry is
a NumPy archive of plain arrays, read without pickles: nothing in it is ever run, and a check sum stands over each. One
that is damaged, cut short, or not what its name says is as good as none.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import platform
import sys
import time
import zipfile
from dataclasses import fields
from functools import cache
from importlib import metadata
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from partgen.design.part_models import PartModel
from partgen.geometry.height_derivation import Built, Maker, Reference
from partgen.geometry.mesh_records import Mesh

if TYPE_CHECKING:
    from partgen.geometry.kernel_pool import Function

ENDING = ".npz"
LIMIT_BYTES, KEPT_BYTES = 200_000_000, 150_000_000
"""A folder that grew beyond the first is brought down to the second: what was not used for longest goes first."""
LEFT_OVER = 3600.0
"""Seconds after which an unfinished entry is nobody's any more."""
LIBRARIES = ("cadquery", "cadquery-ocp", "numpy", "scipy", "shapely", "fonttools", "matplotlib", "manifold3d")
"""Whatever a solid or its mesh is made with; some families draw letters."""
OURS = ("geometry", "kinds", "verify", "design", "shapes", "metrology", "profile", "core")
"""Whose text goes into the names: where solids are drawn and meshed, and all that is imported there."""
KINDS: dict[Function, type[Built] | type[Reference]] = {"build": Built, "reference": Reference}


class ShapeCache:
    """One folder of results."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._tidied = False

    def empty(self) -> bool:
        """Whether nothing lies there."""
        return next(self._folder.glob(f"*{ENDING}"), None) is None

    def take(self, function: Function, model: PartModel, maker: Maker) -> Built | Reference | None:
        """What lies there for this question; None where nothing sound does."""
        try:
            name = name_of(function, model, maker)
            path = self._folder / name
            found = unpacked(path.read_bytes(), name, KINDS[function])
        except (OSError, ValueError, KeyError, TypeError, EOFError, NotImplementedError, zipfile.BadZipFile):
            return None
        with contextlib.suppress(OSError):
            os.utime(path)  # it was used: others go first
        return found

    def put(self, function: Function, model: PartModel, maker: Maker, found: Built | Reference) -> None:
        """Lay it there. A folder that cannot be written is no reason to stop: then nothing is kept."""
        with contextlib.suppress(OSError, TypeError):
            name = name_of(function, model, maker)
            self._folder.mkdir(parents=True, exist_ok=True)
            temporary = self._folder / f".{name}.{os.getpid()}.tmp"
            try:
                temporary.write_bytes(packed(found, name))  # not synced: an entry that is torn is found out
                temporary.replace(self._folder / name)
            finally:
                temporary.unlink(missing_ok=True)
            if not self._tidied:
                self._tidied = True
                self._tidy()

    def _tidy(self) -> None:
        """Bring it below its limit, once a build, and sweep away what a killed process left."""
        entries = []
        for path in self._folder.iterdir():
            with contextlib.suppress(OSError):
                facts = path.stat()
                if path.suffix == ENDING:
                    entries.append((facts.st_mtime, facts.st_size, path))
                elif path.suffix == ".tmp" and time.time() - facts.st_mtime > LEFT_OVER:
                    path.unlink()
        size = sum(size for _, size, _ in entries)
        if size > LIMIT_BYTES:
            for _, bytes_, path in sorted(entries):
                if size <= KEPT_BYTES:
                    break
                with contextlib.suppress(OSError):
                    path.unlink()
                    size -= bytes_


def name_of(function: Function, model: PartModel, maker: Maker) -> str:
    """What the entry for this question is called. Raises TypeError where what it follows from cannot be told."""
    made_by = [_told(getattr(maker, part.name)) for part in fields(maker)]
    # a record's repr holds its type, every field, and every number to its last bit
    return hashlib.sha256(repr((_circumstances(), function, model, made_by)).encode()).hexdigest()[:40] + ENDING


def _told(function: Any) -> str | None:  # noqa: ANN401 - a function or None
    """A maker's function by its name. Raises TypeError for one whose code or state the name does not tell."""
    if function is None:
        return None
    module, name = function.__module__, function.__qualname__
    ours = module.startswith("partgen.") and module.split(".")[1] in OURS
    if not ours or "<" in name or getattr(function, "__closure__", None):
        raise TypeError(f"no name follows from {module}.{name}")
    return f"{module}.{name}"


def our_modules() -> list[Path]:
    """The files behind `OURS`."""
    home = Path(__file__).parents[1]
    return [
        path
        for name in OURS
        for path in ([home / name] if name.endswith(".py") else sorted((home / name).rglob("*.py")))
    ]


@cache
def _circumstances() -> tuple[str, ...]:
    """Versions, and the text of our own modules as one hash. Raises OSError where that cannot be read."""
    code = hashlib.sha256()
    for path in our_modules():
        code.update(path.name.encode() + hashlib.sha256(path.read_bytes()).digest())
    versions = (f"{library} {metadata.version(library)}" for library in LIBRARIES)
    return sys.version, platform.system(), platform.machine(), *versions, code.hexdigest()


def packed(found: Built | Reference, name: str) -> bytes:
    """An entry's bytes. Fields that are None are left out."""
    mesh, out = found.mesh, BytesIO()
    others = {f.name: getattr(found, f.name) for f in fields(found) if f.name != "mesh"}
    held = {key: value for key, value in others.items() if value is not None}
    np.savez(out, entry=name, vertices=mesh.vertices.astype("<f8"), faces=mesh.faces.astype("<i4"), **held)
    return out.getvalue()


def unpacked(entry: bytes, name: str, kind: type[Built] | type[Reference]) -> Built | Reference:
    """What the bytes of an entry hold. Raises ValueError, KeyError, TypeError, BadZipFile and the like if not sound."""
    with np.load(BytesIO(entry), allow_pickle=False) as archive:
        held = dict(archive)
    if held.pop("entry") != name:
        raise ValueError("not what its name says")
    vertices, faces = held.pop("vertices"), held.pop("faces").astype(np.int64)
    if not np.isfinite(vertices).all() or faces.min() < 0 or faces.max() >= len(vertices):
        raise ValueError("no mesh")
    others = {key: value if value.ndim else value.item() for key, value in held.items()}
    return kind(mesh=Mesh(vertices, faces), **others)


SHAPES = ".shapes"
"""What the folder of kept shapes is called, in the folder of all outputs."""
