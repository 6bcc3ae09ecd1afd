"""`partgen start`: plain questions, or a flag for each, and a first profile that is valid and commented."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from partgen.cli.common import EXIT_INTERRUPTED, say
from partgen.cli.start_answers import Lengths, one_of, one_of_units, some_text, spot, whole_number
from partgen.cli.start_draft import StartDraft
from partgen.core.cautions import HANDS_IN

if TYPE_CHECKING:
    from partgen.core.units import Unit
    from partgen.profile.draft import Draft, Shape, Spot

T = TypeVar("T")

_SEAT_LIKE = 'such as "rectangle 3.3 3.3" or "round 6"'


def _flag(name: str, help_text: str, metavar: str = "TEXT") -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(name, help=help_text, metavar=metavar, show_default=False)
    return option


def start(
    name: Annotated[
        str | None, typer.Argument(metavar="NAME", help="The profile's name, or a path.", show_default=False)
    ] = None,
    title: Annotated[str | None, _flag("--title", "What the panel belongs to.")] = None,
    unit: Annotated[str | None, _flag("--unit", "mm or inch: the unit of bare numbers.", "UNIT")] = None,
    rows: Annotated[str | None, _flag("--rows", "Rows of positions in a grid.", "N")] = None,
    columns: Annotated[str | None, _flag("--columns", "Positions in each row.", "N")] = None,
    pitch: Annotated[str | None, _flag("--pitch", "Middle to middle along a row.", "LENGTH")] = None,
    row_pitch: Annotated[str | None, _flag("--row-pitch", "Middle to middle from row to row.", "LENGTH")] = None,
    at: Annotated[
        list[str] | None, _flag("--at", 'One position of a list, as "LABEL X Y"; repeat it. Instead of a grid.')
    ] = None,
    hole: Annotated[str | None, _flag("--hole", 'Shape and sizes: "rectangle 11.52 6.31", "round 9.0".')] = None,
    thickness: Annotated[str | None, _flag("--thickness", "Of the panel.", "LENGTH")] = None,
    seat: Annotated[str | None, _flag("--seat", 'Shape and sizes: "rectangle 3.28 3.27", "tube 4 2.5".')] = None,
    seat_length: Annotated[
        str | None, _flag("--seat-length", "What a socket may take hold of, down from the seat's top.", "LENGTH")
    ] = None,
    travel: Annotated[str | None, _flag("--travel", "How far the seat moves when pressed.", "LENGTH")] = None,
    drop: Annotated[
        str | None, _flag("--drop", "At the first position: panel face down to the seat's top.", "LENGTH")
    ] = None,
    proud: Annotated[str | None, _flag("--proud", "Wanted above the panel face, at rest.", "LENGTH")] = None,
    kind: Annotated[str | None, _flag("--kind", "Kind of part.")] = None,
    resolution: Annotated[str | None, _flag("--resolution", "Step of the calipers' display.", "LENGTH")] = None,
    limit_of_error: Annotated[
        str | None, _flag("--limit-of-error", "Of the calipers, plus or minus, from the maker's sheet.", "LENGTH")
    ] = None,
    printer: Annotated[str | None, _flag("--printer", "One that ships, or a file in printers/.", "NAME")] = None,
    folder: Annotated[Path, typer.Option("--folder", metavar="DIR", help="Where profiles are kept.")] = Path(
        "profiles"
    ),
    yes: Annotated[bool, typer.Option("--yes", help="Take the usual answer wherever none is given.")] = False,
    schema: Annotated[
        Path | None,
        typer.Option("--schema", metavar="FILE", help="Only write the JSON Schema of profiles, for an editor."),
    ] = None,
) -> None:
    """Asks about the panel and writes a first profile. Every question has its flag."""
    from partgen.core.errors import Fault, InputError, ProfileError
    from partgen.core.files import make_folder, write_locked

    if schema is not None:
        import json

        from partgen.profile.schema import profile_schema

        write_locked(schema, (json.dumps(profile_schema(), indent=1, ensure_ascii=False) + "\n").encode())
        say(f"Wrote {schema}.")
        return
    from partgen.profile.load import parse_profile, profile_name

    if not name and not yes and sys.stdin.isatty():
        print("A name for the profile, such as my-panel: ", end="", file=sys.stderr, flush=True)
        name = sys.stdin.readline().strip()
    if not name:
        raise InputError(Fault("partgen start", "no name", "give the profile's name, such as my-panel"))
    path = Path(name) if name.endswith(".toml") else folder / f"{name}.toml"
    stem = profile_name(path)
    if path.exists():
        raise ProfileError(Fault(str(path), "", "this profile exists already; choose another name or edit it"))
    if yes:
        _refuse_gaps(at, columns=columns, pitch=pitch, hole=hole, seat=seat, seat_length=seat_length, drop=drop)
    _greet(yes)
    kept = StartDraft(path)
    if not yes:
        _offer(kept)
    try:
        draft = _draft(
            _Asker(yes, kept), stem, path,
            title=title, unit=unit, rows=rows, columns=columns, pitch=pitch, row_pitch=row_pitch, at=at, hole=hole,
            thickness=thickness, seat=seat, seat_length=seat_length, travel=travel, drop=drop, proud=proud, kind=kind,
            resolution=resolution, limit_of_error=limit_of_error, printer=printer,
        )  # fmt: skip
    except KeyboardInterrupt:
        answered = f"Your answers are in {kept.path}; start {name} again to go on." if kept.answers else ""
        say(f"\nNo profile was written. {answered}".rstrip())
        raise typer.Exit(EXIT_INTERRUPTED) from None
    from partgen.profile.draft import profile_text

    text = profile_text(draft)
    parse_profile(text, str(path))
    make_folder(path.parent)
    if path.exists():  # someone was quicker while the questions were asked
        raise ProfileError(Fault(str(path), "", "this profile exists already; choose another name or edit it"))
    write_locked(path, text.encode())
    if kept.answers:
        kept.done()
    count = len(draft.spots)
    say(f"Wrote {path} with {count} position{'s' if count > 1 else ''}.")
    say(f"Next: `partgen sheet {path}` prints a measuring sheet, `partgen measure {path}` takes the readings.")


def _greet(yes: bool) -> None:
    if not yes and sys.stdin.isatty():
        say(HANDS_IN)
        say('Lengths may name their unit: 4.31, "0.172 in", "11/64 in". Enter takes the answer in [brackets].\n')


def _offer(kept: StartDraft) -> None:
    """Go on with the answers of an earlier start, where there are any and the person wants to."""
    earlier = kept.earlier()
    if not earlier:
        return
    say(f"{len(earlier)} answers of an earlier start are in {kept.path}.")
    print("Go on with them (Enter), or begin anew (n): ", end="", file=sys.stderr, flush=True)
    if not sys.stdin.readline().strip().lower().startswith("n"):
        kept.go_on(earlier)


def _refuse_gaps(at: list[str] | None, **given: str | None) -> None:
    """With --yes, name every flag at once that has no usual answer and was not given."""
    from partgen.core.errors import Fault, InputError

    in_grid = () if at else ("columns", "pitch") if given["columns"] != "1" else ("columns",)
    open_ones = [key for key in (*in_grid, "hole", "seat", "seat_length", "drop") if given[key] is None]
    if open_ones:
        flags = [f"--{key.replace('_', '-')}" for key in open_ones]
        raise InputError(*(Fault(flag, "nothing", "this has no usual answer, so --yes needs it") for flag in flags))


class _Asker:
    """Gets each answer from its flag, from the person, or from its default; all through one check."""

    def __init__(self, yes: bool, kept: StartDraft) -> None:
        self.yes, self.kept = yes, kept

    def __call__(
        self, flag: str, question: str, check: Callable[[str], T], given: str | None, default: str | None
    ) -> T:
        """The checked answer. Raises InputError for a bad flag, or where nothing more can be asked."""
        from partgen.core.errors import Fault, InputError

        if given is not None:
            try:
                return check(given.strip())
            except ValueError as error:
                raise InputError(Fault(flag, f'"{given}"', f"expected {error}")) from error
        if self.yes:
            if default is None:
                raise InputError(Fault(flag, "nothing", f"this has no usual answer; say {flag}: {question}"))
            return check(default)
        while True:
            shown = f" [{default}]" if default else ""
            print(f"{question}{shown}: ", end="", file=sys.stderr, flush=True)
            before = self.kept.take(flag)
            if before is not None:
                say(before)
            line = sys.stdin.readline() if before is None else f"{before}\n"
            if not line:
                print(file=sys.stderr)
                kept = f"; what was answered is kept in {self.kept.path}" if self.kept.answers else ""
                raise InputError(Fault(flag, "the end of the answers", f"still to be answered: {question}{kept}"))
            answer = line.strip() or default or ""
            try:
                checked = check(answer)
            except ValueError as error:
                say(f"  expected {error}")
                continue
            self.kept.keep(flag, answer)
            return checked


def _draft(ask: _Asker, stem: str, path: Path, *, at: list[str] | None, **given: str | None) -> Draft:
    """Every question in its order."""
    from partgen.kinds import FAMILIES, PLAIN
    from partgen.profile.draft import HOLE_SIZES, SEAT_SIZES, SHAPE_LIKE, Draft, shape_from
    from partgen.profile.library import list_printers
    from partgen.profile.panel_records import Caliper

    title = ask("--title", "What does the panel belong to", some_text, given["title"], stem.replace("-", " "))
    unit = ask("--unit", "Unit of bare numbers, mm or inch", one_of_units, given["unit"], "mm")
    length = Lengths(unit)
    spots = _spots(ask, length, at, given)
    hole = ask(
        "--hole",
        f"The hole's shape ({', '.join(HOLE_SIZES)}) and its sizes, width (x) before depth (y); {SHAPE_LIKE}",
        lambda text: shape_from(text, "hole", unit), given["hole"], None,
    )  # fmt: skip
    thickness = ask(
        "--thickness", "The panel's thickness, or Enter to read it later",
        lambda text: length.of("panel", "thickness")(text) if text else "", given["thickness"], "",
    )  # fmt: skip
    seat = ask(
        "--seat", f"What the part sits on: its shape ({', '.join(SEAT_SIZES)}) and sizes; {_SEAT_LIKE}",
        lambda text: shape_from(text, "seat", unit), given["seat"], None,
    )  # fmt: skip
    _recognise(seat, unit, path)
    seat_length = ask(
        "--seat-length", "How much of it a socket may take hold of, down from its top",
        length.of("seat", "length"), given["seat_length"], None,
    )  # fmt: skip
    travel = ask(
        "--travel", "How far it moves when pressed", length.of("seat", "travel"), given["travel"], "0",
    )  # fmt: skip
    kinds = list(PLAIN)
    kind = ask(
        "--kind", f"Kind of part ({', '.join(kinds)})", one_of(kinds),
        given["kind"] or (kinds[0] if len(kinds) == 1 else None), kinds[0],
    )  # fmt: skip
    first = spots[0].label
    drop = ask(
        "--drop", f"Drop at {first}: panel face down to its top, depth rod square to the panel; "
        "minus its height over the face where it ends above it",
        length.of("position", "drop"), given["drop"], None,
    )  # fmt: skip
    usual = FAMILIES[kind].model_fields["proud"].default
    proud = ask(
        "--proud", "How far the part shall stand above the panel face",
        length.of("part", "proud"), given["proud"], f"{usual:.1f} mm" if unit == "inch" else f"{usual:.1f}",
    )  # fmt: skip
    metric = unit == "mm"
    resolution = ask(
        "--resolution", "Step of the calipers' display", length.of("caliper", "resolution"),
        given["resolution"], f"{Caliper().resolution:g}" if metric else "0.0005",
    )  # fmt: skip
    limit = ask(
        "--limit-of-error", "The calipers' limit of error, plus or minus, from the maker's sheet",
        length.of("caliper", "limit_of_error"), given["limit_of_error"],
        f"{Caliper().limit_of_error:g}" if metric else "0.0012",
    )  # fmt: skip
    printers = list(list_printers(path))
    printer = ask("--printer", f"Printer ({', '.join(printers)})", one_of(printers), given["printer"], printers[0])
    return Draft(
        title=title, unit=unit, resolution=resolution, limit_of_error=limit, printer=printer, kind=kind, hole=hole,
        seat=seat, seat_length=seat_length, travel=travel, proud=proud, spots=spots, thickness=thickness or None,
        drops=((first, drop),),
    )  # fmt: skip


def _recognise(seat: Shape, unit: Unit, path: Path) -> None:
    """Say so when the library knows the seat."""
    from partgen.core.units import parse_length
    from partgen.profile.seats import in_words, known_seats, recognise

    sizes = {key: parse_length(written, unit).mm for key, written in seat.sizes if key != "teeth"}
    teeth = next((int(written) for key, written in seat.sizes if key == "teeth"), 0)
    found = recognise(seat.shape, {key: (mm, 0.05) for key, mm in sizes.items()}, known_seats(path), teeth=teeth)
    for line in in_words(next(iter(sizes.values())), found):
        say(f"  {line}")


def _spots(ask: _Asker, length: Lengths, at: list[str] | None, given: dict[str, str | None]) -> tuple[Spot, ...]:
    """A grid, or a list of labels with coordinates."""
    from partgen.core.units import MM_PER, parse_length
    from partgen.profile.draft import grid

    spots: list[Spot] = []
    place = spot(length, spots)
    if at:
        for written in at:  # each is held against those before it
            spots.append(ask("--at", "Label, x and y", place, written, None))
        return tuple(spots)
    rows = ask("--rows", "How many rows of positions (0: no rows, I list them)", whole_number(0), given["rows"], "1")
    if rows == 0:
        while True:
            said = "Label, x and y of a position" + (", or Enter when all are listed" if spots else "")
            one = ask("--at", said, lambda text: place(text) if text or not spots else None, None, None)
            if one is None:
                return tuple(spots)
            spots.append(one)
    columns = ask("--columns", "How many positions in a row", whole_number(1), given["columns"], None)
    if rows * columns > 10_000:
        from partgen.core.errors import Fault, InputError

        raise InputError(Fault("--rows", f"{rows} rows of {columns}", "expected at most 10,000 positions"))
    apart = length.of("position", "at")
    pitch = row_pitch = "0"
    if columns > 1:
        pitch = ask("--pitch", "From middle to middle along a row", apart, given["pitch"], None)
    if rows > 1:
        row_pitch = ask("--row-pitch", "From row to row", apart, given["row_pitch"], None)
    scale = MM_PER[length.unit]
    return grid(
        rows, columns, parse_length(pitch, length.unit).mm / scale, parse_length(row_pitch, length.unit).mm / scale
    )
