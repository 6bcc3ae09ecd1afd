"""How a socket holds its seat: mechanics of each grip, and the plan that chooses its sizes.

lame, cantilever, ribs, ring, screw: formulas alone. pressed, sprung, fastened: the grips. plan: the way in.
"""

from partgen.design.grip.plan_grip import plan_grip

__all__ = ["plan_grip"]
