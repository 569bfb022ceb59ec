"""A kiosk without a server is what it always was: nothing of the network is loaded, kept or waited for."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ALONE = """
import sys
from pathlib import Path
from kiosk import where
from kiosk.exchange.shop import read_shop
from kiosk.screens.opening import open_desk
from kiosk.screens.options import Options
desk = open_desk(Options(Path(sys.argv[1])))
desk.shop.load(read_shop(where.demo_tags()))
desk.scan(desk.session.holder("T001").code)
desk.scan(desk.session.cards.find_place("Shrink station"))
desk.tick()
assert desk.kiosks is None
desk.close()
print(sorted(name for name in sys.modules if name.startswith(("psycopg", "kiosk.link", "cryptography"))))
"""


def test_nothing_of_the_network_is_loaded_and_nothing_of_it_lies_in_the_folder(tmp_path: Path) -> None:
    done = subprocess.run([sys.executable, "-c", ALONE, str(tmp_path)], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
    assert {path.name for path in tmp_path.iterdir()} == {"ledger.db", "ledger.anchor", "lock"}
