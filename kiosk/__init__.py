"""Holder Kiosk: where each cutter holder is, whether it is still hot, and where it may go next."""

import os

# the matrices here are small: threads of the linear algebra library cost more than they give, and would compete
# with the camera and the screen; its libraries read this once, when numpy is first imported
for _library in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_library, "1")

__version__ = "0.1.0"
