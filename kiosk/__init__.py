"""Holder Kiosk: where each cutter holder is, whether it is still hot, and where it may go next."""

import os

# the matrices here are small: threads of the linear algebra library cost more than they give, and would compete
# with the camera and the screen; its libraries read this once, when numpy is first imported
for _library in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_library, "1")

# a second bolt behind the reader's own look at a picture's header; OpenCV reads this once
os.environ.setdefault("OPENCV_IO_MAX_IMAGE_PIXELS", str(66_000_000))

__version__ = "0.1.0"
