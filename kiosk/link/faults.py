"""What stands between a kiosk and its shop's server, as one of the causes a person can act on, each with its sentence.

Local work goes on whatever the cause.  Some causes pass by themselves (`Cause.passes`): the link tries again.  The
others are full stops: trying again would change nothing, or would make it worse.  Facts: SQLSTATE codes of PostgreSQL's
appendix A, those of `functions.sql` (class HK), and the messages of libpq where it gives no code.
"""

from __future__ import annotations

from enum import Enum
from typing import TYPE_CHECKING

from kiosk.rules.link_state import LinkState

if TYPE_CHECKING:
    import psycopg


class Cause(Enum):
    """Why the server did not do it."""

    ALONE = "alone"
    UNREACHABLE = "unreachable"
    SLOW = "slow"
    ADDRESS = "address"
    PASSWORD = "password"
    NO_ENCRYPTION = "no_encryption"
    OTHER_CERTIFICATE = "other_certificate"
    OTHER_SHOP = "other_shop"
    NO_BOOK = "no_book"
    OLDER_SERVER = "older_server"
    NEWER_SERVER = "newer_server"
    TOO_OLD = "too_old"
    NOT_ALLOWED = "not_allowed"
    BUSY = "busy"
    FULL = "server_full"
    READ_ONLY = "server_read_only"
    BEHIND = "behind"
    FORKED = "forked"
    TWICE = "twice"
    AGAIN = "again"
    COPIED = "copied"
    UNNAMED = "unnamed"
    WENT_BACK = "went_back"
    PUT_BACK = "put_back"
    LOCKED_OUT = "locked_out"
    NOT_INVITED = "not_invited"
    NAME_TAKEN = "name_taken"
    NOT_EMPTY = "not_empty"
    NOT_ALL_READ = "not_all_read"
    EDITED = "edited"
    UNKNOWN = "unknown"

    @property
    def passes(self) -> bool:
        """Whether trying again may help without anybody doing anything here."""
        return self in _PASSING

    @property
    def stop(self) -> LinkState | None:
        """The full stop this is; None: it is none of those."""
        return _STOPS.get(self)


_PASSING = frozenset(
    {Cause.UNREACHABLE, Cause.SLOW, Cause.AGAIN, Cause.BUSY, Cause.FULL, Cause.READ_ONLY, Cause.PUT_BACK, Cause.UNKNOWN}
)
_STOPS = {
    Cause.BEHIND: LinkState.BEHIND,
    Cause.NEWER_SERVER: LinkState.BEHIND,
    Cause.FORKED: LinkState.FORKED,
    Cause.TWICE: LinkState.FORKED,
    Cause.COPIED: LinkState.FORKED,
    Cause.WENT_BACK: LinkState.WENT_BACK,
    Cause.PUT_BACK: LinkState.WENT_BACK,
    Cause.LOCKED_OUT: LinkState.LOCKED_OUT,
}

