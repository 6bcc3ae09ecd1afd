"""Writes docs/reference/*.md from the models, the commands and the shipped files: `poe reference`.

The pages are in the repository; a test fails where they are not what the code says.
"""

from __future__ import annotations

import inspect
import re
import types
import typing
from collections.abc import Iterator
from pathlib import Path

from meanings import ANYWHERE, HERE
from pydantic import BaseModel
from pydantic_core import PydanticUndefined
from typer.testing import CliRunner

from partgen import api
from partgen.cli.app import app
from partgen.kinds import FAMILIES
from partgen.output import result_document
from partgen.profile import log_records, panel_records, part_records, printer_records, profile_record
from partgen.profile.bounds import bounds_of
from partgen.profile.indirect_readings import WAYS
from partgen.profile.library import list_materials, list_printers, list_seats
from partgen.profile.schema import field_texts

NOTE = "<!-- Written from the code by `poe reference`; do not edit. -->\n\n"


def write(folder: Path) -> None:
    """All reference pages into `folder`."""
    folder.mkdir(exist_ok=True)
    pages = {
        "commands.md": commands(),
        "profile.md": profile_page(),
        "log.md": page(
            "Log: NAME.log.toml",
            "Append-only, written by partgen; keep it beside the profile. Lengths in mm.",
            [log_records.Log, log_records.Revision, log_records.BuiltPosition, log_records.Trial, log_records.Snapshot],
        ),
        "printer.md": page(
            "Printers and materials",
            "A file in `printers/` or `materials/` beside the profile hides a shipped one of the same name. "
            f"Shipped printers: {names(list_printers())}. Shipped materials: {names(list_materials())}. "
            f"Known seats: {names(list_seats())}.",
            [
                printer_records.Printer,
                printer_records.PrintErrors,
                printer_records.PrintError,
                printer_records.CouponResult,
                printer_records.Material,
            ],
        ),
        "python.md": python_page(),
        "fit.md": page(
            "fit.json and `predict --json`",
            "Lengths in mm, angles in degrees, forces in N. Each table is what stands under the key that it is named "
            "after; `null` means that it is not known, or that there is none.",
            list(FIT),
        ),
    }
    for name, text in pages.items():
        target = folder / name
        if not target.exists() or target.read_text(encoding="utf-8") != text:
            target.write_text(text, encoding="utf-8")


def commands() -> str:
    """Every command's own help."""
    runner = CliRunner()
    parts = [NOTE + "# Commands\n"]
    listed = sorted(app.registered_commands, key=lambda c: str(c.name or c.callback.__name__))
    for command in listed:
        name = command.name or command.callback.__name__.rstrip("_")
        help_text = runner.invoke(app, [name, "--help"], prog_name="partgen").output.strip()
        parts.append(f"## partgen {name}\n\n```text\n{help_text}\n```\n")
    parts.append(
        "## Exit codes\n\n| code | meaning |\n|---|---|\n| 0 | done, and no check fails |\n"
        "| 1 | done, at least one check fails |\n| 2 | the input is wrong; nothing was written |\n"
        "| 3 | something outside failed: disk, a library |\n"
    )
    return "\n".join(parts)


def profile_page() -> str:
    """The profile's tables, families' keys included."""
    shapes = [c for base in (panel_records.HoleBase, panel_records.SeatBase) for c in (base, *base.__subclasses__())]
    models = [
        profile_record.Profile,
        profile_record.Target,
        panel_records.Caliper,
        panel_records.Reference,
        panel_records.Panel,
        panel_records.Gap,
        panel_records.Spacing,
        profile_record.Recheck,
        *shapes,
    ]
    # what several families share stands once, before the first of them
    models += [
        base for keys in FAMILIES.values() for base in reversed(keys.__mro__) if issubclass(base, part_records.PartSpec)
    ]
    models += [part_records.Position]
    return (
        page(
            "Profile: NAME.toml",
            "One TOML file per panel: what was measured and what is wanted. A *reading* is a number, a list of "
            'repeats, text with a unit ("0.172 in", "11/64 in"), or text with its own uncertainty ("11.51 ± 0.04 mm"). '
            "Bare numbers are in the profile's `unit`.",
            models,
        )
        + other_ways()
    )


