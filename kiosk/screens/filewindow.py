"""Opens a file with whatever this computer opens it with, so that a paper or label can be looked at and sent on.

The kiosk goes on behind it; nothing waits for the other program.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path


def opens(path: Path) -> bool:
    """Open a file; False where this computer has no program for that, or it is not there any more."""
    if not path.exists():
        return False
    if sys.platform == "win32":
        os.startfile(path)
        return True
    program = shutil.which("open" if sys.platform == "darwin" else "xdg-open")
    if program is None:
        return False
    subprocess.Popen([program, str(path)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True)
    return True
