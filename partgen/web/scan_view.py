"""A scan on the page while it is looked at: what a worker finds in the picture, and how it stands corrected.

`look` and `settle` run in a process of their own: a hostile picture can end that, not the page.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from partgen.core.errors import InputError, OutsideError
from partgen.metrology.estimate_records import FloatArray
from partgen.profile.profile_record import Profile
from partgen.scan.corrected import Corrected
from partgen.scan.scan_pictures import View, front_view
from partgen.scan.scan_records import Scan

LONGEST = 1600  # pixels of the longer side of the picture that the page shows
POINTS = 72
"""Of an opening's edge, as drawn over the picture."""


class How(BaseModel):
    """How the panel was scanned, as far as the person says."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    tab: Annotated[str, Field(pattern=r"^[a-z0-9]{8,40}$")]
    name: Annotated[str, Field(max_length=200)] = "the scan"
    """The file's own name, for messages only."""
    dpi: Annotated[float, Field(gt=0, le=100_000)] | None = None
    sheet_mm: Annotated[float, Field(gt=0, le=1000)] | None = None
    """Of a photo with the marker sheet: what the calipers read between its two marks."""
    behind: Literal["bright", "dark"] | None = None
    mirrored: bool | None = None
    quarters: Annotated[int, Field(ge=0, le=3)] = 0
    smallest: Annotated[float, Field(ge=0.5, le=50)] = 1.4


@dataclass(frozen=True)
class Mark:
    """One opening in the view's pixels."""

    x: float
    y: float
    edge: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Looked:
    """What was found, and the picture to show it over."""

    found: Corrected
    jpeg: bytes
    view: View


def mark_of(points: FloatArray, view: View) -> Mark:
    """Edge points (n, 2) in the scan's pixels as a mark in the view."""
    places = view.places(points)
    middle = places.mean(axis=0)
    few = places[np.linspace(0, len(places) - 1, min(POINTS, len(places))).round().astype(int)]
    return Mark(float(middle[0]), float(middle[1]), tuple((float(x), float(y)) for x, y in few))


@dataclass(frozen=True)
class Looking:
    """The one scan on the page, with the corrections so far."""

    looked: Looked
    now: Corrected
    number: int
    """Another one whenever anything here is changed."""
    picture: int
    """The number that the picture itself goes by."""
    before: tuple[Corrected, ...] = ()
    """For taking corrections back."""
    part: str = ""
    """The part that new positions get; "" for the one their hole has."""
    settled: Scan | None = None
    settled_for: tuple[int, str] = (0, "")
    """Number and profile text that `settled` was worked out for."""

    def corrected(self, now: Corrected, number: int) -> Looking:
        """One correction further."""
        return replace(self, now=now, number=number, before=(*self.before[-50:], self.now))


def look(path: Path, how: How, profile: Profile) -> Looked:
    """Find the openings in the picture at `path`. Raises InputError and OutsideError in the page's words."""
    from partgen.scan.photo import read_panel
    from partgen.scan.run_scan import see

    try:
        read = read_panel(path, profile.caliper, dpi=how.dpi, sheet_mm=how.sheet_mm)
        picture = replace(read, name=how.name)
        seen = see(
            picture, profile, behind=how.behind, mirrored=how.mirrored, quarters=how.quarters, smallest=how.smallest
        )
    except InputError as error:
        raise InputError(
            *(replace(f, where=said(f.where, path, how), expected=said(f.expected, path, how)) for f in error.faults)
        ) from error
    except OutsideError as error:
        raise OutsideError(said(str(error), path, how)) from error
    seen = replace(seen, notes=tuple(said(note, path, how) for note in seen.notes))
    image, view = front_view(picture, seen.mirrored, LONGEST)
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=85)
    return Looked(Corrected(seen), buffer.getvalue(), view)


def settle(now: Corrected, profile: Profile) -> Scan:
    """Everything in the panel's frame. Raises InputError when nothing is left."""
    return now.settle(profile)


_FORM = '"How it was scanned"'
WORDS = {
    "say what the scanner was set to: --dpi 300": f"say the dots per inch under {_FORM}",
    "--behind bright or --behind dark says which": f"{_FORM} says which",
    "say --mirrored.": f"say so under {_FORM}.",
    "--dpi": "dots per inch",
}
"""What the command says in options, the page says in the names of its fields."""


def said(text: str, path: Path, how: How) -> str:
    """A message with the file called as the person knows it and options as the page's fields."""
    text = text.replace(str(path), how.name).replace(path.name, how.name)
    for option, field in WORDS.items():
        text = text.replace(option, field)
    return text
