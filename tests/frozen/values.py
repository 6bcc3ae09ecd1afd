"""What the frozen profiles give, as numbers by name: planned, built, and read back from the STL files.

Sentences, dates and versions are left out; outlines stand as area and extent, budgets as their sums, so that a file
holds what matters to a person who prints, and another way to draw the same thing changes nothing.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
PROFILES = HERE / "profiles"
VALUES = HERE / "values"
QUICK = ("clock-originals", "harbour-lamp-tried")
"""Built in every run; the others are with --long."""

Number = float | int | str | bool | None
Value = Number | list[Number]
Flat = dict[str, Value]

SENTENCES = frozenset(
    """why note notes change title subject what name time_model orientation_why date partgen doubts lines profile
    readings_mm at_mm label format colour code unit u95 source sources lie items hole seat currency file text
    contradictions""".split()  # noqa: SIM905
)
"""Keys that hold sentences, and what only repeats the profile."""


def names() -> list[str]:
    """All frozen profiles."""
    return sorted(path.stem for path in PROFILES.glob("*.toml") if not path.name.endswith(".log.toml"))


def frozen(name: str) -> dict[str, Flat]:
    """The values on file: `planned`, and `built`, which says only what building changed or added."""
    path = VALUES / f"{name}.json"
    return json.loads(path.read_text()) if path.exists() else {"planned": {}, "built": {}}


def planned(name: str) -> Flat:
    """Values of the plan alone."""
    from partgen import load_profile, plan

    return flat(plan(load_profile(PROFILES / f"{name}.toml")).model_dump(mode="json"))


def built(name: str) -> Flat:
    """Values after a build in a folder of its own: the document's, and each STL file's as trimesh reads it."""
    import trimesh

    from partgen import build, load_profile

    with tempfile.TemporaryDirectory() as there:
        for path in PROFILES.glob(f"{name}.*"):
            shutil.copy(path, there)
        done = build(load_profile(Path(there) / f"{name}.toml"), Path(there) / "outputs")
        values = flat(json.loads((done.folder / "fit.json").read_text()))
        for path in sorted((done.folder / "parts").glob("*.stl")):
            mesh = trimesh.load(path)
            values[f"stl.{path.stem}.volume_mm3"] = _rounded(mesh.volume)
            values[f"stl.{path.stem}.closed"] = bool(mesh.is_watertight)
            values[f"stl.{path.stem}.size_mm"] = [_rounded(size) for size in mesh.extents]
    return values


def flat(document: dict[str, Any]) -> Flat:
    """Every number, state and code of a fit document by its path; positions and checks by their names, not numbers."""
    values = dict(_leaves("", {key: value for key, value in document.items() if key != "positions"}))
    for position in document["positions"]:
        values |= _leaves(position["label"], position)
    values |= {f"doubts.{doubt['label']}.{k}": doubt["reading_mm"] for k, doubt in enumerate(document["doubts"])}
    return values


def _leaves(path: str, value: Any) -> Iterator[tuple[str, Value]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            if key == "checks":
                yield from _checks(f"{path}.checks", inner)
            elif key not in SENTENCES:
                yield from _leaves(f"{path}.{key}" if path else key, inner)
    elif not isinstance(value, list | tuple):
        if value is not None:
            yield path, _rounded(value)
    elif value and all(isinstance(inner, int | float) for inner in value):
        yield path, [_rounded(inner) for inner in value]
    elif len(value) > 2 and all(isinstance(point, list | tuple) and len(point) == 2 for point in value):
        yield path, _outline(value)
    else:
        for k, inner in enumerate(value):
            yield from _leaves(f"{path}.{k}", inner)


def _checks(path: str, checks: list[dict[str, Any]]) -> Iterator[tuple[str, Value]]:
    """State, value and limit of each check; several of one code are numbered."""
    seen: dict[str, int] = {}
    for check in checks:
        seen[check["code"]] = number = seen.get(check["code"], 0) + 1
        name = f"{path}.{check['code']}" + (f".{number}" if number > 1 else "")
        yield name, [check["state"], _rounded(check["value"]), _rounded(check["limit"])]


def _outline(points: list[list[float]]) -> Value:
    """Area, and the least and greatest of x and y."""
    from shapely.geometry import Polygon

    shape = Polygon(points)
    return [_rounded(value) for value in (shape.area, *shape.bounds)]


def _rounded(value: Any) -> Any:
    return float(f"{float(value):.6g}") if isinstance(value, float) or hasattr(value, "dtype") else value


def differences(was: Flat, now: Flat) -> list[str]:
    """One line for each value that differs by more than its tolerance or went, and for each check that came.

    Other values that came are no difference: a document that says more is the same to whoever read the old one.
    """
    lines = []
    for key in sorted(was.keys() | now.keys()):
        if key not in now:
            lines.append(f"{key}: was {was[key]}, is no more")
        elif key not in was:
            if ".checks." in key:
                lines.append(f"{key}: is new, {now[key]}")
        elif not same(key, was[key], now[key]):
            by = f" ({now[key] - was[key]:+.4g})" if _both_numbers(was[key], now[key]) else ""
            lines.append(f"{key}: was {was[key]}, is {now[key]}{by}")
    return lines


def same(key: str, was: Value, now: Value) -> bool:
    """Whether two values agree: states and words exactly, numbers within `tolerance`."""
    if isinstance(was, list) and isinstance(now, list):
        return len(was) == len(now) and all(same(key, a, b) for a, b in zip(was, now, strict=True))
    if not _both_numbers(was, now):
        return was == now
    return abs(now - was) <= tolerance(key, was)


def tolerance(key: str, value: float) -> float:
    """How far a number may move before it counts as another.

    Probabilities are drawn: 0.005 is three standard deviations of the mean of 100,000 draws. What is measured on
    triangles may change with the way a curve is cut into them: 0.005 mm and a thousandth of a volume. All else is
    computed: 0.0002 mm (a digit that rounding may turn over) and a two-thousandth.
    """
    last = key.rpartition(".")[2]
    if key.startswith(("set.p_", "set.next", "set.advice")) or "p_bind" in key or key.endswith("checks.bind"):
        return 0.005
    if "mm3" in last or "mm2" in last or last in ("mass_g", "time_min", "cost"):
        return max(0.05, 0.001 * abs(value))
    if key.startswith("stl.") or ".geometry." in key or ".extent_mm" in key or ".checks.mesh-" in key:
        return 0.005 + 0.0005 * abs(value)
    return max(0.0002, 0.0005 * abs(value))


def _both_numbers(*values: Value) -> bool:
    return all(isinstance(value, int | float) and not isinstance(value, bool) for value in values)
