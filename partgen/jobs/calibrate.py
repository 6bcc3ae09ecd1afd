"""A printer learned from its coupon: what to print, and the printer's file from what was read."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, get_args

import tomlkit

from partgen.core.errors import Fault, InputError, OutsideError, PrinterError, ProfileError, TrialError
from partgen.core.files import locked, safe_stem, tell, write_atomic, write_new
from partgen.core.formats import PRINTER, upgrade
from partgen.jobs.staging import staged
from partgen.metrology.calibration import Calibration, calibrate
from partgen.output.coupon_parts import Coupon, minutes, plan_coupon
from partgen.output.coupon_readings import CouponReadings, form, is_filled, parse_readings
from partgen.profile.coupon_features import features
from partgen.profile.library import find_material, find_printer, list_printers, parse_printer
from partgen.profile.load import load_profile
from partgen.profile.panel_records import Caliper
from partgen.profile.printer_records import CouponResult, Material, Printer, Process
from partgen.profile.undo import noted
from partgen.views.coupon_sheet import sheet

if TYPE_CHECKING:
    from trimesh import Trimesh


OURS = ("coupon.stl", "fit-ladder.stl", "coupon.3mf", "readings.csv", "sheet.html")
"""What a coupon's folder holds of ours."""


@dataclass(frozen=True)
class CouponFiles:
    """What `partgen coupon` wrote."""

    folder: Path
    coupon: Coupon
    minutes: float
    known: bool
    """Whether a printer of that name was there already."""


@dataclass(frozen=True)
class Learned:
    """What `partgen calibrate` found, and the file it wrote."""

    path: Path
    before: Printer
    printer: Printer
    calibration: Calibration
    readings: CouponReadings


def base_printer(name: str, beside: Path, process: Process, material: str | None) -> tuple[Printer, bool]:
    """The printer of that name, or its process's usual one where there is none; and whether it was there.

    Raises PrinterError for an unusable name, a broken file, or an unknown material.
    """
    stem = safe_stem(name)
    if stem != name:
        raise PrinterError(Fault("printer", f'"{name}"', f'a name that can be a file\'s, such as "{stem}"'))
    known = name in list_printers(beside)
    printer = find_printer(name, beside) if known else find_printer(process, beside)
    if not known:
        printer = printer.model_copy(update={"title": name})
    if material is not None:
        found = find_material(material, beside)
        if found.process != printer.process:
            raise PrinterError(
                Fault("--material", material, f"a material for {printer.process}, this one is for {found.process}")
            )
        printer = printer.model_copy(update={"material": found.name})
    return printer, known


def write_coupon(
    name: str,
    out: Path,
    *,
    beside: Path,
    process: Process = "material-extrusion",
    material: str | None = None,
    profile: Path | None = None,
    seat: str | None = None,
) -> CouponFiles:
    """Solids, form and sheet of a coupon in OUT/NAME/coupon. Raises InputError, KernelError, OutsideError."""
    printer, known = base_printer(name, beside, process, material)
    stuff = find_material(printer.material, beside)
    coupon = _with_ladder(printer, stuff, profile, seat)
    target = out / name / "coupon"
    _keep_filled_form(target / "readings.csv")
    from partgen.geometry import coupon_solids as solids
    from partgen.geometry.mesh_records import trimesh_of
    from partgen.geometry.tessellate import tessellate
    from partgen.output.stl import write_stl

    with staged(out, name, "coupon", OURS) as folder:
        meshes = {"coupon": trimesh_of(tessellate(solids.gauge(coupon.features)))}
        if coupon.rungs:
            ladder = solids.ladder([rung.socket for rung in coupon.rungs])
            meshes["fit-ladder"] = trimesh_of(tessellate(ladder))
        for stem, mesh in meshes.items():
            write_stl(mesh, folder / f"{stem}.stl", title=f"{name} {stem}")
        write_new(folder / "coupon.3mf", _on_one_plate(meshes, printer, name))
        total = sum(minutes(mesh.volume, float(mesh.bounds[1, 2]), printer) for mesh in meshes.values())
        write_new(folder / "readings.csv", form(coupon).encode())
        write_new(folder / "sheet.html", sheet(coupon, total).encode())
    return CouponFiles(target, coupon, total, known)


def learn(
    name: str,
    csv_text: str,
    source: str,
    *,
    home: Path,
    process: Process = "material-extrusion",
    material: str | None = None,
    caliper: Caliper | None = None,
    date: str | None = None,
    log_of: Path | None = None,
) -> Learned:
    """Readings to HOME/printers/NAME.toml, and the readings themselves beside it.

    What takes it back is noted in the log of the file `log_of`: the profile it came through, else the printer's own.

    Raises InputError where the readings or the name are wrong (then nothing was written), OutsideError on disk trouble.
    """
    printer, known = base_printer(name, home, process, material)
    path = home / "printers" / f"{name}.toml"
    if name in get_args(Process):
        raise PrinterError(Fault("printer", f'"{name}"', "a name of its own; this one stands for any such printer"))
    readings = parse_readings(csv_text, source, features(printer))
    _refuse_too_little(readings, source)
    if readings.material is not None and readings.material != printer.material:
        if known or material is not None:
            said = "--material" if material is not None else f"the printer's file {path}"
            expected = f"{printer.material}, as {said} has it: say which one was printed by --material and in the form"
            raise TrialError(Fault(f"{source}: material", readings.material, expected))
        printer, _ = base_printer(name, home, process, readings.material)  # what the coupon was made for
    try:
        found = calibrate(readings.features, readings.fits, caliper or Caliper(), printer.error)
    except ValueError as error:
        raise TrialError(Fault(source, "", str(error))) from error
    today = date or datetime.datetime.now(tz=datetime.UTC).date().isoformat()
    learned = _as_found(printer, name, readings, found, today)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutsideError(f"{path.parent} cannot be made: {error.strerror or error}") from error
    beside = path.with_name(f"{name}.readings.csv")
    with locked(path) as lock, locked(beside):  # whoever writes a file holds its lock: what a dead one left is swept
        tell(lock)
        old = path.read_bytes().decode() if path.is_file() else ""
        readings_before = beside.read_bytes().decode(errors="replace") if beside.is_file() else None
        what = f"calibration of {name}: {len(readings.prints)} print(s), {_count(readings)} readings"
        text = printer_file(learned, old, name)
        parse_printer(text, str(path))  # never leave a file that cannot be read again
        with noted(log_of or path, {path: (old or None, text), beside: (readings_before, csv_text)}, what):
            write_atomic(beside, csv_text.encode())
            write_atomic(path, text.encode())
    return Learned(path, printer, learned, found, readings)


