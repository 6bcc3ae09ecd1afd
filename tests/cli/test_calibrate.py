"""`partgen coupon` and `partgen calibrate` as a person runs them: files, messages, exit codes."""

from __future__ import annotations

import csv
import os
import subprocess
import tomllib
from pathlib import Path

import commands
import numpy as np
import pytest
from output.coupon_sim import Hidden

from partgen.metrology.calibration import CLASSES
from partgen.output.coupon_parts import Coupon
from partgen.output.coupon_readings import form as empty_form
from partgen.output.threemf import read_3mf
from partgen.profile.coupon_features import features
from partgen.profile.library import find_printer
from partgen.profile.log_file import read_log
from partgen.profile.printer_records import Printer

SHIPPED = Path(__file__).resolve().parents[2] / "profiles"


PETG = find_printer("material-extrusion").model_copy(update={"material": "PETG"})


def run(*arguments: str, folder: Path, typed: str = "") -> subprocess.CompletedProcess[str]:
    return commands.run(folder, *arguments, typed=typed)


def filled_form(path: Path, seed: int = 1) -> Hidden:
    """A form as somebody would fill it who printed the coupon twice on a simulated printer."""
    rng = np.random.default_rng(seed)
    hidden = Hidden.draw(find_printer("material-extrusion"), rng)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["print", "feature", "reading 1", "reading 2", "reading 3"])
        for reading in hidden.coupon(rng, prints=2):
            writer.writerow([reading.print, reading.feature.name, *(f"{v:.2f}" for v in reading.reading.values)])
    return hidden


@pytest.fixture(scope="module")
def coupon_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("coupon")
    done = run("coupon", "workshop", "--for", str(SHIPPED / "fog-signal-controller.toml"), folder=folder)
    assert done.returncode == 0, done.stderr
    assert "outputs/workshop/coupon" in done.stdout.replace(os.sep, "/")
    return folder


def test_a_coupon_is_files_and_nothing_half_written(coupon_folder: Path) -> None:
    """Two solids that read back, a form and a sheet."""
    import trimesh

    made = coupon_folder / "outputs" / "workshop" / "coupon"
    assert sorted(p.name for p in made.iterdir()) == [
        "coupon.3mf", "coupon.stl", "fit-ladder.stl", "readings.csv", "sheet.html",
    ]  # fmt: skip
    items = read_3mf((made / "coupon.3mf").read_bytes())
    assert [item.name for item in items] == ["coupon", "fit-ladder"]
    low, high = items[0].mesh.bounds[1, 1], items[1].mesh.bounds[0, 1]
    assert high - low == pytest.approx(5.0, abs=1e-3)  # apart on the plate
    for name in ("coupon.stl", "fit-ladder.stl"):
        mesh = trimesh.load(made / name)
        assert mesh.is_watertight and mesh.bounds[0, 2] == pytest.approx(0, abs=1e-5)
    assert not [p for p in made.parent.iterdir() if p.name.startswith(".partgen-unfinished")]


def test_a_filled_form_is_never_written_over(coupon_folder: Path, tmp_path: Path) -> None:
    """Exit 2, and the readings are still there."""
    form = tmp_path / "outputs" / "mine" / "coupon" / "readings.csv"
    form.parent.mkdir(parents=True)
    filled_form(form)
    before = form.read_bytes()
    done = run("coupon", "mine", folder=tmp_path)
    assert done.returncode == 2 and "calibrate with these first" in done.stderr
    assert form.read_bytes() == before


