"""Profiles and records for tests, built from short TOML text."""

from __future__ import annotations

import tomllib

from partgen.kinds import FAMILIES
from partgen.profile.fields import Reading
from partgen.profile.panel_records import Reference
from partgen.profile.profile_record import Profile, Recheck

PANEL = """
format = 1
title = "Test panel"
[panel]
thickness = [2.02, 2.05, 2.03]
[hole.window]
shape = "rectangle"
width = [11.52, 11.50]
depth = [6.31, 6.33]
corner_radius = 0.5
[hole.port]
shape = "round"
diameter = [9.02, 9.00]
[seat.plunger]
shape = "rectangle"
width = [3.28, 3.30]
depth = [3.27, 3.29]
length = 4.2
travel = [2.4]
[seat.pin]
shape = "round"
diameter = [3.00, 3.01]
length = 4.0
travel = [2.0]
[part.key]
kind = "button-cap"
hole = "window"
seat = "plunger"
proud = 1.5
[part.dot]
kind = "button-cap"
hole = "port"
seat = "pin"
proud = 1.2
"""
WINDOW = 'shape = "rectangle"\nwidth = 11.5\ndepth = 6.3\n'
KEY = """[seat.plunger]
shape = "rectangle"
width = 3.3
depth = 3.3
length = 4.2
[part.key]
kind = "button-cap"
hole = "window"
seat = "plunger"
"""
ONE_CAP = f"""format = 1
[hole.window]
{WINDOW}{KEY}[[position]]
label = "S1"
at = [0.0, 0.0]
part = "key"
drop = 4.3
"""
"""The least that can be built."""


def profile_from(text: str) -> Profile:
    """Validate TOML text as load does, without its friendly messages."""
    data = tomllib.loads(text)
    context = {"unit": data.get("unit", "mm")}
    parts = {name: FAMILIES[t["kind"]].model_validate(t, context=context) for name, t in data.pop("part").items()}
    return Profile.model_validate({**data, "part": parts}, context=context)


def tilted_panel(
    slope: tuple[float, float] = (0.015, 0.004), drop: float = 4.3, n: int = 8, part: str = "key"
) -> Profile:
    """A row of `n` positions 15 mm apart on a plane, three exact readings each."""
    lines = [PANEL]
    for i in range(n):
        x, y = 15.0 * i, 20.0 * (i % 2)
        d = round(drop + slope[0] * x + slope[1] * y, 4)
        drops = f"[{d}, {d + 0.02}, {d - 0.02}]"
        lines.append(f'[[position]]\nlabel = "S{i + 1}"\nat = [{x}, {y}]\npart = "{part}"\ndrop = {drops}\n')
    return profile_from("\n".join(lines))


def well_known(profile: Profile) -> Profile:
    """The same with all read that a plan else assumes: zero, body and wobble of seats, bevel and place of holes."""
    seats = {name: seat.model_copy(update={"body": 8.0, "play": 0.05}) for name, seat in profile.seat.items()}
    holes = {
        name: hole.model_copy(update={"bevel": 0.0, "offset_limit": hole.place_limit})
        for name, hole in profile.hole.items()
    }
    zero, ten = Reading((0.0,) * 9, (0.0,) * 9), Reading((10.0,) * 9, (0.0,) * 9)
    true = Reference.model_validate({"size": 10.0, "limit": 0.001, "with": "depth", "read": ten})
    caliper = profile.caliper.model_copy(update={"zero": zero, "reference": (true,)})
    drops = [(one.label, one.drop) for one in profile.position if one.drop is not None]
    again = tuple(Recheck(label=label, drop=drop) for label, drop in drops[:1])
    return profile.model_copy(update={"seat": seats, "hole": holes, "caliper": caliper, "recheck": again})
