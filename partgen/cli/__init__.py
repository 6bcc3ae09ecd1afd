"""The commands: the only place, with bench, that prints, opens files a user named, or exits.

`app` registers them; each command is one module. Heavy imports stay inside the functions, so that
`partgen --help` answers at once.
"""

import os

# One thread for linear algebra, unless the person says otherwise: the matrices are too small for more to
# pay, waiting threads burn half as much again of the processor, and sums come out the same on any machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
