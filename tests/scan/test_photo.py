"""A photograph with the marker sheet is measured like a scan; one without it is no scan."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from photo_drawing import PAGE, Camera, photograph, windows
from PIL import Image
from scipy.spatial import cKDTree
from typer.testing import CliRunner

from partgen.cli.app import app
from partgen.core.errors import InputError
from partgen.profile.panel_records import Caliper
from partgen.scan import lens, marker_sheet, photo
from partgen.scan.image import read_picture
from partgen.scan.registration import rigid
from partgen.scan.run_scan import see, settle

HOLES = windows()


def saved(folder, rgb, name="photo.jpg"):
    Image.fromarray(rgb).save(folder / name, quality=93)
    return folder / name


def scanned(folder, camera, **given):
    picture = photo.read_panel(saved(folder, photograph(HOLES, camera)), Caliper(), **given)
    return settle(see(picture), None, (), Caliper())


def off(scan, holes=HOLES):
    """(errors of places (n, 2), their u, errors of widths (n,), their u), after the best turn and shift of all."""
    true = np.array([(h.x, -h.y) for h in holes])
    found = np.array([one.shape.centre for one in scan.openings])
    _, nearest = cKDTree(true - true.mean(axis=0)).query(found - found.mean(axis=0))
    turn, shift = rigid(found, true[nearest])
    c, s = np.cos(turn), np.sin(turn)
    places = found @ np.array([[c, s], [-s, c]]) + shift - true[nearest]
    widths = np.array([one.shape.width - holes[k].width for one, k in zip(scan.openings, nearest, strict=True)])
    return (
        places,
        np.array([one.u_at for one in scan.openings]),
        widths,
        np.array([one.u_width for one in scan.openings]),
    )


@pytest.fixture(scope="module")
def usual(tmp_path_factory):
    return scanned(tmp_path_factory.mktemp("photo"), Camera(), sheet_mm=180.0)


def test_places_and_sizes_come_out_of_a_leaning_photograph(usual):
    assert len(usual.openings) == len(HOLES)
    assert usual.proven
    places, u_at, widths, u_width = off(usual)
    assert np.abs(places).max() < 0.10
    assert np.abs(widths).max() < 0.12
    assert (np.abs(places) < 2.5 * u_at).mean() > 0.95
    assert (np.abs(widths) < 2.5 * u_width).all()


def test_what_the_printer_stretched_is_taken_out_by_the_checked_distance(tmp_path):
    """A sheet printed 2 % too large, and its marks read so: 183.6 mm."""
    scan = scanned(tmp_path, Camera(stretch=1.02, jpeg=None), sheet_mm=183.6)
    places, _, widths, _ = off(scan)
    assert np.abs(places).max() < 0.12
    assert abs(widths.mean()) < 0.05


def test_a_sheet_that_nobody_checked_proves_nothing(tmp_path):
    scan = scanned(tmp_path, Camera(jpeg=None))
    assert not scan.proven
    assert any("--sheet-mm" in note for note in scan.notes)
    assert min(one.u_width for one in scan.openings if one.shape.width > 11) > 0.004 * 12


def test_the_lens_that_made_the_photograph_is_found_with_an_honest_covariance():
    """Corners projected by OpenCV with noise of a tenth of a pixel; 40 poses, no picture in between."""
    rng = np.random.default_rng(5)
    inside = total = 0
    for _ in range(40):
        camera = Camera(
            focal=float(rng.uniform(1700, 2300)),
            lean=tuple(rng.normal(0, 0.12, 2)),
            turn=float(rng.normal(0, 0.1)),
            middle=tuple(rng.normal(0, 10, 2)),
            radial=tuple(rng.normal(0, 0.06, 2)),
        )
        turn, shift = camera.pose
        radial = np.array([*camera.radial, 0, 0])
        flat = PAGE.corners + 10

        def shot(places, camera=camera, turn=turn, shift=shift, radial=radial):
            solid = np.column_stack([places, np.zeros(len(places))])
            return cv2.projectPoints(solid, cv2.Rodrigues(turn)[0], shift, camera.matrix, radial)[0][:, 0]

        seen = lens.Seen(PAGE.corners, shot(flat) + rng.normal(0, 0.1, flat.shape))
        found = lens.adjust([seen], camera.size)
        holes = np.array([(h.x, h.y) for h in HOLES])
        errors = (found.on_face(shot(holes)) + 10 - holes).ravel()
        u = np.sqrt(np.diag(found.spread(holes - 10)))
        inside += int((np.abs(errors) < 1.96 * u).sum())
        total += len(errors)
    assert 0.90 < inside / total <= 1.0


def test_pixels_and_places_lead_to_one_another():
    camera = Camera()
    p = np.array([camera.focal, 1200, 900, 0.08, -0.06, 0.1, -0.1, 0.2, -100, -80, 420.0])
    one = lens.Lens(p, np.eye(11), 0.0, depth=3.0)
    places = np.random.default_rng(1).uniform(-50, 250, (200, 2))
    assert np.abs(one.on_face(one.project(places)) - places).max() < 1e-6


def test_strips_give_what_the_page_gives(tmp_path):
    first, second = marker_sheet.STRIPS
    boards = ((first, (330.0, 10.0), 0.02), (second, (140.0, 15.0), -0.015))
    scan = scanned(tmp_path, Camera(boards=boards, over=(250, 110), jpeg=None), sheet_mm=90.0)
    places, *_ = off(scan)
    assert np.abs(places).max() < 0.12


def test_a_blurred_photograph_is_refused(tmp_path):
    path = saved(tmp_path, photograph([], Camera(blur=2.5, noise=0.5)))
    with pytest.raises(InputError, match="blurred"):
        photo.read_panel(path, Caliper())


def test_a_steep_photograph_is_said_and_a_steeper_one_refused(tmp_path):
    path = saved(tmp_path, photograph([], Camera(lean=(0.6, 0.0), boards=((PAGE, (60.0, 0.0), 0.0),))))
    assert any("times as coarse" in note for note in photo.read_panel(path, Caliper()).notes)
    path = saved(
        tmp_path, photograph([], Camera(lean=(1.0, 0.0), boards=((PAGE, (60.0, 0.0), 0.0),), away=300.0, focal=1500.0))
    )
    with pytest.raises(InputError, match="times as coarse"):
        photo.read_panel(path, Caliper())


def test_a_photograph_without_the_sheet_is_no_scan(tmp_path):
    rgb = photograph(HOLES, Camera(boards=(), lean=(0.35, -0.2), over=(250.0, 80.0), away=300.0))
    path = saved(tmp_path, rgb)
    with pytest.raises(InputError, match="photograph from one side"):
        see(read_picture(path, 150.0))
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x829A] = 0.01
    Image.fromarray(rgb).save(path, exif=exif)
    with pytest.raises(InputError, match="marker sheet"):
        read_picture(path, 150.0)


def test_a_phones_own_format_is_refused_with_what_to_do(tmp_path):
    (tmp_path / "IMG_1.heic").write_bytes(b"\0\0\0\x18ftypheic" + b"\0" * 200)
    with pytest.raises(InputError, match="JPEG"):
        read_picture(tmp_path / "IMG_1.heic")


def test_the_printed_sheet_shows_the_boards_that_are_looked_for(tmp_path):
    """The PDF drawn by poppler, an independent reader, and read by the library's own detector."""
    import subprocess

    for paper, boards in (("a4", [PAGE]), ("letter", [PAGE]), ("strip", list(marker_sheet.STRIPS))):
        done = CliRunner().invoke(app, ["scan", "--sheet", str(tmp_path / f"{paper}.pdf"), "--paper", paper])
        assert done.exit_code == 0, done.output
        subprocess.run(
            ["pdftoppm", "-r", "200", "-png", "-singlefile", tmp_path / f"{paper}.pdf", tmp_path / paper], check=True
        )
        seen = photo.sheet_in(np.asarray(Image.open(tmp_path / f"{paper}.png").convert("RGB")))
        assert set(seen) == set(boards)
        for board, corners in seen.items():
            assert len(corners.flat) > 0.75 * len(board.corners)
            apart = np.hypot(*(corners.pixels[-1] - corners.pixels[0])) / np.hypot(
                *(corners.flat[-1] - corners.flat[0])
            )
            assert apart == pytest.approx(200 / 25.4, rel=1e-3)  # at true size


def test_a_sheet_distance_that_cannot_be_is_refused(tmp_path):
    path = saved(tmp_path, photograph([], replace(Camera(), jpeg=None)))
    with pytest.raises(InputError, match="near 180 mm"):
        photo.read_panel(path, Caliper(), sheet_mm=18.0)
