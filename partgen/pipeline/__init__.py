"""Profile in, result out: the only package that knows all stages. Never prints.

`inputs` gathers what a revision is made from, `planning` turns it into a plan, `building` into files.
"""

from partgen.pipeline.building import BuiltSet, build_profile
from partgen.pipeline.inputs import Inputs, gather, gather_revision
from partgen.pipeline.planning import Planned, plan_inputs, plan_profile

__all__ = ["BuiltSet", "Inputs", "Planned", "build_profile", "gather", "gather_revision", "plan_inputs", "plan_profile"]
