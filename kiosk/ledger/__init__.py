"""What did happen: the only room with a database and a clock."""

import sys
from typing import Any

# peewee loads every driver that it finds.  The ledger is SQLite's; psycopg, which is here for the way to a shop's
# server, would cost every start of a kiosk without one a tenth of a second.
if not {"peewee", "psycopg"} & set(sys.modules):
    _modules: dict[str, Any] = sys.modules
    _modules["psycopg"] = None
    try:
        import peewee as peewee
    finally:
        del _modules["psycopg"]