def other_ways() -> str:
    """What may stand instead of a plain reading, from what the code says of each way."""
    rows = []
    for keys, way in WAYS.items():
        about = " ".join(inspect.cleandoc(way.__doc__ or "").partition("\n\n")[0].split())
        rows.append(f"| `{{ {', '.join(f'{key} = ...' for key in sorted(keys))} }}` | {about} |")
    head = (
        "\n## Instead of a plain reading\n\nWhere the calipers do not reach, a reading may be written another way:\n\n"
    )
    return head + "| written | meaning |\n|---|---|\n" + "\n".join(rows) + "\n"


def python_page() -> str:
    """The public Python functions: signature, what they say of themselves, and their examples as code."""
    parts = [
        NOTE + "# Python\n",
        "The whole job in three functions. Everything is typed; errors are `InputError` (what a person wrote is wrong: "
        "nothing was written) and `OutsideError` (disk or a library failed) of `partgen.core.errors`, and their text "
        "is meant to be shown. The examples run in the tests, in a folder that holds the README's profile.\n",
    ]
    for function in (api.load_profile, api.plan, api.build):
        signature = re.sub(r"(: |-> )'([^']*)'", r"\1\2", str(inspect.signature(function)))
        if len(signature) > 100:
            signature = re.sub(r"(?<=[(,]) ?(?=[\w*]+(?::|,))", "\n    ", signature).replace(") ->", ",\n) ->")
        text = inspect.cleandoc(function.__doc__ or "")
        said, _, example = text.partition("\n>>> ")
        parts.append(f"## {function.__name__}\n\n```python\n{function.__name__}{signature}\n```\n\n{said.strip()}\n")
        parts.append(f"```pycon\n>>> {example}\n```\n")
    parts.append(
        "What comes back: `LoadedProfile.profile` holds the tables of [the profile](profile.md), `plan` gives and "
        "`BuiltSet.document` holds the keys of [fit.json](fit.md).\n"
    )
    return "\n".join(parts)


def page(title: str, intro: str, models: list[type[BaseModel]]) -> str:
    """A page with one table per model."""
    return NOTE + f"# {title}\n\n{intro}\n\n" + "\n".join(section(model) for model in dict.fromkeys(models))


def section(model: type[BaseModel]) -> str:
    """One model as a heading, its docstring and a table of its own keys (not its bases'), without empty columns."""
    about = inspect.cleandoc(model.__doc__ or "")  # its own: what a base says stands under the base
    notes = field_texts(model)
    rows = [["key", "kind", "default", "plausible", "meaning"]]
    for name in model.__annotations__:
        field = model.model_fields.get(name)
        if field is None:
            continue
        default = "needed" if field.is_required() else "" if field.default is PydanticUndefined else show(field.default)
        bound = str(bounds_of(model, name) or "")
        rows.append(
            [
                f"`{field.alias or name}`",
                type_name(field.annotation),
                default,
                bound,
                notes.get(name) or meaning(model, name),
            ]
        )
    columns = [c for c in zip(*rows, strict=True) if any(c[1:]) and not (model in FIT and c[0] == "default")]
    shown = ([cell.replace("|", "\\|").replace("\n", " ") for cell in row] for row in zip(*columns, strict=True))
    lines = [f"| {' | '.join(row)} |" for row in shown]
    table = "\n".join([lines[0], "|---" * len(columns) + "|", *lines[1:]]) if len(rows) > 1 else ""
    return f"## {heading(model)}\n\n{about}\n\n{table}\n"


def meaning(model: type[BaseModel], name: str) -> str:
    """What a key means that has no text of its own in the code."""
    return HERE.get(f"{model.__name__}.{name}") or ANYWHERE.get(name, "")


