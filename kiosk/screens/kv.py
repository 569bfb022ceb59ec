"""Loads the layout that lies beside a module of this room.

Every part and screen has its layout in a `.kv` file of its own name; this is the only way such a file is read.
"""

from __future__ import annotations

from pathlib import Path

from kivy.lang import Builder


def load_beside(module_file: str) -> None:
    """Read `x.kv` for the module file `x.py`; a second call changes nothing."""
    path = str(Path(module_file).with_suffix(".kv"))
    if path not in Builder.files:
        Builder.load_file(path, encoding="utf-8")
