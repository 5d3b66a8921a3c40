"""The watch itself: sources, measures, faults, alarms. No Qt; importing does no work."""

import os

# A tick's products are far too small to share between threads, which then only wait for each other
# and keep cores busy that a recorder needs. To be said before numpy is loaded.
for _threads in (
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
    "OMP_NUM_THREADS",
):
    os.environ.setdefault(_threads, "1")
