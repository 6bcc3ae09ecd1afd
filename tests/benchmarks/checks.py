"""Checks per cap against the raw library calls that answer less: manifold for fit, trimesh for printability.

Processor seconds, because other work on the machine does not count; one cap of each of the demo's
two kinds, built through the kernel. Packing has no counterpart in these libraries: it is set against
building as many transforms with numpy.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from datetime import date

import manifold3d
import numpy as np
import trimesh

from benchmarks.building import ROOT
from benchmarks.rows import Row
from partgen.design.plan_records import PositionPlan
from partgen.geometry.build_mesh import build_caps
from partgen.geometry.mesh_records import BuiltCap, Mesh
from partgen.jobs.inputs import gather
from partgen.jobs.plan import plan_inputs
from partgen.output.orientation import choose
from partgen.output.plates import Wanted, pack
from partgen.verify.cap_fit import STROKE_STEPS, measure_fit
from partgen.verify.panel_solid import panel_hole, panel_solid
from partgen.verify.printability import printability
from partgen.verify.socket_grip import measure_grip
from partgen.verify.wall_thickness import wall_thickness

REPEATS = 15


def seconds(call: Callable[[], object]) -> float:
    """Median processor seconds of this thread."""
    call()
    taken = []
    for _ in range(REPEATS):
        start = time.thread_time()
        call()
        taken.append(time.thread_time() - start)
    return statistics.median(taken)


def raw_fit(plan: PositionPlan, mesh: Mesh) -> float:
    """The distance at rest, and the common volume at every step of the stroke: manifold alone."""
    panel = panel_solid(panel_hole(plan))
    solid = manifold3d.Manifold(manifold3d.Mesh(mesh.vertices.astype(np.float32), mesh.faces.astype(np.uint32)))
    for z in np.linspace(0.0, plan.travel, STROKE_STEPS):
        (solid.translate((0.0, 0.0, -float(z))) ^ panel).volume()
    return float(solid.min_gap(panel, 2.0))


def raw_print(mesh: Mesh) -> float:
    """Closed, volume, bodies, extent and thickness by one ray per face: trimesh alone."""
    body = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    assert body.is_watertight and body.is_winding_consistent and body.volume > 0 and body.body_count == 1
    inwards = body.triangles_center - 1e-4 * body.face_normals
    hits, rays, _ = body.ray.intersects_location(inwards, -body.face_normals, multiple_hits=False)
    return float(np.linalg.norm(hits - inwards[rays], axis=1).min() + np.ptp(body.vertices, axis=0).max())


def run() -> list[Row]:
    """One cap of each kind, and 200 caps packed."""
    inputs = gather(ROOT / "profiles" / "fog-signal-controller.toml")
    planned = plan_inputs(inputs, today=date(2026, 1, 1))
    rows = []
    for kind in dict.fromkeys(plan.part for plan in planned.plan.positions):
        plan = next(p for p in planned.plan.positions if p.part == kind)
        cap = build_caps([plan.model])[0]
        assert isinstance(cap, BuiltCap)
        mesh, seat = cap.mesh, inputs.profile.seat[plan.seat]
        way = choose(mesh, None, inputs.printer)
        walls = wall_thickness(mesh, inputs.printer.line_width)
        faces = f"{len(mesh.faces)} faces"

        def against(what: str, reference: str, ours: Callable[[], object], theirs: Callable[[], object]) -> None:
            a, b = seconds(ours), seconds(theirs)
            rows.append(Row(f"{kind}: {what}", reference, a, b, a / b, note=faces))  # noqa: B023

        against(
            "fit over the stroke",
            "manifold: 11 volumes, 1 gap",
            lambda p=plan, m=mesh: measure_fit(p, m),
            lambda p=plan, m=mesh: raw_fit(p, m),
        )
        against(
            "printability, walls included",
            "trimesh: closed, bodies, rays",
            lambda m=mesh, w=way: printability(m, w, inputs.printer),
            lambda m=mesh: raw_print(m),
        )
        against(
            "printability, walls shared",
            "trimesh: closed, bodies, rays",
            lambda m=mesh, w=way, t=walls: printability(m, w, inputs.printer, walls=t),
            lambda m=mesh: raw_print(m),
        )
        against(
            "grip with the seat in it",
            "manifold: 11 volumes, 1 gap",
            lambda p=plan, m=mesh, s=seat: measure_grip(p.model.socket, m, s),
            lambda p=plan, m=mesh: raw_fit(p, m),
        )
    eye = tuple(float(v) for v in np.eye(4).ravel())
    wanted = [Wanted(f"S{i}", (10.0 + i % 7, 6.0 + i % 5, 9.0), eye, "#303030", "PLA") for i in range(200)]
    ours, theirs = seconds(lambda: pack(wanted, inputs.printer)), seconds(lambda: [np.eye(4) for _ in range(200)])
    return [*rows, Row("pack 200 caps", "200 numpy transforms", ours, theirs, ours / theirs)]
