"""Files that partgen wrote once are read for ever; what a newer partgen wrote is refused.

The folders format-N hold a file of every kind as format N was when it was today's. They are never changed: where a
test here fails after a change, the change needs the next number, a step in `partgen/core/formats.py`, and a new folder.
"""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path

import pytest
from commands import run

from partgen.cli.app import main
from partgen.core import formats
from partgen.core.errors import LogError, ProfileError
from partgen.jobs.calibrate import printer_file
from partgen.jobs.trial_table import read_results
from partgen.output.coupon_readings import parse_readings
from partgen.output.result_file import parse_fit
from partgen.profile.coupon_features import features
from partgen.profile.edit import Place, ProfileFile, add_reading
from partgen.profile.library import find_material, list_seats, parse_material, parse_printer
from partgen.profile.load import load_profile, parse_profile
from partgen.profile.log_file import append, parse_log, read_log
from partgen.profile.log_records import Trial
from partgen.profile.seats import known_seats
from partgen.web.fields import text_at

HERE = Path(__file__).resolve().parent
FIRST = HERE / "format-1"
KINDS = {
    formats.PROFILE: "every-key.toml",
    formats.LOG: "two.log.toml",
    formats.PRINTER: "printer.toml",
    formats.MATERIAL: "material.toml",
    formats.SEATS: "seats.toml",
    formats.FIT: "fit.json",
}
CONTENT = {  # SHA-256 of what is measured and wanted, as it was read when these were today's
    "format-1/every-key.toml": "ef737f4c297d8d0c8a963c35d513cfb8be1d820c95e4b0a869ed2d990674f753",
    "format-1/two.toml": "0c3a1076fea5f5b5d630c94c607b83fa26bf496b5a44332045e0965f0084aa02",
}


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.what)
def test_a_file_of_every_number_is_kept(kind):
    assert all((HERE / f"format-{number}" / KINDS[kind]).is_file() for number in range(1, kind.number + 1))


@pytest.mark.parametrize("name", CONTENT)
def test_a_frozen_profile_means_what_it_meant(name):
    assert load_profile(HERE / name).content_hash == CONTENT[name]


def test_a_frozen_log_printer_material_seats_and_tables_are_read(tmp_path):
    log = read_log(FIRST / "two.log.toml")
    assert [(r.id, len(r.built)) for r in log.revision] == [("r01", 2), ("r02", 2)]
    assert [(t.label, t.proud_mm, t.feel, t.side, t.grip) for t in log.trial] == [
        ("S1", 1.71, "rubs", None, "holds"),
        ("S2", 1.49, "free", None, "loose"),
    ]
    kept = {snapshot.of: snapshot for snapshot in log.snapshot}
    assert parse_profile(kept["profile"].text, "the log") == load_profile(FIRST / "two.toml").profile
    parse_printer(kept["printer"].text, "the log")
    printer = parse_printer((FIRST / "printer.toml").read_text(encoding="utf-8"), "printer.toml")
    assert printer.measured and printer.error.hole.value == -0.1648 and printer.coupon is not None
    assert parse_material((FIRST / "material.toml").read_text(encoding="utf-8"), "m").name == "PETG"
    assert [e["label"] for e in json.loads((FIRST / "fit.json").read_bytes())["positions"]] == ["S1", "S2"]
    assert [row.label for row in read_results(FIRST / "results.csv")] == ["S1", "S2"]
    read = parse_readings((FIRST / "readings.csv").read_text(encoding="utf-8"), "readings.csv", features(printer))
    assert len(read.features) == 17
    shutil.copytree(FIRST, tmp_path / "seats", ignore=lambda _, names: [n for n in names if n != "seats.toml"])
    assert len(known_seats(tmp_path)) > len(known_seats())


def test_a_frozen_fit_document_is_read_and_drawn_again(tmp_path):
    document = parse_fit((FIRST / "fit.json").read_bytes(), "fit.json")
    assert document.revision == "r01" and document.positions[0].height_mm == pytest.approx(5.82, abs=0.01)
    home = tmp_path / "outputs" / "two" / "r01"
    home.mkdir(parents=True)
    shutil.copy(FIRST / "fit.json", home)
    for name in ("two.toml", "two.log.toml"):
        shutil.copy(FIRST / name, tmp_path)
    done = run(tmp_path, "report", "two.toml", "--revision", "r01", "--quiet")
    assert done.returncode == 0, done.stderr
    assert (home / "report.html").stat().st_size > 20_000


def put(folder: Path, kind: formats.Format, number: int) -> tuple[str, ...]:
    """A folder in which the file of one kind says another number; the command that reads it."""
    for name in ("two.toml", "two.log.toml"):
        shutil.copy(FIRST / name, folder)
    source = FIRST / KINDS[kind]
    target, command = {
        "profile": ("two.toml", ("predict", "two.toml")),
        "log": ("two.log.toml", ("log", "two.toml")),
        "printer": ("printers/material-extrusion.toml", ("predict", "two.toml")),
        "material": ("materials/PLA.toml", ("predict", "two.toml")),
        "file of seats": ("seats/mine.toml", ("measure", "two.toml")),
        "fit document": ("outputs/two/r01/fit.json", ("report", "two.toml", "--revision", "r01")),
    }[kind.what]
    path = folder / target
    path.parent.mkdir(parents=True, exist_ok=True)
    if not path.exists():
        shutil.copy(source, path)
    text = path.read_text(encoding="utf-8")
    old, new = (
        ("format = 1", f"format = {number}") if path.suffix == ".toml" else ('"format": 1', f'"format": {number}')
    )
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return command


