"""Profiles as the format allows them, drawn from the models themselves: a new key or part kind is covered at once.

Most values are ones a bench could see, so that many profiles are planned; a few are anything at all.
"""

from __future__ import annotations

import types
from collections.abc import Sequence
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from hypothesis import strategies as st
from mutations import NASTY_NUMBERS
from pydantic import BaseModel

from partgen.kinds import FAMILIES
from partgen.profile import panel_records
from partgen.profile.fields import Reading
from partgen.profile.part_records import Position
from partgen.profile.profile_record import Target
from partgen.profile.table_models import HOLES, SEATS

USUAL: dict[str, tuple[float, float]] = {
    "thickness": (0.5, 5),
    "width": (6, 30),
    "depth": (5, 20),
    "diameter": (5, 20),
    "corner_radius": (0, 2),
    "offset_limit": (0, 0.6),
    "length": (2, 8),
    "travel": (0, 4),
    "height": (3, 15),
    "body": (3, 12),
    "spread": (0, 0.2),
    "play": (0, 0.3),
    "drop": (2, 12),
    "read": (5, 20),
    "resolution": (0.001, 0.1),
    "limit_of_error": (0.01, 0.2),
    "repeatability": (0.005, 0.2),
    "proud": (-2, 6),
    "proud_tolerance": (0.05, 1),
    "wall": (0.5, 3),
    "bore": (1, 2.4),
    "arm": (0.8, 1.9),
    "across_flat": (2.2, 4.5),
    "root_diameter": (2.1, 2.5),
    "bow_limit": (0, 1),
    "tilt_limit": (1, 20),
    "thickness_limit": (0, 0.5),
    "p_bind": (0.001, 0.1),
    "p_all_fit": (0.5, 0.99),
    "teeth": (6, 40),
    "offset": (-0.4, 0.4),
    "at_limit": (0, 0.5),
    "nut_room": (1, 4),
    "pointer_depth": (0.3, 0.8),
    "line_depth": (0.3, 0.8),
    "inlay_depth": (0.3, 0.8),
    "groove_depth": (0.3, 0.8),
    "groove_count": (2, 30),
    "pull_limit": (5, 40),
    "section": (4, 14),
    "hollow": (0.6, 3),
    "at": (-200, 200),
    "socket_depth": (2, 5),
    "crown_rise": (0.2, 2),
    "edge_radius": (0.1, 1),
    "interference": (0, 0.3),
}
SEAT_SIZES = {"width": (2, 6), "depth": (2, 6), "diameter": (2.5, 7)}
NAMES = ("key", "dot", "ä ö", "a.b", "x" * 40, "1", "r01")


@st.composite
def profiles(draw: st.DrawFn) -> str:
    """TOML text of one profile."""
    holes, seats = draw(_names(2)), draw(_names(2))
    lines = ["format = 1", f"title = {draw(_title)}", f'unit = "{draw(st.sampled_from(["mm"] * 29 + ["inch"]))}"']
    for table, model in (("caliper", panel_records.Caliper), ("target", Target)):
        if draw(st.booleans()):
            lines += [f"[{table}]", *draw(_keys(model, {}))]
    lines += ["[panel]", *draw(_keys(panel_records.Panel, {}, leave=("gap",)))]
    for _ in range(draw(st.sampled_from((0, 0, 1, 3)))):
        lines += ["[[panel.gap]]", *draw(_keys(panel_records.Gap, {}))]
    for name in holes:
        lines += [f"[hole.{_quoted(name)}]", *draw(_table(HOLES, "shape", {}))]
    for name in seats:
        lines += [f"[seat.{_quoted(name)}]", *draw(_table(SEATS, "shape", SEAT_SIZES))]
    parts = draw(_names(3))
    for name in parts:
        fixed = {"hole": draw(st.sampled_from(holes)), "seat": draw(st.sampled_from(seats))}
        lines += [f"[part.{_quoted(name)}]", *draw(_table(FAMILIES, "kind", {}, fixed))]
    spot = draw(st.sampled_from(("grid", "line", "anywhere", "one spot", "grid", "line", "anywhere", "grid")))
    base = draw(st.floats(3, 9))
    for i in range(draw(st.sampled_from((1, 2, 3, 3, 4, 7)))):
        at = {
            "grid": f"[{20 * (i % 3)}, {25 * (i // 3)}]",
            "line": f"[{18 * i}, 0.0]",
            "one spot": "[1.0, 1.0]",
            "anywhere": f"[{draw(_number((-300, 300)))}, {draw(_number((-300, 300)))}]",
        }[spot]
        drop = f"[{base + 0.3 * i:.2f}, {base + 0.3 * i + draw(st.floats(-0.1, 0.1)):.3f}]"
        lines += ["[[position]]", f"label = {_quoted(draw(_label(i)))}", f"at = {at}"]
        lines += [f"part = {_quoted(draw(st.sampled_from(parts)))}"]
        if draw(st.integers(0, 5)):
            lines.append(f"drop = {drop}")
        lines += draw(_keys(Position, {}, leave=("label", "at", "part", "drop"), often=1))
    return "\n".join(lines) + "\n"


