"""Every family on every seat with every grip: profiles, and one build of each combination. Invented sizes."""

from __future__ import annotations

import itertools
import tomllib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from partgen.core.findings import Finding
from partgen.design.plan_records import PositionPlan
from partgen.design.plan_set import plan_set
from partgen.jobs.build_meshes import MadePart, make_parts
from partgen.kinds import BY_KIND, FAMILIES
from partgen.metrology.estimate import estimate
from partgen.profile.library import find_material, find_printer
from partgen.profile.part_records import Grip
from partgen.profile.profile_record import Profile

# A printer known from a coupon, so that no grip fails for want of knowing the printer.
PRINTER = "material-extrusion"
SEATS = {
    "round": 'shape = "round"\ndiameter = [5.97, 5.96]',
    "flatted": 'shape = "flatted"\ndiameter = [5.96, 5.97]\nacross_flat = [4.47, 4.48]',
    "two-flats": 'shape = "flatted"\nflats = 2\ndiameter = [5.96, 5.97]\nacross_flat = [4.75, 4.76]\n'
    "flat_direction = 30",
    "splined": 'shape = "splined"\ndiameter = [5.95, 5.96]\nteeth = 18',
    "split": 'shape = "splined"\nsplit = true\ndiameter = [5.95, 5.96]\nteeth = 18',
    "rectangle": 'shape = "rectangle"\nwidth = [4.02, 4.0]\ndepth = [4.01, 4.0]',
    "tongue": 'shape = "tongue"\nwidth = [4.01, 4.0]\ndepth = [1.21, 1.2]',
    "cross": 'shape = "cross"\nwidth = [5.02, 5.0]\ndepth = [5.01, 5.0]\narm = [1.61, 1.6]',
    "tube": 'shape = "tube"\ndiameter = [5.97, 5.96]\nbore = [3.2, 3.21]',
}
GRIPS: tuple[Grip, ...] = ("interference", "ribs", "fingers", "set-screw", "ring", "glue")
SHANKS: tuple[Grip, ...] = ("ribs", "fingers")
"""Grips of a part that holds in its hole."""
PARTS = {
    "button-cap": "proud = 2.0",
    "knob": 'proud = 16.0\ndiameter = 18.0\nmark = "none"',
    "slider-cap": 'proud = 14.0\nstroke = 24.0\nmark = "none"',
    "lever-cap": 'proud = 18.0\nmark = "none"',
    "window-cap": "proud = 2.0\nwindow = [1.0, 2.0]\nwindow_at = [-4.6, 0.0]\nlamp_power = 0.01",
    "plug": 'material = "TPU"',
    "sleeve": 'proud = 2.0\nmaterial = "TPU"\nbore = 8.6',
    "extension": "proud = 2.0\ncap_height = [5.0, 5.02]\ncap_socket = 3.4\ncap_section = [12.0, 12.0]",
}
HOLES = {
    "round-hole": 'shape = "round"\ndiameter = [12.02, 12.0]',
    "rectangle-hole": 'shape = "rectangle"\nwidth = [14.02, 14.0]\ndepth = [9.01, 9.0]\ncorner_radius = 0.6',
    "slot-hole": 'shape = "slot"\nwidth = [18.02, 18.0]\ndepth = [7.01, 7.0]',
    "outline-hole": 'shape = "outline"\npoints = [[-8.0, -5.0], [8.0, -5.0], [6.0, 6.0], [-6.0, 6.0]]',
}
"""What a part without a seat stands in."""
THROUGH = {"button-cap": 4.3, "window-cap": 4.3, "extension": 9.7, "sleeve": 4.3}
"""Drops of kinds whose seat lies under the panel; the others' seats stand over it."""


@dataclass(frozen=True)
class Combination:
    """One part on one seat (without one: in one hole) with one grip; `keys` are further keys of its table."""

    kind: str
    seat: str
    grip: Grip
    keys: str = ""

    @property
    def name(self) -> str:
        return "-".join(filter(None, (self.kind, self.seat, self.grip, self.keys.replace('"', "").replace("\n", ","))))


def combinations(kinds: tuple[str, ...] = tuple(PARTS)) -> Iterator[Combination]:
    """All of them."""
    for kind in kinds:
        if kind == "plug":
            yield from (Combination(kind, hole, grip) for hole, grip in itertools.product(HOLES, SHANKS))
        elif kind == "sleeve":
            yield from (Combination(kind, seat, "ribs") for seat in SEATS)
        elif kind in BY_KIND:
            yield from (Combination(kind, seat, grip) for seat, grip in itertools.product(SEATS, GRIPS))