_SAID = {
    Cause.ALONE: ("this kiosk belongs to no shop with a server", "join one: `holder-kiosk join CODE@SERVER`"),
    Cause.UNREACHABLE: ("the server does not answer", "see that it runs and that this kiosk has a network; "
        "the kiosk tries again by itself"),
    Cause.SLOW: ("the server did not answer in time", "the kiosk tries again by itself; if it stays so, look at the "
        "network on the way there"),
    Cause.ADDRESS: ("there is no server of that name", "compare the address with the one shown where the code is"),
    Cause.PASSWORD: ("the server knows neither this code nor this kiosk", "show a new code on another kiosk and join "
        "with that one"),
    Cause.NO_ENCRYPTION: ("the server speaks without encryption only",
        "run `holder-kiosk server init` on it once more: it makes certificates"),
    Cause.OTHER_CERTIFICATE: ("the server there is not this shop's: nobody of this shop vouches for its certificate",
        "compare the address; where the server was replaced, join again with a new code"),
    Cause.OTHER_SHOP: ("the book there is another shop's", "compare the address with the one of the other kiosks"),
    Cause.NO_BOOK: ("there is no shop's book on this server", "run `holder-kiosk server init` there, or compare the "
        "name of the database"),
    Cause.OLDER_SERVER: ("the server's book is of an older form than this kiosk speaks",
        "run `holder-kiosk server init` of this version there: it brings the book up"),
    Cause.NEWER_SERVER: ("the server's book is of a newer form than this kiosk knows",
        "install the newer version here"),
    Cause.TOO_OLD: ("this PostgreSQL is too old", "versions 15 to 17 are known to work"),
    Cause.NOT_ALLOWED: ("this login may not do that on the server", "use the one of the server's administrator"),
    Cause.BUSY: ("the server takes no more connections now", "the kiosk tries again by itself"),
    Cause.FULL: ("the server's disk is full: it took nothing of this", "make room there; all lines are kept here"),
    Cause.READ_ONLY: ("the server takes no lines: it only reads", "see whether it is a copy of the real one; all lines "
        "are kept here"),
    Cause.BEHIND: ("another kiosk writes lines that are newer than this one knows", "install the newer version here"),
    Cause.FORKED: ("the server has other lines of this kiosk than this kiosk: its folder was copied or put back",
        "let it join anew: `holder-kiosk join`; it becomes a kiosk of its own, its book is laid aside, and what only "
        "that one knew to be hot is told to the shop; then lock out the kiosk it was"),
    Cause.TWICE: ("another kiosk says that it is this one: the folder was copied", "switch one of the two off, and let "
        "it join anew: `holder-kiosk join`"),
    Cause.AGAIN: ("this kiosk ran a moment ago and did not end in order; the server looks whether it still runs",
        "the kiosk tries again by itself"),
    Cause.COPIED: ("this folder was copied from the one that joined, or its machine is another: nothing counts as cool "
        "here", "let it join anew: `holder-kiosk join`; it becomes a kiosk of its own and its book is laid aside"),
    Cause.UNNAMED: ("this kiosk no longer knows who it is in its shop: its server.json is gone, cannot be read or is "
        "another kiosk's, and nothing counts as cool here", "join again with a code that another kiosk shows: "
        "`holder-kiosk join CODE@SERVER`; then lock out the kiosk it was"),
    Cause.WENT_BACK: ("the server has lost lines that this kiosk knows, and went on otherwise since",
        "put back the server's newest copy, or empty it with `holder-kiosk server init --anew`: the kiosks refill it"),
    Cause.PUT_BACK: ("an older copy of the server's book was put back; new lines wait until every kiosk was heard",
        "switch on every kiosk of the shop; one that will never come back is locked out in the list of kiosks"),
    Cause.LOCKED_OUT: ("this kiosk was locked out of the shop", "a supervisor can let it in as a new kiosk, with a "
        "code that another one shows: `holder-kiosk join CODE`; its book is laid aside"),
    Cause.NOT_INVITED: ("this code is used up or too old", "show a new one on another kiosk"),
    Cause.NAME_TAKEN: ("another kiosk of this shop has that name", "give this one another name"),
    Cause.NOT_EMPTY: ("this kiosk has a book of its own already, and so has the shop", "join with an empty folder: "
        "`--data` names another one"),
    Cause.NOT_ALL_READ: ("not every kiosk can read the newer lines yet", "install the newer version there first"),
    Cause.EDITED: ("the server's tables were changed by somebody's hand",
        "run `holder-kiosk server check` to see where; put back a copy, or empty it with "
        "`holder-kiosk server init --anew`: the kiosks refill it"),
    Cause.UNKNOWN: ("the server refused", "run `holder-kiosk server check` there"),
}  # fmt: skip