@pytest.mark.sample(3)
@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.what)
def test_what_a_newer_partgen_wrote_is_refused_and_stays_as_it_is(tmp_path, kind):
    command = put(tmp_path, kind, kind.number + 1)
    before = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    if kind is formats.SEATS:  # read where a reading is recognised, in the middle of measuring
        with pytest.raises(ProfileError, match="a newer partgen wrote it"):
            known_seats(tmp_path)
        return
    done = run(tmp_path, *command)
    assert done.returncode == 2, done.stderr
    assert f"format: read {kind.number + 1}; this partgen reads format = {kind.number}" in done.stderr
    assert "update partgen" in done.stderr and done.stdout == ""
    assert {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()} == before


@pytest.mark.parametrize("number", ["0", "true", '"1"', "-3"])
def test_a_number_that_never_was_is_no_newer_one(number):
    text = (FIRST / "two.toml").read_text(encoding="utf-8").replace("format = 1", f"format = {number}")
    with pytest.raises(ProfileError, match=r"this partgen reads format = 1$"):
        parse_profile(text, "two.toml")


# The way up is walked with a format 0 that there never was: its drops are called `deep`, its trials `attempt`.


@pytest.fixture
def older(tmp_path, monkeypatch):
    """A profile and a log of an older format, and steps from there to today's."""

    def profile_step(tables):
        for position in tables["position"]:
            if "deep" in position:
                position["drop"] = position.pop("deep")

    def log_step(tables):
        tables["trial"] = tables.pop("attempt")

    monkeypatch.setitem(formats.PROFILE.steps, 0, profile_step)
    monkeypatch.setitem(formats.LOG.steps, 0, log_step)
    monkeypatch.setitem(formats.PRINTER.steps, 0, lambda tables: tables.update(currency=tables.pop("money")))
    for name, words in {"two.toml": ("drop =", "deep ="), "two.log.toml": ("[[trial]]", "[[attempt]]")}.items():
        text = (FIRST / name).read_text(encoding="utf-8")
        head, kept, tail = text.partition("[[revision]]")
        changed = (head + kept + tail.replace(*words)) if kept else text.replace(*words)
        (tmp_path / name).write_text(changed.replace("format = 1", "format = 0", 1), encoding="utf-8")
    return tmp_path


def test_an_older_profile_and_log_are_read_as_today_s_and_the_person_is_told(older, monkeypatch, capsys):
    before = {p: p.read_bytes() for p in older.iterdir()}
    monkeypatch.chdir(older)
    monkeypatch.setattr(sys, "argv", ["partgen", "predict", "two.toml", "--json"])
    with pytest.raises(SystemExit):
        main()
    out, err = capsys.readouterr()
    assert [p["label"] for p in json.loads(out)["positions"]] == ["S1", "S2"]
    assert err.count("two.toml: this profile is of format 0; it was read as format 1.") == 1
    assert err.count("two.log.toml: this log is of format 0; it was read as format 1.") == 1
    assert "Traceback" not in err and ".py:" not in err
    assert {p: p.read_bytes() for p in older.iterdir()} == before


@pytest.mark.filterwarnings("ignore::partgen.core.formats.OlderFormat")
def test_the_first_edit_of_an_older_profile_brings_it_to_today_s_with_its_comments(older):
    ProfileFile(older / "two.toml").apply(add_reading(Place("position", "S1", "drop"), "4.32"))
    text = (older / "two.toml").read_text(encoding="utf-8")
    assert text.startswith("format = 1") and "deep" not in text
    assert "# panel face down to the top of the plunger" in text and "4.32" in text
    assert load_profile(older / "two.toml").profile.position[0].drop.values == (4.31, 4.35, 4.30, 4.32)


@pytest.mark.filterwarnings("ignore::partgen.core.formats.OlderFormat")
def test_the_bench_page_shows_an_older_profile_in_today_s_fields(older):
    text = (older / "two.toml").read_text(encoding="utf-8")
    assert "deep" in text
    assert text_at(text, Place("position", "S1", "drop")) == "4.31, 4.35, 4.30"


@pytest.mark.filterwarnings("ignore::partgen.core.formats.OlderFormat")
def test_an_older_log_is_kept_beside_and_written_anew_when_something_is_added(older):
    path = older / "two.log.toml"
    before = path.read_bytes()
    old = read_log(path)
    again = old.trial[0].model_copy(update={"note": "a second look"})
    whole = append(path, trials=[Trial.model_validate(again.model_dump())])
    assert whole == read_log(path) and whole.trial == (*old.trial, again.model_copy(update={"step": 1}))
    assert whole.revision == old.revision and whole.snapshot == old.snapshot
    assert path.read_text(encoding="utf-8").count("format = 1\n") >= 1 and b"[[attempt]]" not in path.read_bytes()
    assert (older / "two.log.toml.format-0").read_bytes() == before
    with pytest.raises(LogError):
        parse_log(before.replace(b"format = 0", b"format = 2", 1), "log")


@pytest.mark.filterwarnings("ignore::partgen.core.formats.OlderFormat")
def test_calibrating_brings_an_older_printer_s_file_to_today_s(older):
    text = (FIRST / "printer.toml").read_text(encoding="utf-8")
    old = text.replace("format = 1", "format = 0").replace("currency =", "money =")
    written = printer_file(parse_printer(old, "old"), old, "shore-printer")
    assert "format = 1" in written and "money" not in written
    assert parse_printer(written, "new") == parse_printer(text, "today's")


def test_every_shipped_file_says_its_format():
    for kind in ("printers", "materials", "seats"):
        for path in (HERE.parents[1] / "profiles" / kind).glob("*.toml"):
            assert "\nformat = 1\n" in "\n" + path.read_text(encoding="utf-8"), path
    assert find_material("PLA").format == 1 and list_seats()
