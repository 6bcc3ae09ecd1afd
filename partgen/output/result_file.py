"""A fit document back from its file."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator

from pydantic import ValidationError

from partgen.core.errors import Fault, InputError
from partgen.core.formats import FIT, upgrade
from partgen.output.result_document import FitDocument


def parse_fit(raw: bytes, source: str) -> FitDocument:
    """The document that a fit.json holds; `source` names it in messages.

    Raises InputError where a newer partgen wrote it, or where it is none.
    """
    try:
        data = json.loads(raw)
    except (ValueError, RecursionError) as error:
        raise InputError(Fault(source, "", f"this is not JSON ({error}); {_ANEW}")) from error
    if not isinstance(data, dict):
        raise InputError(Fault(source, "", f"this is no fit document; {_ANEW}"))
    if wrong := upgrade(data, FIT, source):
        raise InputError(wrong)
    if not _sound(data):
        place, number = next(_unsound(data, ""))
        raise InputError(Fault(source, place, f"{str(number)[:24]} is no number of a fit document; {_ANEW}"))
    try:
        return FitDocument.model_validate(data)
    except ValidationError as error:
        first, *others = error.errors(include_url=False, include_input=False, include_context=False)
        place = "".join(c if c.isprintable() else "?" for c in ".".join(map(str, first["loc"])))[:100]
        more = f" (and {len(others)} more)" if others else ""
        raise InputError(Fault(source, place, f"this is no fit document: {first['msg']}{more}; {_ANEW}")) from error


MOST = 1e7
"""No length, force or volume of a small part is greater, in the document's units."""
UNBOUNDED = frozenset({"seed", "draws", "dof", "cost"})
"""Keys whose numbers are none of these and may be greater, as long as they are finite."""
_ANEW = "delete it, and it is made again from the log"


def _sound(data: object) -> bool:
    """Whether every number is within bounds. There may be millions: places are only looked for where one is not."""
    waiting = [data]
    while waiting:
        one = waiting.pop()
        if isinstance(one, dict):
            waiting += [value for key, value in one.items() if key not in UNBOUNDED or not _finite(value)]
        elif isinstance(one, list):
            waiting += one
        elif isinstance(one, (int, float)) and not -MOST <= one <= MOST:
            return False
    return True


def _finite(value: object) -> bool:
    return isinstance(value, int) or (isinstance(value, float) and math.isfinite(value))


def _unsound(data: object, place: str) -> Iterator[tuple[str, float]]:
    """Every number out of bounds with its place, such as "positions.0.proud_mm"."""
    inside: list[tuple[str, object]] = []
    if isinstance(data, dict):
        inside = [(key, value) for key, value in data.items() if key not in UNBOUNDED or not _finite(value)]
    elif isinstance(data, list):
        inside = [(str(index), value) for index, value in enumerate(data)]
    elif isinstance(data, (int, float)) and not -MOST <= data <= MOST:
        yield place, data
    for key, value in inside:
        yield from _unsound(value, f"{place}.{key}" if place else key)
