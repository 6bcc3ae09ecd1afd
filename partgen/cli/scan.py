"""`partgen scan`: hole positions and outlines from a flatbed scan, shown before anything is written."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from partgen.cli.common import OUTPUTS, OutDir, PrinterName, Quiet, Seed, say, show_table
from partgen.core.cautions import HANDS_IN

if TYPE_CHECKING:
    from partgen.profile.profile_record import Profile
    from partgen.scan.corrected import Corrected
    from partgen.scan.scan_records import Picture, Scan

_HELP = """\
distance A1 A6 95.0 mm    a calipers distance between two openings' middles ("outside" or "inside" behind it: walls)
leave out A3              this one is no opening
merge A3 B3               these two are one opening
rename A3 S1              call A3 S1
write                     put positions and holes into the profile
stop                      leave the profile as it is"""


@dataclass
class _Session:
    """A scan while it is corrected at the prompt."""

    profile: Profile
    now: Corrected
    part: str | None = None

    def scan(self) -> Scan:
        return self.now.settle(self.profile)

    def correct(self, line: str) -> None:
        """Take one correction as typed. Raises InputError."""
        from partgen.core.errors import Fault, InputError
        from partgen.scan.scale import parse_distance

        words = line.split()
        match words:
            case ["distance", *_]:
                given = line.split(maxsplit=1)[1] if len(words) > 1 else ""
                self.now = self.now.measured(parse_distance(given, self.profile.unit))
            case ["leave", "out", label]:
                self.now = self.now.leave_out(label)
            case ["merge", label, other]:
                self.now = self.now.merge(label, other)
            case ["rename", label, new]:
                self.now = self.now.rename(label, new, self.profile)
            case _:
                raise InputError(Fault("this line", f'"{line}"', "one of:\n" + _HELP))


def scan(
    profile: Annotated[Path | None, typer.Argument(metavar="PROFILE", help="The profile.", show_default=False)] = None,
    image: Annotated[
        Path | None,
        typer.Argument(
            metavar="IMAGE",
            help="A flatbed scan, or a photo with the marker sheet in it: PNG, TIFF, JPEG, BMP.",
            show_default=False,
        ),
    ] = None,
    sheet: Annotated[
        Path | None,
        typer.Option(
            "--sheet",
            metavar="FILE.pdf",
            help="Write the marker sheet that a photo needs, and nothing else.",
            show_default=False,
        ),
    ] = None,
    paper: Annotated[
        Literal["a4", "letter", "strip"], typer.Option("--paper", help="The sheet's paper; strip: for narrow panels.")
    ] = "a4",
    sheet_mm: Annotated[
        float | None,
        typer.Option(
            "--sheet-mm",
            metavar="MM",
            help="What the calipers read between the printed sheet's two marks.",
            show_default=False,
        ),
    ] = None,
    face_below: Annotated[
        float,
        typer.Option(
            "--face-below",
            min=-20,
            max=50,
            metavar="MM",
            help="How far the panel's face lies below what the sheet lies on, such as a bezel.",
        ),
    ] = 0.0,
    distance: Annotated[
        list[str] | None,
        typer.Option(
            "--distance",
            metavar="TEXT",
            help='A calipers distance: "A1 A6 95.0 mm" between middles, with "outside" or "inside" behind it '
            "from wall to wall. Two or more across and along the bed prove the scale.",
            show_default=False,
        ),
    ] = None,
    mirrored: Annotated[
        bool | None,
        typer.Option(
            "--mirrored/--not-mirrored",
            help="The panel's back lay on the glass, so the scan shows it mirrored. Else found out from the profile.",
            show_default=False,
        ),
    ] = None,
    behind: Annotated[
        Literal["bright", "dark"] | None,
        typer.Option(
            "--behind", help="What shows through the openings, where the scan leaves it open.", show_default=False
        ),
    ] = None,
    dpi: Annotated[
        float | None,
        typer.Option("--dpi", metavar="N", help="Dots per inch, instead of the file's tag.", show_default=False),
    ] = None,
    quarter_turns: Annotated[
        int, typer.Option("--quarter-turns", min=0, max=3, metavar="N", help="To turn a sideways scan upright, left.")
    ] = 0,
    smallest: Annotated[
        float, typer.Option("--smallest", min=0.5, max=50, metavar="MM", help="Anything narrower is no opening.")
    ] = 1.4,
    leave_out: Annotated[
        list[str] | None, typer.Option("--leave-out", metavar="LABEL", help="No opening.", show_default=False)
    ] = None,
    merge: Annotated[
        list[str] | None, typer.Option("--merge", metavar='"A B"', help="Two that are one.", show_default=False)
    ] = None,
    rename: Annotated[
        list[str] | None, typer.Option("--rename", metavar='"OLD NEW"', help="Another label.", show_default=False)
    ] = None,
    part: Annotated[
        str | None, typer.Option("--part", metavar="NAME", help="The part at new positions.", show_default=False)
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Write to the profile without asking.")] = False,
    printer: PrinterName = None,
    seed: Seed = 0,
    out: OutDir = OUTPUTS,
    quiet: Quiet = False,
) -> None:
    """Find the panel's holes in a flatbed scan or a photo: places, sizes and how sure they are.

    Shows what was found as a picture first; the profile changes only when you say so. Corrections
    count in this order: leave out, merge, rename, distances (with the new labels).
    """
    from partgen.core.errors import Fault, InputError
    from partgen.jobs.profile_from_scan import propose
    from partgen.profile.undo import edited
    from partgen.scan.corrected import Corrected
    from partgen.scan.photo import read_panel
    from partgen.scan.run_scan import see

    del printer, seed  # common options; a scan needs neither
    if sheet is not None:
        _write_sheet(sheet, paper)
        return
    if profile is None or image is None:
        raise InputError(Fault("partgen scan", "no picture", "PROFILE IMAGE, or --sheet FILE.pdf for the marker sheet"))
    file = edited(profile)
    if part is not None and part not in file.profile.part:
        raise InputError(Fault("--part", f'"{part}"', f"one of {', '.join(file.profile.part)}"))
    picture = read_panel(image, file.profile.caliper, dpi=dpi, sheet_mm=sheet_mm, face_below=face_below)
    say(HANDS_IN, quiet=quiet)
    say("Looking for openings ...", quiet=quiet)
    seen = see(picture, file.profile, behind=behind, mirrored=mirrored, quarters=quarter_turns, smallest=smallest)
    session = _Session(file.profile, Corrected(seen), part)
    for prefix, lines in (("leave out", leave_out), ("merge", merge), ("rename", rename), ("distance", distance)):
        for line in lines or ():
            session.correct(f"{prefix} {line}")
    found = session.scan()
    folder = out / profile.stem
    _show(found, picture, folder, file.profile, quiet=quiet)
    agreed = found if yes else _talk(session, found, picture, folder)
    if agreed is None:
        say(f"{profile} is as it was. --yes writes what was found.")
        return
    proposal = propose(agreed, file.profile, session.part)
    file.apply(proposal.edit, f"scan of {image.name}: " + "; ".join(proposal.does))
    for line in proposal.leaves:
        say(f"Left out: {line}")
    print(f"Wrote to {profile}: " + "; ".join(proposal.does) + ("" if agreed.proven else ". Scale: not proven") + ".")
    say(f"Next: partgen measure {profile}", quiet=quiet)


def _write_sheet(target: Path, paper: Literal["a4", "letter", "strip"]) -> None:
    """The marker sheet as PDF, and how it is used."""
    from partgen.core.files import write_locked
    from partgen.scan.marker_sheet import marked_distance, sheet_pdf

    write_locked(target, sheet_pdf(paper))
    print(target)
    say(
        f"Print it at 100 %. Read the two marks with the calipers ({marked_distance(paper):.0f} mm as drawn). Lay the "
        "sheet flat on the panel's face beside the holes, and photograph both from above."
    )
    say(HANDS_IN)
    say("Next: partgen scan PROFILE photo.jpg --sheet-mm MM")


def _show(found: Scan, picture: Picture, folder: Path, profile: Profile, *, quiet: bool) -> None:
    """Picture and page into the output folder, table and remarks to the terminal."""
    from partgen.core.files import make_folder, write_locked
    from partgen.metrology.student_t import K95
    from partgen.scan.scan_pictures import overlay, page, sizes

    png = overlay(picture, found)
    make_folder(folder)
    write_locked(folder / "scan.png", png)
    write_locked(folder / "scan.html", page(png, found, profile.title or folder.name).encode())
    show_table(
        "Openings",
        ["label", "form and size, mm", "x", "±", "y", "±", ""],
        [
            [
                o.label, sizes(o), f"{o.shape.x:.2f}", f"{K95 * o.u_at[0]:.2f}", f"{o.shape.y:.2f}",
                f"{K95 * o.u_at[1]:.2f}", "in the profile" if o.known else "new",
            ]
            for o in found.openings
        ],
        numbers=[2, 3, 4, 5],
    )  # fmt: skip
    for group in found.groups:
        print(f"[hole.{group.name}]{'' if group.known else ' (new)'}: {', '.join(group.labels)}")
    held = "held by the marker sheet" if found.scale.checked else "held by calipers distances"
    print(f"Scale: {held if found.proven else 'not proven'}")
    for note in found.notes:
        say(note, quiet=quiet)
    for label in found.missing:
        say(f"{label}: the profile has it, but no opening was found there.")
    for doubt in found.doubts:
        say(f"In doubt: {doubt.label}, {doubt.what}: {doubt.why}")
    say(f"Look at {folder / 'scan.html'} (or scan.png beside it).", quiet=quiet)


def _talk(session: _Session, found: Scan, picture: Picture, folder: Path) -> Scan | None:
    """Corrections and distances, one a line, until the person writes; None when they stop instead."""
    from partgen.core.errors import InputError

    say("\nCorrections and calipers distances, one a line; then write, or stop.\n" + _HELP)
    while True:
        _would(found, session)
        try:
            line = input("> ").strip()
        except EOFError:
            return None
        if line == "write":
            return found
        if line == "stop":
            return None
        before = session.now
        try:
            session.correct(line)
            found = session.scan()
        except InputError as error:
            session.now = before
            say(str(error))
            continue
        _show(found, picture, folder, session.profile, quiet=False)


def _would(found: Scan, session: _Session) -> None:
    """Say what would be written."""
    from partgen.jobs.profile_from_scan import propose

    proposal = propose(found, session.profile, session.part)
    say("Would write" + ("" if found.proven else ", although the scale is not proven") + ":")
    for line in proposal.does:
        say(f"  {line}")
    for line in proposal.leaves:
        say(f"  left out: {line}")
