"""A newer version by touch: what a stick brought is looked at, and a PIN asked; half of what was built is refused.

The whole way, minutes long, is `python -m tests.journeys.update_by_touch`.
"""

from __future__ import annotations

from pathlib import Path

from kiosk import __version__
from tests.journeys.update_by_touch import NEWER, choose_a_pin, to_versions, type_it
from tests.journeys.window import Window


def test_half_of_a_version_is_refused_by_touch_with_what_to_bring(kiosk: Window) -> None:
    choose_a_pin(kiosk)
    to_versions(kiosk)
    kiosk.sees("No newer version found", "updates")
    kiosk.picture("update-none")
    inbox = Path(str(kiosk._ask(do="desk", what="data"))) / "updates"
    inbox.mkdir()
    for name in (f"holder_kiosk-{NEWER}", "holder_kiosk-0.0.1", "another-1"):
        (inbox / f"{name}-py3-none-any.whl").write_bytes(b"cut short")  # and nothing beside it
    kiosk.touch("Look again")
    kiosk.touch(NEWER)
    kiosk.sees(f"A new version is here: {NEWER}", f"{__version__} runs now")
    kiosk.touch("Put it in place")
    type_it(kiosk)
    kiosk.sees("must lie beside", f"{__version__} goes on running")
    kiosk.picture("update-refused")
    kiosk.touch("Look again")
    kiosk.touch_key("back")
    kiosk.touch_key("back")
    kiosk.touch("Scan")
    kiosk.is_on("scan")
