"""What the command line asks of the window."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Options:
    """What the command line asks for.  `size`: of the window, px; None: the whole screen of the tablet.

    `shift`: the folder given as camera is a shift to be shown, on a pretended clock, in a ledger of its own.
    `service`: started by the service manager, which is told that it lives; only a supervisor's PIN leaves the window.
    `prove`: the window closes again once it and the book are there.
    `phones`: telephones are on, whatever the settings say.
    """

    data_dir: Path
    demo: bool = False
    camera: str | None = None
    at: str | None = None
    size: tuple[int, int] | None = None
    shift: bool = False
    service: bool = False
    phones: bool = False
    prove: bool = False
    own: Path | None = None  # of the demo shop, where somebody came to look around: the folder of the shop's own
