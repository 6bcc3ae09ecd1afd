"""Sections, openings and places for the plan's tests: hypothesis strategies and short makers."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import strategies as st

from partgen.design.clearance import Causes, Draws, Place, binding, rooms
from partgen.design.opening import Opening
from partgen.design.part_models import Section
from partgen.design.section_outlines import outline_section
from partgen.metrology.estimate_records import Value

PENTAGON = outline_section(((-6.0, -4.0), (6.0, -4.0), (6.0, 2.0), (3.0, 5.0), (-6.0, 5.0)))


def lengths(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False).map(lambda v: round(v, 3))


@st.composite
def box_sections(draw: st.DrawFn, low: float = 4.0, high: float = 20.0) -> Section:
    """Round, rectangle (with any corner radius) or slot."""
    width, depth = draw(lengths(low, high)), draw(lengths(low, high))
    shape = draw(st.sampled_from(["round", "rectangle", "slot"]))
    if shape == "round":
        return Section("round", width, width)
    if shape == "slot":
        return Section("slot", width, depth)
    return Section("rectangle", width, depth, round(draw(st.floats(0, 0.5)) * min(width, depth), 3))


@st.composite
def outlines(draw: st.DrawFn) -> Section:
    """A convex polygon around the origin: corners on an ellipse at spread angles."""
    count = draw(st.integers(3, 9))
    a, b = draw(lengths(3.0, 9.0)), draw(lengths(3.0, 9.0))
    turn = draw(st.floats(0, 1))
    jitter = [draw(st.floats(-0.2, 0.2)) for _ in range(count)]
    angles = [2 * math.pi * (k + turn + jitter[k]) / count for k in range(count)]
    return outline_section(tuple((a * math.cos(t), b * math.sin(t)) for t in angles))


def sections() -> st.SearchStrategy[Section]:
    return st.one_of(box_sections(), outlines())


def slopes(steepest: float = 0.17) -> st.SearchStrategy[tuple[float, float]]:
    """(dz/dx, dz/dy) up to about ten degrees."""
    return st.tuples(st.floats(0, steepest), st.floats(0, 2 * math.pi)).map(
        lambda polar: (polar[0] * math.cos(polar[1]), polar[0] * math.sin(polar[1]))
    )


def slope_of(degrees: float, azimuth: float = 0.0) -> tuple[float, float]:
    rise = math.tan(math.radians(degrees))
    return rise * math.cos(math.radians(azimuth)), rise * math.sin(math.radians(azimuth))


def opening_of(section: Section, u: float = 0.0, edge_limit: float = 0.0) -> Opening:
    return Opening("h", section, Value(section.width, u), Value(section.depth, u), edge_limit)


def causes_of(
    *, thickness: float = 2.0, thickness_u: float = 0.0, slope_u: float = 0.0, width_u: float = 0.0, spread: float = 0.0
) -> Causes:
    return Causes(Value(thickness, thickness_u), np.eye(2) * slope_u**2, Value(0.0, width_u), spread)


def place_of(section: Section, slope: tuple[float, float] = (0.0, 0.0), **changes: object) -> Place:
    """A place with nothing that moves, but for `changes`."""
    fields: dict[str, object] = {
        "label": "S1",
        "opening": opening_of(section),
        "slope": slope,
        "at": (0.0, 0.0),
        "at_limit": 0.0,
        "play": 0.0,
        "slop": 0.0,
        "seat_width": 3.3,
        "keyed_over": 3.3,
        "engaged": 4.0,
        "lean_height": 5.0,
    }
    return Place(**{**fields, **changes})  # type: ignore[arg-type]


WINDOW = Section("rectangle", 11.5, 6.3, 0.5)
PORT = Section("round", 9.0, 9.0)
CAUSES = causes_of(width_u=0.05, thickness_u=0.02, slope_u=0.002, spread=0.03)


def draws_of(opening: Section, causes=CAUSES, count: int = 20_000) -> Draws:
    return Draws(causes, {"h": opening_of(opening, u=0.02)}, 0, count)


def p_of(place, section, pool) -> float:
    return binding(rooms(place, section, pool), pool.causes.part_spread).p
