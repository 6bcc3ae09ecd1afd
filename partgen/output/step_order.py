"""The colours of a STEP file in one fixed order. Pure text; imports nothing of ours.

The kernel writes its presentation records (who has which colour) in the order of memory addresses, which
differs from run to run. They stand last in the file, so they can be sorted by what they colour and
numbered anew without touching anything else.
"""

from __future__ import annotations

import re

_ROOT = "MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION"
_RECORD = re.compile(r"#(\d+) = (.*?);\n(?=#\d+ = |\Z)", re.DOTALL)
_REFERENCE = re.compile(r"#(\d+)")


def in_fixed_order(data: str) -> str:
    """The DATA section with its presentation records sorted; everything before them stays as it is."""
    first = re.search(rf"^#(\d+) = {_ROOT}\(", data, re.MULTILINE)
    if first is None:
        return data
    end = data.index("ENDSEC;", first.start())
    records = {int(number): body for number, body in _RECORD.findall(data[first.start() : end])}
    start = int(first[1])
    if not records or min(records) != start:
        return data  # another writer's order: leave it alone
    roots = [number for number, body in records.items() if body.startswith(_ROOT)]
    roots.sort(key=lambda number: (_targets(number, records), number))
    referred = {int(ref) for body in records.values() for ref in _REFERENCE.findall(body)}
    roots += sorted(number for number in records if number not in referred and number not in set(roots))
    out: list[str] = []
    known: dict[str, int] = {}
    for root in roots:
        _number(root, records, start, out, known)
    return data[: first.start()] + "".join(out) + data[end:]


def _targets(number: int, records: dict[int, str]) -> list[int]:
    """Records before the presentation that this one leads to, in order: what is coloured."""
    found: list[int] = []
    for ref in _REFERENCE.findall(records[number]):
        found += _targets(int(ref), records) if int(ref) in records else [int(ref)]
    return sorted(found)


def _number(number: int, records: dict[int, str], start: int, out: list[str], known: dict[str, int]) -> int:
    """Write a record after those it refers to, equal ones once; its new number."""

    def anew(ref: re.Match[str]) -> str:
        old = int(ref[1])
        return f"#{_number(old, records, start, out, known) if old in records else old}"

    body = _REFERENCE.sub(anew, " ".join(line.strip() for line in records[number].splitlines()))
    if body not in known:
        known[body] = start + len(out)
        out.append(f"#{known[body]} = {body};\n")
    return known[body]
