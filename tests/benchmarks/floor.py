"""What `build` cannot do without: its imports, the plan, and the kernel's work, with no check, no file and no report.

Usage: python -m benchmarks.floor PROFILE
"""

from __future__ import annotations

import sys
from pathlib import Path

from partgen.mesh.kernel_pool import KERNEL


def main() -> None:
    KERNEL.warm()  # as the command does: before anything else is loaded
    from partgen.families import BY_KIND
    from partgen.mesh.build import Caps
    from partgen.pipeline import building, making, planning
    from partgen.pipeline.inputs import gather

    inputs = gather(Path(sys.argv[1]))
    planned = planning.plan_inputs(inputs)
    makers = {p.model: BY_KIND[inputs.profile.part[p.part].kind].maker() for p in planned.plan.positions}
    begun = Caps(list(makers), makers.__getitem__)
    making.load_what_follows()
    begun.finish()
    del building


if __name__ == "__main__":
    main()
