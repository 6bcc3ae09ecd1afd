"""What `build` cannot do without: its imports, the plan, and the kernel's work, with no check, no file and no report.

Usage: python -m benchmarks.floor PROFILE
"""

from __future__ import annotations

import sys
from pathlib import Path

from partgen.geometry.kernel_pool import KERNEL


def main() -> None:
    KERNEL.warm()  # as the command does: before anything else is loaded
    from partgen.geometry.build_mesh import Caps
    from partgen.jobs import build as building
    from partgen.jobs import build_meshes, plan
    from partgen.jobs.inputs import gather
    from partgen.kinds import BY_KIND

    inputs = gather(Path(sys.argv[1]))
    planned = plan.plan_inputs(inputs)
    makers = {p.model: BY_KIND[inputs.profile.part[p.part].kind].maker() for p in planned.plan.positions}
    begun = Caps(list(makers), makers.__getitem__)
    build_meshes.load_what_follows()
    begun.finish()
    del building


if __name__ == "__main__":
    main()
