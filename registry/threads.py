"""Importing this keeps numeric libraries to one thread, unless their users set another number.

Processes are the parallelism here; numeric threads beneath them only fight over the same cores, and matrices as small
as ours take ten times as long when they are shared out. The libraries read it once: import this before NumPy.
"""

import os

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(name, "1")
