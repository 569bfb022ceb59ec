"""Why a system did not do something, as a message: a disk, a network, a program that was asked for help.

Systems speak English and to engineers.  The few reasons that everybody meets have words of ours; any other
is quoted as it was said, after our sentence.  The message is a value of that sentence (`why`) and ends no sentence.
Facts: errno values of POSIX; names that are not found are told by the class of the error alone.
"""

from __future__ import annotations

import errno

from kiosk.rules.say import Say, say

_OF_ERRNO = {
    errno.ENOSPC: "disk_full", errno.EDQUOT: "disk_full", errno.EFBIG: "disk_full",
    errno.EACCES: "not_allowed", errno.EPERM: "not_allowed",
    errno.ENOENT: "not_found", errno.ENOTDIR: "not_found", errno.ENODEV: "not_found", errno.ENXIO: "not_found",
    errno.EROFS: "read_only",
    errno.ECONNREFUSED: "refused", errno.ECONNRESET: "refused", errno.EPIPE: "refused",
    errno.ETIMEDOUT: "timed_out",
    errno.EIO: "disk",
}  # fmt: skip
NAMES = (*sorted(set(_OF_ERRNO.values())), "name_unknown", "quoted")
MOST_LETTERS = 120  # of what a system said, on a screen


def reason(error: BaseException, said: str = "") -> Say:
    """The message `reason.<name>`.  said: its words, where they are not to be quoted as they stand."""
    if type(error).__name__ in ("gaierror", "herror"):
        return say("reason.name_unknown")
    if isinstance(error, TimeoutError) or type(error).__name__ == "TimeoutExpired":
        return say("reason.timed_out")
    name = _OF_ERRNO.get(error.errno or 0) if isinstance(error, OSError) else None
    return say(f"reason.{name}") if name else quoted(said or str(error) or type(error).__name__)


def quoted(said: str) -> Say:
    """What a system said, as it said it."""
    return say("reason.quoted", said=said if len(said) <= MOST_LETTERS else f"{said[: MOST_LETTERS - 1]}…")
