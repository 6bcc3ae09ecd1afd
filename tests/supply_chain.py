"""What partgen stands on, for developers: licences, known vulnerabilities, exact versions. Not part of the tests.

    python tests/supply_chain.py              licences of everything partgen needs, then pip-audit where it is installed
    python tests/supply_chain.py --lock       the versions at work here, into tests/constraints.txt

Licences are read from the installed packages themselves; pip-audit (`pip install pip-audit`) asks the public
vulnerability database, and is the only thing here that uses the network.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path

CONSTRAINTS = Path(__file__).with_name("constraints.txt")
PERMISSIVE = (
    "MIT",
    "BSD",
    "Apache",
    "PSF",
    "Python",
    "ISC",
    "Zlib",
    "Unlicense",
    "HPND",
    "Boost",
    "BSL-1.0",
    "0BSD",
    "CNRI",
)
WEAK_COPYLEFT = ("LGPL", "Lesser", "MPL", "Mozilla")  # used unchanged as libraries
_NAME = re.compile(r"^[A-Za-z0-9._-]+")


def needed(root: str = "partgen") -> dict[str, Distribution]:
    """Every installed distribution that partgen needs at run time, by name."""
    found: dict[str, Distribution] = {}
    waiting = [root]
    while waiting:
        name = waiting.pop()
        key = re.sub(r"[-_.]+", "-", name).lower()
        if key in found:
            continue
        try:
            found[key] = distribution(name)
        except PackageNotFoundError:
            continue  # for another system or Python
        for line in found[key].requires or []:
            match = _NAME.match(line)
            if match is not None and "extra ==" not in line:
                waiting.append(match[0])
    return dict(sorted(found.items()))


def licence(of: Distribution) -> str:
    """What a package says of its licence, on one line."""
    data = of.metadata
    classes = [c.split(" :: ")[-1] for c in data.get_all("Classifier") or [] if c.startswith("License ::")]
    classes = [c for c in classes if c != "OSI Approved"]
    said = data.get("License-Expression") or " / ".join(classes) or data.get("License") or ""
    if "Redistribution and use in source and binary forms" in said:  # the whole text stands where its name should
        said = "BSD, by its text"
    return " ".join(said.split())[:70]


def verdict(text: str) -> str:
    """ "Whether it may be used: "ok", "library use" (unchanged), or "LOOK"."""
    if any(word in text for word in WEAK_COPYLEFT):
        return "library use"
    return "ok" if any(word in text for word in PERMISSIVE) else "LOOK"


def main() -> int:
    packages = needed()
    if "--lock" in sys.argv:
        pinned = [f"{name}=={one.version}" for name, one in packages.items() if name != "partgen"]
        head = (
            "# Versions that the whole test suite last ran with; python tests/supply_chain.py --lock writes it anew.\n"
        )
        CONSTRAINTS.write_text(head + "\n".join(pinned) + "\n", encoding="utf-8")
        print(f"{len(pinned)} versions in {CONSTRAINTS.name}")
        return 0
    unclear = 0
    for name, one in packages.items():
        said = licence(one)
        unclear += verdict(said) == "LOOK"
        print(f"{name:28} {one.version:14} {verdict(said):12} {said}")
    print(f"{len(packages)} packages, {unclear} whose licence a person should look at")
    audit = shutil.which("pip-audit")
    if audit is None:
        print("pip-audit is not installed: pip install pip-audit, then run this again")
        return 1
    pins = "\n".join(f"{name}=={one.version}" for name, one in packages.items() if name != "partgen")
    done = subprocess.run(
        [audit, "--strict", "--no-deps", "--disable-pip", "-r", "/dev/stdin"], input=pins, text=True, check=False
    )
    return done.returncode or int(unclear > 0)


if __name__ == "__main__":
    sys.exit(main())