def test_calibrating_writes_a_printer_that_the_plan_takes(tmp_path: Path) -> None:
    """The file loads, says that it was measured, covers the hidden errors, and keeps the readings beside it."""
    hidden = filled_form(tmp_path / "filled.csv")
    done = run("calibrate", "workshop", "filled.csv", "--material", "PETG", "--limit-of-error", "0.02", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    path = tmp_path / "profiles" / "printers" / "workshop.toml"
    printer = Printer.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    assert printer.measured and printer.material == "PETG" and "2 print(s)" in printer.source
    for kind in CLASSES:
        error = getattr(printer.error, kind)
        assert abs(hidden.error[kind] - error.value) <= 3 * error.u
        assert error.u < getattr(find_printer("material-extrusion").error, kind).u
    assert (path.parent / "workshop.readings.csv").read_text() == (tmp_path / "filled.csv").read_text()
    assert printer.coupon is not None and printer.coupon.file == "workshop.readings.csv"
    (tmp_path / "profiles" / "panel.toml").write_bytes((SHIPPED / "fog-signal-controller.toml").read_bytes())
    predicted = run("predict", "profiles/panel.toml", "--printer", "workshop", folder=tmp_path)
    assert predicted.returncode == 0, predicted.stderr
    assert "not measured" not in predicted.stderr + predicted.stdout


def test_calibrating_again_keeps_comments_and_what_else_the_file_says(tmp_path: Path) -> None:
    """A person's own remarks and settings stay; only what was learned changes."""
    filled_form(tmp_path / "one.csv", seed=1)
    filled_form(tmp_path / "two.csv", seed=2)
    assert run("calibrate", "workshop", "one.csv", folder=tmp_path).returncode == 0
    path = tmp_path / "profiles" / "printers" / "workshop.toml"
    text = path.read_text(encoding="utf-8").replace("layer_height = 0.2", "layer_height = 0.16 # the fine setting")
    path.write_text(text.replace("first_layer = 0.2", "first_layer = 0.24"), encoding="utf-8")
    before = path.read_text(encoding="utf-8")
    done = run("calibrate", "workshop", "two.csv", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    after = path.read_text(encoding="utf-8")
    assert "layer_height = 0.16 # the fine setting" in after
    assert tomllib.loads(after)["error"] != tomllib.loads(before)["error"]


@pytest.mark.sample(5)
@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["calibrate", "workshop", "none.csv"], "no such file"),
        (["calibrate", "workshop", "bad.csv"], "line 2"),
        (["calibrate", "workshop", "empty.csv"], "no readings"),
        (["calibrate", "material-extrusion", "good.csv"], "a name of its own"),
        (["calibrate", "../workshop", "good.csv"], "a name that can be a file's"),
        (["calibrate", "workshop", "good.csv", "--material", "unobtainium"], "unobtainium"),
        (["calibrate", "workshop", "good.csv", "--process", "casting"], "casting"),
        (["coupon", "workshop", "--seat", "plunger"], "--for"),
        (["coupon", "workshop", "--for", "none.toml"], "none.toml"),
        (["coupon", "workshop", "--material", "PA12"], "powder-bed-fusion"),
    ],
)
def test_wrong_input_exits_2_and_writes_nothing(arguments: list[str], says: str, tmp_path: Path) -> None:
    """What is wrong is named; no printer file and no coupon appears."""
    filled_form(tmp_path / "good.csv")
    (tmp_path / "bad.csv").write_text("print,feature,reading 1\n1,peg-round-5,55\n", encoding="utf-8")
    (tmp_path / "empty.csv").write_text("print,feature,reading 1\n1,peg-round-5,\n", encoding="utf-8")
    before = sorted(p.name for p in tmp_path.rglob("*"))
    done = run(*arguments, folder=tmp_path)
    assert done.returncode == 2 and says in done.stderr
    assert "Traceback" not in done.stderr
    assert sorted(p.name for p in tmp_path.rglob("*")) == before


def test_readings_at_the_prompt_are_kept_as_they_come(tmp_path: Path) -> None:
    """What was typed stands in the form, and a second run goes on from there; without a coupon nothing is asked."""
    typed = "5.81\n5.83\n5.80\nskip\n3.80\nstop\n"
    refused = run("calibrate", "workshop", folder=tmp_path, typed=typed)
    assert refused.returncode == 2 and "`partgen coupon workshop` writes" in refused.stderr
    assert not list(tmp_path.iterdir())
    form = tmp_path / "outputs" / "workshop" / "coupon" / "readings.csv"
    form.parent.mkdir(parents=True)
    form.write_text(empty_form(Coupon(PETG, features(PETG), (), "")), encoding="utf-8")
    done = run("calibrate", "workshop", folder=tmp_path, typed=typed)
    assert done.returncode == 0, done.stderr
    assert "1,bore-square-6,5.81,5.83,5.80" in form.read_text(encoding="utf-8")
    printer = find_printer("workshop", tmp_path / "profiles")
    assert printer.material == "PETG", "what the coupon was made for"
    other = run("calibrate", "workshop", "--material", "PLA", folder=tmp_path, typed="stop\n")
    assert other.returncode == 2 and "material: read PETG; PLA, as --material has it" in other.stderr
    assert printer.error.hole.value == pytest.approx(-0.19, abs=0.02)
    assert printer.error.peg == find_printer("material-extrusion").error.peg
    again = run("calibrate", "workshop", folder=tmp_path, typed="skip\n3.82\nstop\n")
    assert again.returncode == 0 and "1,bore-square-4,3.80,3.82" in form.read_text(encoding="utf-8")


def test_a_coupon_s_form_given_to_trial_feeds_the_profile_s_printer(tmp_path: Path) -> None:
    """Choosing from the fit ladder by feel is a trial like any other: the same file as by `calibrate`."""
    text = (SHIPPED / "fog-signal-controller.toml").read_text(encoding="utf-8")
    (tmp_path / "panel.toml").write_text(text, encoding="utf-8")
    form = tmp_path / "form.csv"
    filled_form(form)
    with form.open("a", encoding="utf-8") as file:
        file.write("1,fit-4 (+0.10),no,,\n1,fit-5 (+0.15),tight,,\n1,fit-6 (+0.20),holds,,\n")
    refused = run("trial", "panel.toml", "form.csv", folder=tmp_path)
    assert refused.returncode == 2 and "a printer of your own" in refused.stderr
    assert not (tmp_path / "printers").exists()
    wrong = run("trial", "panel.toml", "form.csv", "--printer", "own", "--revision", "r01", folder=tmp_path)
    assert wrong.returncode == 2 and not (tmp_path / "printers").exists()
    done = run("trial", "panel.toml", "form.csv", "--printer", "own", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "bores" in done.stdout and not read_log(tmp_path / "panel.log.toml").trial
    other = tmp_path / "other"
    assert run("calibrate", "own", "form.csv", "--profiles", str(other), folder=tmp_path).returncode == 0
    assert (tmp_path / "printers" / "own.toml").read_bytes() == (other / "printers" / "own.toml").read_bytes()
    planned = run("predict", "panel.toml", "--printer", "own", "--json", folder=tmp_path)
    assert '"printer": "own"' in planned.stdout
