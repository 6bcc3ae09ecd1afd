"""What a revision holds besides its parts: plates that the consortium's reader takes, order sheets, print data."""

from __future__ import annotations

import csv
import json

import lib3mf
import numpy as np
import pytest
from profile_texts import POSITION, PROFILE, SEATS, SHAPES

from partgen.jobs.build import build_profile


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """Four positions with two spares each, built once; the revision's folder and its fit document."""
    folder = tmp_path_factory.mktemp("plates")
    text = PROFILE.format(
        printer="material-extrusion", thickness=2.0, travel=2.0, proud=1.5, crown="flat", grip="ribs", flange="true",
        mark="sunk", hole=SHAPES["rectangle"], seat=SEATS["square"],
    )  # fmt: skip
    text = text.replace('mark = "sunk"', 'mark = "sunk"\nspares = 2\ncolour = "#a02020"')
    for n, (x, y) in enumerate([(0, 0), (25, 0), (0, 22), (25, 22)]):
        text += POSITION.format(n=n, x=x, y=y, drop=6.0 + 0.02 * x, more="")
    (folder / "p.toml").write_text(text)
    done = build_profile(folder / "p.toml", folder / "outputs")
    return done.folder, json.loads((done.folder / "fit.json").read_text())


WRAPPER = lib3mf.get_wrapper()  # must outlive what it makes


def test_the_plate_holds_every_part_and_its_spares_where_the_document_says(built):
    folder, fit = built
    assert fit["print"]["plates"] == ["plate-1.3mf"]
    layout = fit["print"]["layout"][0]
    assert sorted(item["label"] for item in layout["items"]) == sorted(["S0", "S1", "S2", "S3"] * 3)
    model = WRAPPER.CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(folder / "plate-1.3mf"))
    assert reader.GetWarningCount() == 0
    items, placed = model.GetBuildItems(), []
    while items.MoveNext():
        item = items.GetCurrent()
        mesh = item.GetObjectResource()
        move = np.array([list(row) for row in item.GetObjectTransform().Fields])
        points = np.array([list(v.Coordinates) for v in mesh.GetVertices()]) @ move[:3] + move[3]
        placed.append((mesh.GetName(), *points.min(axis=0), *np.ptp(points, axis=0)[:2]))
    wanted = sorted((i["label"], *i["at_mm"], 0.0, *i["size_mm"]) for i in layout["items"])
    for (name, *numbers), (label, *expected) in zip(sorted(placed), wanted, strict=True):
        assert name == label and numbers == pytest.approx(expected, abs=2e-3)


def test_print_data_counts_the_spares(built):
    _, fit = built
    volume = 3 * sum(p["geometry"]["volume_mm3"] for p in fit["positions"])
    assert fit["print"]["mass_g"] == pytest.approx(volume / 1000 * 1.25, rel=1e-3)  # PLA, no support needed
    assert fit["print"]["support_mm3"] == 0.0
    assert fit["print"]["time_min"] > 10 and "rough" in fit["print"]["time_model"]


def test_the_order_names_the_files_that_are_there(built):
    folder, _ = built
    with (folder / "order" / "part-list.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["label"] for row in rows] == ["S0", "S1", "S2", "S3"]
    assert all((folder / "parts" / row["file"]).is_file() for row in rows)
    assert {row["quantity"] for row in rows} == {"3"} and {row["colour"] for row in rows} == {"#a02020"}
    assert "First article" in (folder / "order" / "order-sheet.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("seat", ["square", "round"])
def test_a_seat_read_with_calipers_whose_zero_is_off_is_measured_as_it_was_planned(tmp_path, seat):
    """Plan and mesh agree on the interference: both take the zero error off the seat's readings (0.1 mm here)."""
    text = PROFILE.format(
        printer="material-extrusion", thickness=2.0, travel=2.0, proud=1.5, crown="flat", grip="ribs", flange="true",
        mark="sunk", hole=SHAPES["rectangle"], seat=SEATS[seat],
    )  # fmt: skip
    text = text.replace("[panel]", "[caliper]\nzero = [0.10, 0.10]\n[panel]", 1)
    path = tmp_path / "zero.toml"
    path.write_text(text + POSITION.format(n=0, x=0, y=0, drop=6.0, more=""))
    built = build_profile(path, tmp_path / "out", formats=frozenset({"stl"}))
    found = [one for p in built.document.positions for one in p.checks if "interference of seat" in one.name]
    assert found and all(one.state == "pass" for one in found), found
