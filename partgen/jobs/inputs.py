"""Everything one revision is made from, gathered from files or from the log. Writes nothing."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import tomlkit

from partgen.core.errors import Fault, InputError, LogError, PrinterError
from partgen.profile.library import material_text, parse_material, parse_printer, printer_text
from partgen.profile.load import LoadedProfile, content_hash, load_profile, parse_profile
from partgen.profile.log_file import log_path, read_log
from partgen.profile.log_records import Log, Revision, Snapshot, revision_id
from partgen.profile.printer_records import Material, Printer
from partgen.profile.profile_record import Profile


@dataclass(frozen=True)
class Inputs:
    """What a revision is made from. `log` holds only what came before it."""

    path: Path
    name: str
    profile: Profile
    printer_name: str
    printer: Printer
    materials: Mapping[str, Material]
    log: Log
    snapshots: tuple[Snapshot, ...]
    """The texts of all of these: profile first, printer second, then materials."""
    seed: int
    only: tuple[str, ...] = ()
    """Labels, where these alone are to be made."""

    @property
    def content(self) -> str:
        """Hash of what is measured and wanted."""
        return content_hash(self.profile)


def gather(
    given: Path | LoadedProfile, *, printer: str | None = None, seed: int = 0, layer: float | None = None
) -> Inputs:
    """Inputs as the files stand now, or as a profile was loaded; `layer` is another layer height, mm, than the
    printer's file says. Raises InputError where any of them is wrong."""
    loaded = given if isinstance(given, LoadedProfile) else load_profile(given)
    path = loaded.path
    printer_name = printer or loaded.profile.printer
    source, text = printer_text(printer_name, path)
    if layer is not None:
        text = with_layer(text, layer)
    machine = parse_printer(text, str(source))
    snapshots = [snapshot("profile", path.name, loaded.text), snapshot("printer", printer_name, text)]
    materials = {}
    for name in material_names(loaded.profile, machine):
        source, text = _material(name, path, loaded.profile)
        materials[name] = parse_material(text, str(source))
        snapshots.append(snapshot("material", name, text))
    return Inputs(
        path=path,
        name=loaded.name,
        profile=loaded.profile,
        printer_name=printer_name,
        printer=machine,
        materials=materials,
        log=read_log(log_path(path)),
        snapshots=tuple(snapshots),
        seed=seed,
    )


def with_layer(text: str, layer: float) -> str:
    """A printer's text with another layer height: what a revision is made from, so the log keeps it like this."""
    document = tomlkit.parse(text.removeprefix("\ufeff"))
    if "layer_height" not in document:
        return f"layer_height = {layer}\n{text}"
    document["layer_height"] = layer
    return tomlkit.dumps(document)


def _material(name: str, path: Path, profile: Profile) -> tuple[Path, str]:
    """A material's file and text. Raises PrinterError, which names the part that asks for it."""
    try:
        return material_text(name, path)
    except PrinterError as error:
        part = next((part for part, spec in profile.part.items() if spec.material == name), None)
        if part is None:
            raise
        where = f"{path}: [part.{part}] material"
        faults = (replace(one, where=where) if one.where == "material" else one for one in error.faults)
        raise PrinterError(*faults) from error


def gather_revision(path: Path, wanted: str) -> tuple[Inputs, Revision]:
    """Inputs as they stood when a revision was built, from the log alone.

    The profile's own file may have changed since or be gone. Raises LogError where the log does
    not hold that revision or its texts.
    """
    where = log_path(path)
    log = read_log(where)
    revision = log.find(revision_id(wanted))
    if revision is None:
        known = ", ".join(r.id for r in log.revision)
        there = f"built so far: {known}" if known else f"nothing has been built yet; `partgen build {path}` comes first"
        raise LogError(Fault(str(where), wanted, there))
    texts = {digest: log.text(digest) for digest in (revision.profile_hash, revision.printer_hash)}
    texts |= {digest: log.text(digest) for digest in revision.material_hashes}
    found = {digest: text for digest, text in texts.items() if text is not None}
    if len(found) < len(texts):
        lost = next(digest for digest in texts if digest not in found)
        raise LogError(Fault(str(where), wanted, f"the text with hash {lost[:12]} is missing from the log"))
    source = f"{where} ({wanted})"
    first = log.find(revision.repeats) if revision.repeats is not None else None
    materials = {found[d].name: parse_material(found[d].text, source) for d in revision.material_hashes}
    return (
        Inputs(
            path=path,
            name=path.stem,
            profile=parse_profile(found[revision.profile_hash].text, source),
            printer_name=revision.printer,
            printer=parse_printer(found[revision.printer_hash].text, source),
            materials=materials,
            log=log.before(first or revision),
            snapshots=tuple(found.values()),
            seed=revision.seed,
            only=revision.only,
        ),
        revision,
    )


def material_names(profile: Profile, printer: Printer) -> list[str]:
    """Names of every material in use, the printer's first."""
    wanted: Iterable[str | None] = (part.material for part in profile.part.values())
    return list(dict.fromkeys([printer.material, *(name for name in wanted if name)]))


def snapshot(of: str, name: str, text: str) -> Snapshot:
    """A text with its hash, as the log keeps it."""
    return Snapshot.model_validate(
        {"of": of, "name": name, "text": text, "hash": hashlib.sha256(text.encode()).hexdigest()}
    )


def changed_since(inputs: Inputs) -> str:
    """The last revision's id where what is measured and wanted has changed since; else ""."""
    return last_differs(inputs.log, inputs.path, inputs.content)


def last_differs(log: Log, path: Path, content: str) -> str:
    """The last revision's id where its profile had another content hash; else ""."""
    if not log.revision:
        return ""
    last = log.revision[-1]
    kept = log.text(last.profile_hash)
    if kept is None or content_hash(parse_profile(kept.text, f"{log_path(path)} ({last.id})")) == content:
        return ""
    return last.id


def only_of(inputs: Inputs, labels: Iterable[str]) -> Inputs:
    """The same with these labels alone to be made; all where there are none. Raises InputError for an unknown one."""
    known = {position.label.casefold(): position.label for position in inputs.profile.position}
    asked = [label.strip() for label in labels if label.strip()]
    if wrong := [label for label in asked if label.casefold() not in known]:
        there = ", ".join(known.values())
        raise InputError(*(Fault("--only", label, f"labels of positions ({there})") for label in wrong))
    wanted = {known[label.casefold()] for label in asked}
    return replace(inputs, only=tuple(label for label in known.values() if label in wanted))


def current(inputs: Inputs) -> Revision | None:
    """The last revision where another build would bring nothing new: what is measured and wanted, printer, materials
    and the trials that count are those it was made from, and it holds what is asked for."""
    log = inputs.log
    if not log.revision or changed_since(inputs):
        return None
    last = log.revision[-1]
    _, printer, *materials = (snapshot.hash for snapshot in inputs.snapshots)
    made_from = (last.printer, last.printer_hash, last.material_hashes, last.seed)
    if made_from != (inputs.printer_name, printer, tuple(materials), inputs.seed):
        return None
    if log.before(last).counting() != log.counting():
        return None
    asked = set(inputs.only)
    held = asked <= {built.label for built in last.built} if asked else not last.only
    return last if held else None


def with_profile(inputs: Inputs, profile: Profile) -> Inputs:
    """The same with another profile in memory, for previews; its text snapshot no longer matches."""
    return replace(inputs, profile=profile)
