"""A long run ends with what became of the gallery: per part kind how many were built and how many refused."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator

import pytest
from evidence import record
from family_gallery import COUNTED

WAYS = ("built", "built, plan fails", "refused")


@pytest.fixture(autouse=True)
def counted(record_property: Callable[[str, object], None]) -> Iterator[None]:
    COUNTED.clear()
    yield
    for (kind, way), many in COUNTED.items():
        record_property("gallery", [kind, way, many])  # goes along with the report, from a worker process, too


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    if not config.getoption("--long"):
        return
    total: Counter[tuple[str, str]] = Counter()
    for reports in terminalreporter.stats.values():
        for report in reports:
            if getattr(report, "when", None) != "teardown":  # counted once: the other reports are made before
                continue
            for name, value in getattr(report, "user_properties", ()):
                if name == "gallery":
                    total[value[0], value[1]] += value[2]
    kinds = sorted({kind for kind, _ in total})
    rows = [[kind, sum(total[kind, way] for way in WAYS), *(total[kind, way] for way in WAYS)] for kind in kinds]
    record("gallery", "PARTGEN_EVIDENCE=docs/evidence poe gallery", ["Part kind", "Parts", *WAYS], rows)
    for kind in kinds:
        ways = [total[kind, way] for way in WAYS]
        said = ", ".join(f"{many} {way}" for many, way in zip(ways, WAYS, strict=True))
        terminalreporter.write_line(f"{kind}: {sum(ways)} parts: {said}")
