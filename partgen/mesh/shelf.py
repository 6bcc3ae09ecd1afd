"""Kernel results kept on disk by their content, so that an unchanged shape is never built twice.

May import: mesh.derive, mesh.records, planning.records.

A shelf is a folder that may be deleted at any time. An entry's name is a hash over everything its
content follows from: the model, the maker, the libraries' and Python's versions, and the text of
every module of ours that can have a say. An entry is plain bytes: a line of JSON, two arrays, and a
SHA-256 of all before it; nothing in it is ever run. One that is damaged, cut short, or not what its
name says is as good as none.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import platform
import sys
import time
from dataclasses import Field, fields, is_dataclass
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from partgen.mesh.derive import Built, Maker, Reference
from partgen.mesh.records import Mesh
from partgen.planning.records import PartModel

if TYPE_CHECKING:
    from partgen.mesh.apart import Function

ENDING = ".shape"
LIMIT_BYTES, KEPT_BYTES = 200_000_000, 150_000_000
"""A shelf that grew beyond the first is brought down to the second: what was not used for longest goes first."""
LEFT_OVER = 3600.0
"""Seconds after which an unfinished entry is nobody's any more."""
FORMAT = "partgen shape 1"
LIBRARIES = ("cadquery", "cadquery-ocp", "numpy", "scipy", "shapely", "fonttools", "matplotlib", "manifold3d")
"""Whatever a solid or its mesh is made with; some families draw letters."""
OURS = (
    "parts",
    "mesh",
    "processes",
    "families",
    "checks",
    "planning",
    "metrology",
    "model",
    "shapes",
    "errors.py",
    "findings.py",
    "units.py",
)
"""Whose text goes into the names: where solids are drawn and meshed, and all that is imported there."""


class Shelf:
    """One folder of results."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._bytes: int | None = None

    def empty(self) -> bool:
        """Whether nothing lies there."""
        return next(self._folder.glob(f"*{ENDING}"), None) is None

    def take(self, function: Function, model: PartModel, maker: Maker) -> Built | Reference | None:
        """What lies there for this question; None where nothing sound does."""
        try:
            name = name_of(function, model, maker)
            path = self._folder / name
            found = unpacked(path.read_bytes(), name)
            if not isinstance(found, Built if function == "build" else Reference):
                return None
        except (OSError, ValueError, KeyError, TypeError):
            return None
        with contextlib.suppress(OSError):
            os.utime(path)  # it was used: others go first
        return found

    def put(self, function: Function, model: PartModel, maker: Maker, found: Built | Reference) -> None:
        """Lay it there. A shelf that cannot be written is no reason to stop: then nothing is kept."""
        temporary = None
        try:
            name = name_of(function, model, maker)
            data = packed(found, name)
            self._folder.mkdir(parents=True, exist_ok=True)
            temporary = self._folder / f".{name}.{os.getpid()}.tmp"
            temporary.write_bytes(data)  # not synced to the disk: an entry that is torn is found out
            temporary.replace(self._folder / name)
            temporary = None
            self._tidy(len(data))
        except (OSError, TypeError):
            return
        finally:
            if temporary is not None:
                with contextlib.suppress(OSError):
                    temporary.unlink()

    def _tidy(self, added: int) -> None:
        """Keep below LIMIT_BYTES, and sweep away what a killed process left."""
        if self._bytes is not None:
            self._bytes += added
            if self._bytes <= LIMIT_BYTES:
                return
        entries = []
        for path in self._folder.iterdir():
            with contextlib.suppress(OSError):
                facts = path.stat()
                if path.suffix == ENDING:
                    entries.append((facts.st_mtime, facts.st_size, path))
                elif path.suffix == ".tmp" and time.time() - facts.st_mtime > LEFT_OVER:
                    path.unlink()
        self._bytes = sum(size for _, size, _ in entries)
        for _, size, path in sorted(entries) if self._bytes > LIMIT_BYTES else ():
            if self._bytes <= KEPT_BYTES:
                break
            with contextlib.suppress(OSError):
                path.unlink()
                self._bytes -= size


def name_of(function: Function, model: PartModel, maker: Maker) -> str:
    """What the entry for this question is called. Raises TypeError where what it follows from cannot be told."""
    question = [function, _spelled(model), [_told(getattr(maker, part.name)) for part in fields(maker)]]
    text = json.dumps([FORMAT, _circumstances(), question])
    return hashlib.sha256(text.encode()).hexdigest()[:40] + ENDING


def _spelled(value: Any) -> Any:  # noqa: ANN401 - whatever a model holds
    """A model's value as JSON takes it; JSON holds every number to its last bit."""
    if is_dataclass(value):
        return [type(value).__qualname__, *([f.name, _spelled(getattr(value, f.name))] for f in fields(value))]
    if isinstance(value, tuple):
        return [_spelled(item) for item in value]
    if value is None or isinstance(value, str | int | float):
        return value
    raise TypeError(f"no name follows from {type(value)}")


