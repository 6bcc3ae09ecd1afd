"""A maker that prints, by Python and past it, as a kernel may."""

import os

from partgen.geometry.height_derivation import CAP, Maker


def _noisy(model):
    print("a line from the kernel", flush=True)
    os.write(1, b"another\n")
    return CAP.solid(model)


NOISY = Maker(_noisy)
