"""What a person would write with CadQuery: the same caps one by one, no checks. The reference for `build`.

Usage: python -m benchmarks.by_hand FIT.JSON FOLDER [--one | --distinct]; with --one only the first cap is built, with
--distinct one of each shape (those of a shape differ in height alone), and the same number of files is written from
them: the bare kernel time plus the bytes.
"""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path

import cadquery as cq


def cap(p: dict) -> cq.Workplane:
    """A rounded skirt with collar, socket, four ribs and a rounded crown edge, from the fit document."""
    d = p["drawing"]
    width, depth = p["model_section_mm"]
    height, low = p["model_height_mm"], d["skirt_bottom"]
    round_cap = d["section"]["shape"] == "round"

    def prism(w: float, dp: float, z0: float, z1: float) -> cq.Workplane:
        plane = cq.Workplane("XY").workplane(offset=z0)
        return (plane.circle(w / 2) if round_cap else plane.rect(w, dp)).extrude(z1 - z0)

    body = prism(width, depth, low, height)
    if not round_cap and d["section"]["corner_radius_mm"] > 0:
        body = body.edges("|Z").fillet(d["section"]["corner_radius_mm"])
    body = body.faces(">Z").edges().fillet(d["edge_radius"])
    if d["flange"] is not None:
        body = body.union(prism(d["flange"]["width_mm"], d["flange"]["depth_mm"], d["flange_bottom"], d["flange_top"]))
    length, sw, sd = d["socket_length"], d["socket_width"], d["socket_depth"]
    socket = cq.Workplane("XY").workplane(offset=-length - 1)
    pocket = (socket.circle(sw / 2) if d["socket_shape"] == "round" else socket.rect(sw, sd)).extrude(length + 1)
    body = body.cut(pocket)
    for x, y in ((sw / 2, 0), (-sw / 2, 0), (0, sd / 2), (0, -sd / 2)):
        body = body.union(cq.Workplane("XY").workplane(offset=-length + 0.5).center(x, y).rect(0.4, 0.4).extrude(1.2))
    return body


def shape(p: dict) -> str:
    """All that its drawing goes by but the height."""
    d = p["drawing"]
    return json.dumps([p["part"], p["model_section_mm"], d["socket_length"], d["flange_bottom"], d["flange_top"]])


def main() -> None:
    document, folder = json.loads(Path(sys.argv[1]).read_text()), Path(sys.argv[2])
    positions = document["positions"]
    made: dict[str, Path] = {}
    for p in positions:
        file = folder / f"{p['label']}.stl"
        key = "" if "--one" in sys.argv else shape(p) if "--distinct" in sys.argv else file.stem
        like = made.setdefault(key, file)
        if like == file:
            cq.exporters.export(cap(p), str(file), tolerance=0.004, angularTolerance=0.25)
        else:
            shutil.copyfile(like, file)


if __name__ == "__main__":
    main()