def _as_found(printer: Printer, name: str, readings: CouponReadings, found: Calibration, today: str) -> Printer:
    """The printer with the errors that its coupon showed."""
    count = _count(readings)
    return printer.model_copy(
        update={
            "error": found.errors,
            "measured": True,
            "source": f"Coupon of {today}: {len(readings.prints)} print(s), {count} readings, {printer.material}",
            "coupon": CouponResult(
                date=today,
                prints=len(readings.prints),
                readings=count,
                file=f"{name}.readings.csv",
                names=found.names,
                covariance=tuple(tuple(float(f"{v:.3e}") for v in row) for row in found.covariance),
                scale=(round(found.scale[0], 6), round(found.scale[1], 6)),
            ),
        }
    )


def _count(readings: CouponReadings) -> int:
    return sum(len(r.reading.values) for r in readings.features) + len(readings.fits)


def _refuse_too_little(readings: CouponReadings, source: str) -> None:
    """Raises TrialError where the readings are of one feature: what is its own cannot be told from the printer's."""
    names = {one.feature.name for one in readings.features} | {f"fit-{one.rung}" for one in readings.fits}
    if len(names) == 1:
        expected = "readings of two features at least; nothing was written, and what is there stays"
        raise TrialError(Fault(source, f"only {names.pop()}", expected))


def printer_file(printer: Printer, old: str, name: str) -> str:
    """The printer's file: `old` with its errors replaced, comments and order kept; or a new one."""
    document = tomlkit.parse(old) if old else tomlkit.parse(_HEAD.format(name=name))
    if wrong := upgrade(document, PRINTER, name):
        raise PrinterError(wrong)
    values = printer.model_dump(exclude_none=True, exclude={"error", "coupon"})
    for key, value in values.items():
        if key not in document or document[key] != _plain(value):
            document[key] = _plain(value)
    errors = document.get("error")
    if errors is None:
        errors = tomlkit.table(is_super_table=True)
        document["error"] = errors
    for kind, error in printer.error.model_dump().items():
        table = errors.get(kind)
        if table is None:
            table = tomlkit.table()
            errors[kind] = table
        for key, value in error.items():
            table[key] = value
    if printer.coupon is not None:
        table = tomlkit.table()
        table.comment("what the estimate found: rows of the covariance are named")
        for key, value in printer.coupon.model_dump().items():
            table[key] = _plain(value)
        document["coupon"] = table
    return tomlkit.dumps(document)


_HEAD = """# {name}: errors measured with a coupon (printed minus model size, in mm).
# value: what is expected; u: standard uncertainty of what one print shares; spread: from feature to feature.
"""


def _plain(value: object) -> object:
    return [_plain(item) for item in value] if isinstance(value, (tuple, list)) else value


def _on_one_plate(meshes: Mapping[str, Trimesh], printer: Printer, name: str) -> bytes:
    """The solids behind one another, 5 mm apart, as one 3MF."""
    import numpy as np

    from partgen.output.threemf import About, PlacedPart, plate_3mf

    parts, y = [], 5.0
    for stem, mesh in meshes.items():
        place = np.eye(4)
        place[:2, 3] = 5.0 - mesh.bounds[0, 0], y - mesh.bounds[0, 1]
        parts.append(PlacedPart(stem, stem, mesh, (place,), "#8a929b", printer.material))
        y += float(mesh.bounds[1, 1] - mesh.bounds[0, 1]) + 5.0
    return plate_3mf(parts, About(f"Coupon for {name}", datetime.datetime.now(tz=datetime.UTC).date()))


def _with_ladder(printer: Printer, material: Material, profile: Path | None, seat: str | None) -> Coupon:
    if profile is None:
        if seat is not None:
            raise InputError(Fault("--seat", seat, "a profile that has this seat: --for PROFILE"))
        return plan_coupon(printer, material, None, Caliper())
    loaded = load_profile(profile).profile
    names = list(loaded.seat)
    chosen = seat or names[0]
    if chosen not in loaded.seat:
        raise ProfileError(Fault(f"{profile}: --seat", chosen, f"one of {', '.join(names)}"))
    return plan_coupon(printer, material, loaded.seat[chosen], loaded.caliper, chosen)


def _keep_filled_form(path: Path) -> None:
    """Readings that somebody typed are never written over."""
    if not path.is_file():
        return
    if is_filled(path.read_text(encoding="utf-8", errors="replace")):
        raise InputError(
            Fault(str(path), "readings", "an empty form: calibrate with these first, or choose another --out")
        )