_title = st.sampled_from(['"Test"', '"</title><script>alert(1)</script>"', '""', '"=1+1"', "'\"&'", '"∅ 8 µm"'])


@st.composite
def _names(draw: st.DrawFn, most: int) -> list[str]:
    return draw(st.lists(st.sampled_from(NAMES), min_size=1, max_size=most, unique=True))


@st.composite
def _label(draw: st.DrawFn, i: int) -> str:
    odd = ("S1", "<b>x</b>", "../../x", "CON", "=1+2", "a b", "é", "e\u0301", "-1", "x" * 40, "r01")
    return draw(st.sampled_from(odd)) if draw(st.integers(0, 30)) == 17 else f"S{i + 1}"


def _quoted(name: str) -> str:
    return '"' + name.replace("\\", "\\\\").replace('"', '\\"') + '"'


@st.composite
def _table(
    draw: st.DrawFn,
    models: dict[str, Any],
    key: str,
    sizes: dict[str, tuple[float, float]],
    fixed: dict[str, str] | None = None,
) -> list[str]:
    word = draw(st.sampled_from(sorted(models)))
    given = {name: _quoted(value) for name, value in (fixed or {}).items() if name in models[word].model_fields}
    own = draw(_keys(models[word], sizes, leave=(key, *given)))
    return [f'{key} = "{word}"', *(f"{name} = {value}" for name, value in given.items()), *own]


@st.composite
def _keys(
    draw: st.DrawFn,
    model: type[BaseModel],
    sizes: dict[str, tuple[float, float]],
    *,
    leave: Sequence[str] = (),
    often: int = 2,
) -> list[str]:
    """Every needed key and `often` tenths of the others."""
    lines = []
    for name, field in model.model_fields.items():
        if name in leave or not (field.is_required() or draw(st.integers(0, 9)) < often):
            continue
        low, high = {**USUAL, **sizes}.get(name, (0.3, 12))
        if name == "colour":
            lines.append(draw(st.sampled_from(('colour = "#c9a227"', 'colour = "#000000"'))))
            continue
        lines.append(f"{name} = {draw(_value(field.annotation, (low, high)))}")
    return lines


def _value(kind: Any, usual: tuple[float, float]) -> st.SearchStrategy[str]:
    """What may stand behind a key of that type, as TOML."""
    if get_origin(kind) is Annotated:
        kind = get_args(kind)[0]
    if get_origin(kind) in (Union, types.UnionType):
        kind = next(one for one in get_args(kind) if one is not type(None))
        return _value(kind, usual)
    if get_origin(kind) is Literal:
        return st.sampled_from(get_args(kind)).map(lambda v: _quoted(v) if isinstance(v, str) else str(v))
    if get_origin(kind) is tuple:
        inner = [one for one in get_args(kind) if one is not Ellipsis]
        if len(inner) == 1:
            outline = "[[-4, -3], [4, -3], [5, 3], [-4, 3]]"
            return st.just(outline) | st.lists(_value(inner[0], usual), max_size=5).map(_listed)
        return st.tuples(*(_value(one, usual) for one in inner)).map(_listed)
    if kind is bool:
        return st.sampled_from(("true", "false"))
    if kind is int:
        return st.integers(int(usual[0]), int(usual[1])).map(str)
    if kind is str:
        return st.sampled_from(('"PLA"', '"flat"', '"#30343a"', '"x"', '"../x"', '"<i>"'))
    if kind is Reading:
        return _number(usual) | _number(usual).map(lambda v: f"[{v}, {v}]")
    return _number(usual)


def _number(usual: tuple[float, float]) -> st.SearchStrategy[str]:
    plain = st.floats(*usual).map(lambda v: repr(round(v, 3)))
    return st.integers(0, 149).flatmap(lambda n: st.sampled_from(NASTY_NUMBERS) if n == 87 else plain)


def _listed(items: Sequence[str]) -> str:
    return f"[{', '.join(items)}]"
