"""A fit document back from its file. May import: errors, formats, fit.document."""

from __future__ import annotations

import json

from partgen.errors import Fault, InputError
from partgen.fit.document import FitDocument
from partgen.formats import FIT, upgrade


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
    try:
        return FitDocument.model_validate(data)
    except ValueError as error:
        raise InputError(Fault(source, "", f"this is no fit document ({error}); {_ANEW}")) from error


_ANEW = "delete it, and it is made again from the log"
