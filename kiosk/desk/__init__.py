"""What an operator can do, one method each; the only place where rooms meet.

`Desk` is the whole of it; `scan` is its heart and every other job has a counter of its own (`heat`, `shop`,
`build`, `handover`, `audits`, `finding`, `people`, `labels`).  A desk belongs to one thread.
"""

from kiosk.desk.desk import Desk, Scanned

__all__ = ["Desk", "Scanned"]