def profile(
    one: Combination, *, drop: float | None = None, slope: tuple[float, float] = (0.012, -0.006), bare: bool = False
) -> Profile:
    """A panel of three positions for it, tilted. `bare`: with the combination's own keys only."""
    over = one.kind not in THROUGH
    if drop is None:
        drop = THROUGH.get(one.kind, -11.0)
    places = [("P1", 0.0, 0.0), ("P2", 60.0, 0.0), ("P3", 0.0, 60.0)]
    text = f"""
format = 1
[panel]
thickness = [2.02, 2.03]
[hole.opening]
{HOLES.get(one.seat, f'shape = "round"{chr(10)}diameter = [{9.0 if over else 14.0}]')}
{_seat(one.seat)}
[part.it]
kind = "{one.kind}"
hole = "opening"
{'seat = "end"' if one.seat in SEATS else ""}
grip = "{one.grip}"
{"" if bare else PARTS[one.kind]}
{one.keys}
"""
    for label, x, y in places:
        text += f'[[position]]\nlabel = "{label}"\nat = [{x}, {y}]\npart = "it"\n'
        if one.seat not in SEATS:
            continue
        text += f"drop = [{drop + slope[0] * x + slope[1] * y:.3f}, {drop + slope[0] * x + slope[1] * y + 0.01:.3f}]\n"
    data = tomllib.loads(text)
    parts = {
        name: FAMILIES[t["kind"]].model_validate(t, context={"unit": "mm"}) for name, t in data.pop("part").items()
    }
    return Profile.model_validate({**data, "part": parts}, context={"unit": "mm"})


def _seat(name: str) -> str:
    return f"[seat.end]\n{SEATS[name]}\nlength = 9.0\nplay = 0.03" if name in SEATS else ""


def planned(wanted: Profile) -> tuple[tuple[PositionPlan, ...], float]:
    """Plans of all positions, and the bore error they were drawn for."""
    printer = find_printer(PRINTER, None)
    known = estimate(wanted, printer)
    plan = plan_set(
        wanted,
        known,
        printer,
        lambda name: find_material(name, None),
        draws=2000,
        planners={kind: family.plan for kind, family in BY_KIND.items()},
    )
    return plan.positions, known.bore_error.value


def built(wanted: Profile, *, only: int = 1) -> tuple[list[PositionPlan], dict[str, MadePart], dict[str, Finding]]:
    """The first positions planned, built and measured."""
    plans, bore = planned(wanted)
    chosen = list(plans[:only])
    made, failed = make_parts(chosen, wanted, find_printer(PRINTER, None), lambda *_: None, bore_error=bore)
    return chosen, made, failed


def faults(made: MadePart) -> list[str]:
    """What is wrong with a built part, geometry against plan and print; empty when all is well."""
    return [f"{f.code}: {f.why}" for f in made.findings if f.state == "fail"]


COUNTED: Counter[tuple[str, str]] = Counter()
"""Kind and what became of it: how many parts this test has checked so far; conftest.py empties and adds them up."""


def count(one: Combination, made: dict[str, MadePart], plans: list[PositionPlan]) -> None:
    """One part more that was built, built though its plan fails, or refused."""
    good = all(plan.state != "fail" for plan in plans)
    COUNTED[one.kind, ("built" if good else "built, plan fails") if made else "refused"] += 1


def slack(one: Combination) -> tuple[str, ...]:
    """What a built part may fail where its plan already failed: fingers that have no room to be fingers, and the thin
    walls of a window that has no room, of itself or beside fingers, and of a scale that has none."""
    return (
        *(["mesh-grip"] if one.grip == "fingers" else []),
        *(["print-wall", "mesh-fingers"] if one.kind == "window-cap" else []),
        *(["print-wall"] if "scale_lines" in one.keys else []),
    )


def check(one: Combination, *, bare: bool = False) -> None:
    """The plan says what it thinks of it; what is built is whole and as planned, or is refused in plain words."""
    plans, made, failed = built(profile(one, bare=bare))
    (plan,) = plans
    for finding in failed.values():
        assert plan.state == "fail" or "cannot be built" in finding.why
        assert "Error" not in finding.why and "StdFail" not in finding.why
    for part in made.values():
        assert part.print.watertight and part.print.bodies == 1 and part.print.volume > 0
        assert not [fault for fault in faults(part) if not (plan.state == "fail" and fault.startswith(slack(one)))]
    for finding in plan.checks:
        assert finding.why and finding.subject == "P1"
    count(one, made, plans)