def heading(model: type[BaseModel]) -> str:
    """A model as its table stands in the file, where it is one; else its name."""
    shape = model.model_fields.get("shape")
    if issubclass(model, (panel_records.HoleBase, panel_records.SeatBase)):
        table = "[hole.NAME]" if issubclass(model, panel_records.HoleBase) else "[seat.NAME]"
        return f'`{table}` with `shape = "{typing.get_args(shape.annotation)[0]}"`' if shape else f"Every `{table}`"
    if issubclass(model, part_records.PartSpec):
        own = next((kind for kind, keys in FAMILIES.items() if keys is model), None)
        kinds = [kind for kind, keys in FAMILIES.items() if issubclass(keys, model)]
        shared = "every kind" if len(kinds) == len(FAMILIES) else ", ".join(kinds)
        return f'`[part_records.NAME]` with `kind = "{own}"`' if own else f"`[part_records.NAME]`: shared by {shared}"
    return TABLES.get(model, model.__name__)


def inside(model: type[BaseModel], path: str = "") -> Iterator[tuple[type[BaseModel], str]]:
    """A record and all records under its keys, outer ones first, each with where it stands."""
    yield model, path
    for name, field in model.model_fields.items():
        for kind in records_of(field.annotation):
            yield from inside(kind, f"{path}.{name}" if path else name)


def records_of(annotation: object) -> Iterator[type[BaseModel]]:
    """The records that a key may hold."""
    if inspect.isclass(annotation) and issubclass(annotation, BaseModel):
        yield annotation
    for one in typing.get_args(annotation):
        yield from records_of(one)


FIT: dict[type[BaseModel], list[str]] = {}
for _model, _path in inside(result_document.FitDocument):
    FIT.setdefault(_model, []).append(_path)

TABLES: dict[type[BaseModel], str] = {
    **{model: ", ".join(f"`{path}`" for path in paths) for model, paths in FIT.items()},
    result_document.FitDocument: "The whole document",
    profile_record.Profile: "The top of the file",
    profile_record.Target: "`[target]`",
    panel_records.Caliper: "`[caliper]`",
    panel_records.Reference: "`[[caliper.reference]]`",
    panel_records.Panel: "`[panel]`",
    panel_records.Gap: "`[[panel.gap]]`",
    panel_records.Spacing: "`[[spacing]]`",
    profile_record.Recheck: "`[[recheck]]`",
    part_records.Position: "`[[position]]`",
    log_records.Log: "The top of the file",
    log_records.Revision: "`[[revision]]`",
    log_records.BuiltPosition: "`[[revision.built]]`",
    log_records.Trial: "`[[trial]]`",
    log_records.Snapshot: "`[[snapshot]]`",
    printer_records.Printer: "A printer: the top of the file",
    printer_records.PrintErrors: "`[error]`",
    printer_records.PrintError: "`[error.hole]`, `[error.peg]`, ...",
    printer_records.CouponResult: "`[coupon]`",
    printer_records.Material: "A material",
}
"""How each record is written in its file."""


def type_name(annotation: object) -> str:
    """A field's kind in plain words."""
    origin, inner = typing.get_origin(annotation), typing.get_args(annotation)
    if origin is typing.Literal:
        return ", ".join(f"`{value}`" for value in inner)
    if origin in (typing.Union, types.UnionType):
        return " or ".join(dict.fromkeys(type_name(a) for a in inner if a is not type(None)))
    if origin is typing.Annotated:
        return type_name(inner[0])
    if origin is tuple:
        listed = [type_name(a) for a in inner if a is not Ellipsis]
        return f"list of {PLURAL.get(listed[0], listed[0])}" if len(listed) == 1 else f"{len(listed)} values"
    if origin is dict:
        return "tables by name"
    return "table" if next(records_of(annotation), None) else PLAIN.get(annotation, getattr(annotation, "__name__", ""))


PLAIN: dict[object, str] = {float: "number", int: "whole number", str: "text", bool: "true or false"}
PLURAL = {"table": "tables", "number": "numbers", "text": "texts", "2 values": "pairs"}


def show(default: object) -> str:
    """A default as a person would write it in the file."""
    if isinstance(default, bool):
        return str(default).lower()
    if default is None or default == () or isinstance(default, BaseModel):
        return ""
    if hasattr(default, "values") and isinstance(default.values, tuple):
        return ", ".join(f"{value:g}" for value in default.values)
    return f"{default:g}" if isinstance(default, float) else str(default)


def names(files: object) -> str:
    return ", ".join(f"`{name}`" for name in files)  # type: ignore[attr-defined]


if __name__ == "__main__":
    write(Path(__file__).parent / "reference")