def _told(function: Any) -> list[str] | None:  # noqa: ANN401 - a function or None
    """A maker's function by its name. Raises TypeError for one whose code or state the name does not tell."""
    if function is None:
        return None
    module, name = function.__module__, function.__qualname__
    ours = module.startswith("partgen.") and module.split(".")[1] in OURS
    if not ours or "<" in name or getattr(function, "__closure__", None):
        raise TypeError(f"no name follows from {module}.{name}")
    return [module, name]


def our_modules() -> list[Path]:
    """The files behind `OURS`."""
    home = Path(__file__).parents[1]
    return [
        path
        for name in OURS
        for path in ([home / name] if name.endswith(".py") else sorted((home / name).rglob("*.py")))
    ]


@cache
def _circumstances() -> list[Any]:
    """Versions, and the text of our own modules as one hash. Raises OSError where that cannot be read."""
    code = hashlib.sha256()
    for path in our_modules():
        code.update(path.name.encode() + hashlib.sha256(path.read_bytes()).digest())
    return [
        [sys.version, platform.system(), platform.machine()],
        [[library, metadata.version(library)] for library in LIBRARIES],
        code.hexdigest(),
    ]


def packed(found: Built | Reference, name: str) -> bytes:
    """An entry's bytes."""
    mesh = found.mesh
    head = {
        "format": FORMAT,
        "name": name,
        "what": type(found).__name__,
        "vertices": len(mesh.vertices),
        "faces": len(mesh.faces),
        "bounds": found.bounds.ravel().tolist(),
        **{field.name: getattr(found, field.name) for field in _numbers(type(found))},
    }
    arrays = mesh.vertices.astype("<f8").tobytes() + mesh.faces.astype("<i4").tobytes()
    data = json.dumps(head, allow_nan=False).encode() + b"\n" + arrays
    return data + hashlib.sha256(data).digest()


def unpacked(entry: bytes, name: str) -> Built | Reference:
    """What the bytes of an entry hold. Raises ValueError, KeyError, TypeError where they are not sound."""
    data, digest = entry[:-32], entry[-32:]
    if hashlib.sha256(data).digest() != digest:
        raise ValueError("damaged")
    line, arrays = data.split(b"\n", 1)
    head = json.loads(line)
    kind: type[Built | Reference] = {"Built": Built, "Reference": Reference}[head["what"]]
    n, m = int(head["vertices"]), int(head["faces"])
    if (head["format"], head["name"], len(arrays)) != (FORMAT, name, 24 * n + 12 * m):
        raise ValueError("not what its name says")
    vertices = np.frombuffer(arrays[: 24 * n], "<f8").reshape(n, 3).astype(np.float64)
    faces = np.frombuffer(arrays[24 * n :], "<i4").reshape(m, 3).astype(np.int64)
    if not np.isfinite(vertices).all() or faces.min() < 0 or faces.max() >= n:
        raise ValueError("no mesh")
    numbers = {field.name: head[field.name] for field in _numbers(kind)}
    return kind(mesh=Mesh(vertices, faces), bounds=np.reshape(head["bounds"], (2, 3)).astype(np.float64), **numbers)


def _numbers(kind: type[Built | Reference]) -> list[Field[Any]]:
    return [field for field in fields(kind) if field.name not in ("mesh", "bounds")]
