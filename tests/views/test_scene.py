"""Shapes for pictures and viewer: closed, of the right volume, in the right place; pictures to scale."""

from __future__ import annotations

import base64
import math
import zlib

import numpy as np
import pytest
from sample import SLOPE, document

from partgen.views.mesh_picture import Body, picture, view
from partgen.views.report_extras import Lie, ReportExtras, Shape
from partgen.views.scene import coarse, feature_edges, panel_shape, prism, scene, seat_shape
from partgen.views.thumbnails import poses
from partgen.views.viewer import STEP, view_3d

BLOCK = prism(np.array([(2.0, -3.0), (2, 3), (-2, 3), (-2, -3)]), -1.0, 5.0)


def volume(shape: Shape) -> float:
    """By the divergence theorem; right only for a closed mesh with its faces outward."""
    a, b, c = (shape.vertices[shape.faces[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


def closed(shape: Shape) -> bool:
    """Whether every directed edge has its opposite."""
    f = shape.faces
    edges = {tuple(e) for e in np.vstack([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]]).tolist()}
    return all((b, a) in edges for a, b in edges)


def sphere(n: int = 60) -> Shape:
    """A unit sphere of latitude rings."""
    lat = np.linspace(-math.pi / 2, math.pi / 2, n)
    lon = np.linspace(0, 2 * math.pi, 2 * n, endpoint=False)
    grid = np.array([(math.cos(a) * math.cos(o), math.cos(a) * math.sin(o), math.sin(a)) for a in lat for o in lon])
    faces = []
    for i in range(n - 1):
        for j in range(2 * n):
            k = (j + 1) % (2 * n)
            a, b, c, d = (r * 2 * n + s for r, s in ((i, j), (i, k), (i + 1, k), (i + 1, j)))
            faces += [(a, b, c), (a, c, d)]
    return Shape(grid, np.array(faces))


def pixels(png: bytes) -> np.ndarray:
    """RGBA of a PNG whose rows are each predicted from the one above (filter 2), (h, w, 4)."""
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    w, h = (int.from_bytes(png[i : i + 4], "big") for i in (16, 20))
    start = png.index(b"IDAT")
    length = int.from_bytes(png[start - 4 : start], "big")
    assert int.from_bytes(png[start + 4 + length : start + 8 + length], "big") == zlib.crc32(
        png[start : start + 4 + length]
    )
    rows = np.frombuffer(zlib.decompress(png[start + 4 : start + 4 + length]), dtype=np.uint8).reshape(h, 1 + 4 * w)
    assert (rows[:, 0] == 2).all()
    return np.cumsum(rows[:, 1:], axis=0, dtype=np.uint8).reshape(h, w, 4)


def test_a_panel_is_a_closed_plate_less_its_openings() -> None:
    """Closed, faces outward, and its volume is (plate - openings) times thickness."""
    doc = document(6)
    shape = panel_shape(doc)
    assert closed(shape)
    tilt = math.hypot(1.0, math.hypot(*SLOPE))
    top = shape.vertices[: len(shape.vertices) // 2]
    (w, d) = np.ptp(top[:, :2], axis=0)
    x, y = np.array(doc.positions[0].drawing.hole.outline).T
    hole = abs((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 2
    assert volume(shape) == pytest.approx((w * d * tilt - 6 * hole) * doc.positions[0].drawing.thickness, rel=1e-6)


def test_the_panel_lies_on_the_fitted_plane() -> None:
    """Every upper vertex: z = sx x + sy y; the underside lies square below by the thickness."""
    shape = panel_shape(document(3))
    top, under = np.split(shape.vertices, 2)
    assert np.allclose(top[:, 2], top[:, :2] @ np.array(SLOPE))
    step = top[0] - under[0]
    assert np.linalg.norm(step) == pytest.approx(2.033)
    assert step[:2] / step[2] == pytest.approx(-np.array(SLOPE))


def test_parts_stand_proud_as_the_document_says() -> None:
    """Crown above panel, on the seat's axis, is the wanted height less the seat-to-face distance."""
    doc = document(4)
    for item in scene(doc, ReportExtras()):
        if item.kind == "part":
            p = doc.positions[item.position or 0]
            crown = item.origin[2] + item.shape.vertices[:, 2].max()
            face = np.dot(SLOPE, p.at_mm)
            assert crown - face == pytest.approx(p.drawing.crown_z - p.drawing.face_z, abs=1e-9)


def test_a_prism_is_closed_and_has_base_times_height() -> None:
    """Also with a sloped top, whose mean height over a centred base is unchanged."""
    outline = np.array([(2.0, -3.0), (2, 3), (-2, 3), (-2, -3)])
    for slope in ((0.0, 0.0), (0.1, -0.2)):
        shape = prism(outline, -1.0, 5.0, slope)
        assert closed(shape)
        assert volume(shape) == pytest.approx(24 * 6)
    assert volume(seat_shape(document(1).positions[0].drawing)) == pytest.approx(3.29 * 3.28 * 6.6)


def test_a_block_has_twelve_edges_and_a_sphere_none() -> None:
    """Diagonals of flat faces are no edges; smooth surfaces have none."""
    assert len(feature_edges(BLOCK)) == 12
    assert len(feature_edges(sphere(40))) == 0


def test_a_coarse_mesh_moves_no_vertex_further_than_half_a_cell() -> None:
    """Within step sqrt(3)/2, and a sphere keeps its volume within the same."""
    fine = sphere(24)
    for step in (0.01, 0.05, 0.1):
        mesh = coarse(fine, step)
        nearest = np.linalg.norm(fine.vertices[:, None] - mesh.vertices[None], axis=2).min(axis=1)
        assert nearest.max() <= step * math.sqrt(3) / 2 + 1e-9
        assert volume(Shape(mesh.vertices, mesh.faces)) == pytest.approx(4 / 3 * math.pi, rel=1.2 * step + 0.02)
    assert len(coarse(fine, 0.1).faces) < len(fine.faces)


def test_what_the_page_embeds_unpacks_to_the_same_meshes() -> None:
    """The packed arrays, read as the page's script reads them, give every vertex back on its grid."""
    packed = view_3d(document(2), ReportExtras(shapes={"S1": BLOCK}, pictures=False))
    data = zlib.decompress(base64.b64decode(packed.data))
    part = next(i for i in packed.head["items"] if i["kind"] == "part" and i["position"] == 0)
    head = packed.head["shapes"][part["shape"]]
    n, m, k = head["counts"]
    steps = np.frombuffer(data, dtype="<i2", count=3 * n, offset=head["start"]).reshape(3, n)
    vertices = np.array(head["low"]) + np.cumsum(steps, axis=1).T * head["step"]
    assert sorted(map(tuple, vertices.round(6))) == sorted(map(tuple, BLOCK.vertices))
    at = head["start"] + -(-6 * n // 4) * 4
    faces = np.frombuffer(data, dtype="<u2", count=3 * m, offset=at).reshape(3, m).T.astype(np.int64)
    assert volume(Shape(vertices, faces)) == pytest.approx(volume(BLOCK))
    assert (head["step"], k) == (STEP, 12)


def test_what_the_3d_view_says_comes_from_the_document() -> None:
    """Label, state, room, travel, proud and crown of every position, to the last digit."""
    doc = document(4, states={1: "fail"})
    head = view_3d(doc, ReportExtras(pictures=False)).head
    assert [tuple(p.values()) for p in head["positions"]] == [
        (p.label, p.colour, p.state, p.clearance_worst_mm, p.drawing.travel, p.proud_mm, p.drawing.crown_z)
        for p in doc.positions
    ]


def test_a_set_too_large_to_draw_is_shown_as_plain_prisms(monkeypatch: pytest.MonkeyPatch) -> None:
    """Finer grids first, then stand-ins; never more triangles than old machines bear."""
    monkeypatch.setattr("partgen.views.viewer.MOST_FACES", 9_000)
    doc = document(3)
    fine = ReportExtras(shapes={p.label: sphere(40) for p in doc.positions}, pictures=False)
    finer = ReportExtras(shapes={p.label: sphere(90) for p in doc.positions}, pictures=False)
    for extras in (fine, finer):
        head = view_3d(doc, extras).head
        assert sum(head["shapes"][i["shape"]]["counts"][1] for i in head["items"]) <= 9_000


def test_equal_shapes_are_embedded_once() -> None:
    """Six like seats and like parts share their meshes."""
    packed = view_3d(document(6), ReportExtras(shapes={f"S{i}": BLOCK for i in range(1, 7)}, pictures=False))
    assert len(packed.head["items"]) == 13
    assert len(packed.head["shapes"]) == 3


def test_a_part_in_two_colours_is_shown_in_both() -> None:
    """The 3D view, the picture it falls back on, and the pictures of the part; another part keeps its one colour."""
    doc = document(2)
    letter = prism(np.array([(1.0, -1.0), (1, 1), (-1, 1), (-1, -1)]), 5.0, 5.6)
    bodies = {"S1": ((BLOCK, ""), (letter, "#00ff00"))}
    extras = ReportExtras(
        shapes={"S1": BLOCK, "S2": BLOCK}, bodies=bodies, lies={doc.positions[0].part: Lie(np.eye(3))}
    )
    packed = view_3d(doc, extras)
    parts = [item for item in packed.head["items"] if item["kind"] == "part"]
    assert [(item["position"], item.get("colour")) for item in parts] == [(0, None), (0, "#00ff00"), (1, None)]
    seen = [packed.picture, *(pose.png for pose in poses(doc, extras))]
    for picture_, green in zip(seen, (True, True, False, True), strict=True):  # from below no letter is seen
        image = pixels(base64.b64decode(picture_)).astype(int)
        assert bool(((image[:, :, 1] > 120) & (image[:, :, 0] < 60) & (image[:, :, 2] < 60)).any()) is green


def test_a_picture_of_a_sphere_is_a_filled_circle_lit_from_above_left() -> None:
    """Its area is that of the circle it should be; brighter towards the light; transparent outside."""
    image = pixels(picture([Body(sphere(), "#3366cc")], view(0, 20), 200, 200))
    alpha = image[:, :, 3] / 255
    radius = (200 - 8) / 2
    assert alpha.sum() == pytest.approx(math.pi * radius**2, rel=0.01)
    assert image[0, 0, 3] == 0
    assert image[60, 70, :3].sum() > image[140, 130, :3].sum()
    assert image[100, 100, 2] > image[100, 100, 0]  # the body's own colour


def test_the_nearer_body_hides_the_farther_one() -> None:
    """Seen from straight above, a red block over a blue one: no blue in the middle."""
    bodies = [Body(BLOCK, "#0000ff"), Body(BLOCK, "#ff0000", (0.0, 0.0, 10.0))]
    for order in (bodies, bodies[::-1]):
        r, _, b, a = pixels(picture(order, view(0, 90), 80, 80))[40, 40].astype(int)
        assert (a, r > b) == (255, True)


def test_outlines_are_drawn_dark() -> None:
    """A light block seen askew shows dark edges between its light faces."""
    image = pixels(picture([Body(BLOCK, "#ffffff")], view(-30, 30), 160, 160))
    solid = image[image[:, :, 3] == 255][:, :3].mean(axis=1)
    assert (solid < 90).sum() > 100 and (solid > 140).sum() > 3000


def test_a_picture_is_the_same_however_many_faces_are_drawn_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Bodies behind, inside and exactly upon one another; of two faces equally near the later one is seen."""
    bodies = [Body(BLOCK, "#c03030"), Body(BLOCK, "#3030c0"), Body(sphere(20), "#30c030", (2.0, -3.0, 4.0))]
    whole = picture(bodies, view(-25, 40), 120, 90)
    assert pixels(whole)[:, :, :3][pixels(whole)[:, :, 3] > 0].mean(axis=0).argmax() == 2  # the later block is blue
    for at_once in (1, 7, 12):
        monkeypatch.setattr("partgen.views.mesh_picture._AT_ONCE", at_once)
        assert picture(bodies, view(-25, 40), 120, 90) == whole


def test_faces_between_two_rows_of_pixels_change_nothing() -> None:
    """A fine sphere whose faces are far smaller than a pixel gives the disc that a coarse one gives."""
    fine, rough = (pixels(picture([Body(sphere(n), "#808080")], view(0, 90), 24, 24)) for n in (120, 40))
    assert np.abs(fine[:, :, 3].astype(int) - rough[:, :, 3]).max() <= 64  # one of four samples at the rim