_OF_OURS = {
    "HK001": Cause.FORKED, "HK002": Cause.WENT_BACK, "HK003": Cause.EDITED, "HK004": Cause.LOCKED_OUT,
    "HK005": Cause.OTHER_SHOP, "HK006": Cause.WENT_BACK, "HK007": Cause.BEHIND, "HK008": Cause.PUT_BACK,
    "HK009": Cause.EDITED, "HK010": Cause.TWICE, "HK011": Cause.NOT_INVITED, "HK012": Cause.NAME_TAKEN,
    "HK013": Cause.NOT_ALL_READ, "HK014": Cause.NOT_EMPTY,
}  # fmt: skip
_OF_POSTGRES = (
    ("28", Cause.PASSWORD),  # invalid authorization
    ("3D000", Cause.NO_BOOK),  # no such database
    ("3F000", Cause.NO_BOOK),  # no such schema
    ("42883", Cause.OLDER_SERVER),  # no such function
    ("42P01", Cause.EDITED),  # no such table
    ("42703", Cause.EDITED),  # no such column
    ("42804", Cause.EDITED),
    ("0A000", Cause.EDITED),  # a table has another form than a moment ago
    ("22", Cause.EDITED),  # a value that cannot be where it stands
    ("23", Cause.EDITED),  # a constraint that our functions never meet
    ("42501", Cause.NOT_ALLOWED),
    ("53100", Cause.FULL),
    ("53300", Cause.BUSY),
    ("53", Cause.BUSY),
    ("25006", Cause.READ_ONLY),
    ("57014", Cause.SLOW),  # statement timeout
    ("55P03", Cause.SLOW),  # lock timeout
    ("57", Cause.UNREACHABLE),  # shutting down, starting up, ended by an administrator
    ("08", Cause.UNREACHABLE),
)
_OF_LIBPQ = (  # it gives no code for what happens before there is a connection; the first that is found counts
    ("not permitted to log in", Cause.LOCKED_OUT),
    ("password authentication failed", Cause.PASSWORD),
    ("no password supplied", Cause.PASSWORD),
    ("channel binding", Cause.OTHER_CERTIFICATE),
    ("does not support ssl", Cause.NO_ENCRYPTION),
    ("certificate", Cause.OTHER_CERTIFICATE),
    ("scram", Cause.OTHER_CERTIFICATE),  # it could not prove that it knows this kiosk
    ("no pg_hba.conf entry", Cause.NOT_ALLOWED),
    ("does not exist", Cause.NO_BOOK),
    ("too many", Cause.BUSY),
    ("no space left on device", Cause.FULL),
    ("could not translate host name", Cause.ADDRESS),
    ("failed to resolve host", Cause.ADDRESS),
    ("missing \"=\"", Cause.ADDRESS),
    ("invalid", Cause.ADDRESS),  # a port, an option, a URL
    ("timeout", Cause.SLOW),
)  # fmt: skip


class LinkFault(RuntimeError):
    """The server did not do what was asked.  `cause`; `why` and `remedy` in words; `said` by the server itself."""

    def __init__(self, cause: Cause, said: str = "") -> None:
        self.cause = cause
        self.why, self.remedy = _SAID[cause]
        self.said = " ".join(said.split())
        detail = f" ({self.said})" if self.said else ""
        super().__init__(f"{self.why}{detail}; {self.remedy}")


def fault_of(error: psycopg.Error) -> LinkFault:
    """The fault that an error of PostgreSQL or of the way there comes to."""
    code = error.sqlstate or ""
    said = error.diag.message_primary or str(error)
    if code in _OF_OURS:
        return LinkFault(_OF_OURS[code], said)
    if code and (cause := next((cause for start, cause in _OF_POSTGRES if code.startswith(start)), None)):
        if cause is Cause.PASSWORD and "not permitted to log in" in said:
            cause = Cause.LOCKED_OUT
        return LinkFault(cause, said)
    text = str(error).casefold()
    return LinkFault(next((cause for part, cause in _OF_LIBPQ if part in text), Cause.UNREACHABLE), said)
