"""Asking for a coupon's readings one after another: a state without terminal or files. Pure."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from partgen.core.errors import TrialError
from partgen.output.coupon_readings import HEADER, MATERIAL, form_rows, is_rung, parse_readings
from partgen.profile.coupon_features import FEELS, Feature, step

WANTED = 3
"""Readings of each feature."""
HELP = (
    "a reading in mm and Enter; Enter alone or skip goes on; undo takes the last one back; another begins a second "
    "print of the coupon; stop ends and calculates"
)


class Guide:
    """Questions for the cells of a form that are still empty, and the form as it fills.

    `text` is the whole form as CSV at any time: saving it after every answer loses nothing.
    """

    def __init__(self, text: str, source: str, features: Sequence[Feature]) -> None:
        """Go on with a form, or begin one where `text` is empty. Raises TrialError where it is wrong."""
        self._features = {feature.name: feature for feature in features}
        if text:
            parse_readings(text, source, features)
            delimiter = ";" if text.partition("\n")[0].count(";") else ","
            rows = list(csv.reader(io.StringIO(text.removeprefix("\ufeff")), delimiter=delimiter))[1:]
        else:
            rows = form_rows(features)
        self._rows = [[*row[:2], *(cell for cell in row[2:] if cell.strip())] for row in rows if row]
        self._skipped: set[int] = set()
        self._taken: list[int] = []

    @property
    def text(self) -> str:
        """The form as CSV."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        width = max(len(HEADER), *(len(row) for row in self._rows))
        writer.writerow([*HEADER, *(f"reading {i}" for i in range(len(HEADER) - 1, width - 1))])
        writer.writerows([*row, *[""] * (width - len(row))] for row in self._rows)
        return out.getvalue()

    @property
    def question(self) -> str | None:
        """What to measure next; None when nothing is left."""
        i = self._next()
        if i is None:
            return None
        print_, name, *read = self._rows[i]
        if is_rung(name):
            return f"print {print_}, {name}: how does it feel on the seat ({', '.join(FEELS)})?"
        feature = self._features.get(name) or step(float(name.removeprefix("height-")))
        return f"print {print_}, {name}, about {feature.nominal:g} mm, {len(read) + 1} of {WANTED}: {feature.how}"

    def answer(self, line: str) -> str:
        """Take one line; what is wrong with it in words, or ""."""
        word = line.strip().lower()
        if word == "help":
            return HELP
        if word == "undo":
            return self._undo()
        if word == "another":
            self._another()
        elif (i := self._next()) is not None:
            if word not in ("", "skip"):
                return self._take(i, word)
            self._skipped.add(i)
        return ""

    def _take(self, i: int, word: str) -> str:
        row = self._rows[i]
        one = f'{",".join(HEADER[:2])},reading\n{row[0]},{row[1]},"{word.replace(chr(34), chr(34) * 2)}"\n'
        try:
            parse_readings(one, "reading", list(self._features.values()))
        except TrialError as error:
            fault = error.faults[0]
            return f"read {fault.read}; expected {fault.expected}"
        row.append(word)
        self._taken.append(i)
        return ""

    def _next(self) -> int | None:
        for i, row in enumerate(self._rows):
            wanted = 1 if is_rung(row[1]) else WANTED
            if row[1] != MATERIAL and i not in self._skipped and len(row) - 2 < wanted:
                return i
        return None

    def _undo(self) -> str:
        if not self._taken:
            return "nothing to take back"
        i = self._taken.pop()
        gone = self._rows[i].pop()
        self._skipped.discard(i)
        return f"{self._rows[i][1]}: {gone} taken back"

    def _another(self) -> None:
        """Lines for one more print, with the names of the first."""
        first = self._rows[0][0]
        names = [row[1] for row in self._rows if row[0] == first and row[1] != MATERIAL]
        self._skipped |= {i for i, row in enumerate(self._rows) if len(row) == 2}
        number = len({row[0] for row in self._rows}) + 1
        self._rows += [[str(number), name] for name in names]
