"""Printers, materials and seats as files: beside a profile, or shipped with partgen."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Literal, TypeVar

from pydantic import ValidationError

from partgen.core.errors import Fault, PrinterError, ProfileError
from partgen.core.formats import MATERIAL, PRINTER, upgrade
from partgen.profile.fields import Record
from partgen.profile.load import read_text
from partgen.profile.printer_records import Material, Printer
from partgen.profile.suggestions import as_written, nearest, one_of

Kind = Literal["printers", "materials", "seats"]
_R = TypeVar("_R", bound=Record)


def shipped_folder(kind: Kind) -> Path:
    """The folder of files that ship: inside an installed package, or profiles/ of a checkout."""
    package = Path(__file__).resolve().parent.parent
    installed = package / "shipped" / kind
    return installed if installed.is_dir() else package.parent / "profiles" / kind


def _files(kind: Kind, beside: Path | None) -> dict[str, Path]:
    """Files of a kind by name; one in the folder KIND/ beside the profile hides a shipped one."""
    folders = [shipped_folder(kind)]
    if beside is not None:
        folders.append((beside if beside.is_dir() else beside.parent) / kind)
    return {
        path.stem: path
        for folder in folders
        if folder.is_dir()
        for path in sorted(folder.glob("*.toml"))
        if not path.name.endswith(".log.toml")
    }


def list_printers(beside: Path | None = None) -> dict[str, Path]:
    """Printer files by name. `beside` is a profile's path or its folder."""
    return _files("printers", beside)


def list_materials(beside: Path | None = None) -> dict[str, Path]:
    """Material files by name. `beside` is a profile's path or its folder."""
    return _files("materials", beside)


def list_seats(beside: Path | None = None) -> dict[str, Path]:
    """Files of known seats by name. `beside` is a profile's path or its folder."""
    return _files("seats", beside)


def find_printer(name: str, beside: Path | None = None) -> Printer:
    """The printer of that name. Raises PrinterError if there is none, or its file is wrong."""
    return _read(Printer, _find("printers", name, beside))


def find_material(name: str, beside: Path | None = None) -> Material:
    """The material of that name, whatever the case of its letters. Raises PrinterError likewise."""
    return _read(Material, _find("materials", name, beside))


def printer_text(name: str, beside: Path | None = None) -> tuple[Path, str]:
    """Where the printer of that name stands, and its file's text: what a log keeps of it."""
    path = _find("printers", name, beside)
    return path, _text(path)


def material_text(name: str, beside: Path | None = None) -> tuple[Path, str]:
    """Where the material of that name stands, and its file's text."""
    path = _find("materials", name, beside)
    return path, _text(path)


def parse_printer(text: str, source: str) -> Printer:
    """A printer from its file's text. Raises PrinterError naming `source`."""
    return _parse(Printer, text, source)


def parse_material(text: str, source: str) -> Material:
    """A material from its file's text. Raises PrinterError naming `source`."""
    return _parse(Material, text, source)


def _find(kind: Kind, name: str, beside: Path | None) -> Path:
    files = _files(kind, beside)
    if name in files:  # only ever a listed name, so no path can be smuggled in
        return files[name]
    same = [path for stem, path in files.items() if stem.casefold() == name.casefold()]
    if same:
        return same[-1]
    raise PrinterError(
        Fault(kind.removesuffix("s"), as_written(name), f"there is none of this name; {one_of(name, files)}")
    )


def _read(model: type[_R], path: Path) -> _R:
    return _parse(model, _text(path), str(path))


def _text(path: Path) -> str:
    try:
        return read_text(path)
    except ProfileError as error:
        raise PrinterError(*error.faults) from error


def _parse(model: type[_R], text: str, source: str) -> _R:
    try:
        data = tomllib.loads(text.removeprefix("\ufeff"))
    except (ValueError, RecursionError) as error:
        raise PrinterError(Fault(source, "", f"this is not TOML: {error}")) from error
    if wrong := upgrade(data, PRINTER if model is Printer else MATERIAL, source):
        raise PrinterError(wrong)
    try:
        return model.model_validate(data, context={"unit": "mm"})
    except ValidationError as error:
        raise PrinterError(
            *(_fault(model, source, e["loc"], e["type"], e["input"], e["msg"]) for e in error.errors())
        ) from error


def _fault(
    model: type[Record], source: str, loc: tuple[int | str, ...], kind: str, value: object, message: str
) -> Fault:
    where = f"{source}: {'.'.join(str(item) for item in loc)}"
    if kind == "extra_forbidden":
        close = nearest(loc[-1], model.model_fields)
        return Fault(where, "", "unknown key" + (f'; did you mean "{close}"?' if close else ""))
    if kind == "missing":
        return Fault(where, "nothing", "this key is needed")
    return Fault(where, as_written(value), message.removeprefix("Value error, ").replace("Input should be", "expected"))
