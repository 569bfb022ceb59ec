"""The kinds of line the ledger keeps, one class each; long, because whoever adds one reads the whole list first.

A line is a fact in the trade's words and is never changed or taken back; a later line corrects it.  Nothing
here writes anything.  Fields are plain values so that a line reads the same in ten years; a field may be
added with a default, none may be renamed (`ledger/upgrade.py` knows the older forms).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, get_args

from kiosk.rules.assembly import Condition, Cutter, Holder, Measured, Unbalance
from kiosk.rules.belief import PROBE_TOLERANCE_K, FilmSlope
from kiosk.rules.fitting.magazine import Magazine
from kiosk.rules.places import Place

THERMOMETER = "by the thermometer"  # why the shop has another temperature
BY_THERMOMETER = ("heat.ambient_c", "heat.ambient_sd_k")  # settings it keeps
OUTSIDE = "changed outside the kiosk"  # why a setting has another value than the kiosk gave it
NOT_VERIFIED = "not verified"  # a step of something cool while the station was not heard
LOOKED = "looked: empty"  # a step into a pocket of which another kiosk knows more, once a hand had looked


@dataclass(frozen=True, slots=True)
class PlaceAdded:
    """A place exists, or exists with these facts from now on (`reason` says why).  `magazine`: for a machine."""

    kind: ClassVar[str] = "place added"
    place: Place
    magazine: Magazine | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class PlaceRetired:
    kind: ClassVar[str] = "place retired"
    code: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class HolderRegistered:
    """A holder exists, or exists with these facts from now on (`reason` says why they changed).

    stood_cold: whoever registers it says that it has not been heated for a day; heard only the first time.
    """

    kind: ClassVar[str] = "holder registered"
    holder: Holder
    reason: str = ""
    stood_cold: bool = False


@dataclass(frozen=True, slots=True)
class HolderRetired:
    kind: ClassVar[str] = "holder retired"
    holder: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class CutterAdded:
    kind: ClassVar[str] = "cutter added"
    cutter: Cutter
    reason: str = ""


@dataclass(frozen=True, slots=True)
class CutterRetired:
    kind: ClassVar[str] = "cutter retired"
    cutter: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class CutterReground:
    """A cutter came back from regrinding.  dc_mm, oal_mm: what it measures now; None: as before."""

    kind: ClassVar[str] = "cutter reground"
    cutter: str
    dc_mm: float | None = None
    oal_mm: float | None = None


@dataclass(frozen=True, slots=True)
class ToolNumbered:
    """What the controls call the assembly in a holder; None: nothing any more."""

    kind: ClassVar[str] = "tool numbered"
    holder: str
    assembly: str
    number: int | None


@dataclass(frozen=True, slots=True)
class CodeBound:
    """A label's text stands for a subject.  `replaces`: the code this one retires in the same line."""

    kind: ClassVar[str] = "code bound"
    text: str
    subject: str  # holder key, place code or operator key
    what: str  # holder, place, operator
    foreign: bool = False  # a mark that was there before us
    replaces: str | None = None


@dataclass(frozen=True, slots=True)
class LabelPrinted:
    """A label was printed for a subject; it stands for it only once it was scanned on the thing itself."""

    kind: ClassVar[str] = "label printed"
    text: str
    subject: str
    what: str  # holder, place, operator


@dataclass(frozen=True, slots=True)
class LabelWorn:
    """A label is damaged otherwise than the book had it.  spent: share of its error correction that takes, 0 to 1."""

    kind: ClassVar[str] = "label worn"
    text: str
    subject: str
    what: str  # holder, place, operator
    spent: float


@dataclass(frozen=True, slots=True)
class CodeRetired:
    kind: ClassVar[str] = "code retired"
    text: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Built:
    kind: ClassVar[str] = "built"
    assembly: str
    name: str
    holder: str
    cutter: str
    insert_mm: float | None = None


@dataclass(frozen=True, slots=True)
class MeasuredLine:
    kind: ClassVar[str] = "measured"
    holder: str
    assembly: str
    values: Measured


@dataclass(frozen=True, slots=True)
class BalancedLine:
    """What the balancing machine said of an assembly."""

    kind: ClassVar[str] = "balanced"
    holder: str
    assembly: str
    values: Unbalance


@dataclass(frozen=True, slots=True)
class Moved:
    """A holder went from place to place.  None: nowhere known.  `undoes`: the line this takes back."""

    kind: ClassVar[str] = "moved"
    holder: str
    origin: str | None
    goal: str | None
    undoes: int | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Heated:
    """The nose was heated at a place.  None: not known, so the hottest plausible."""

    kind: ClassVar[str] = "heated"
    holder: str
    place: str
    temp_c: float | None = None
    length_mm: float | None = None
    heats: int = 1  # cycles this adds to the holder's count; 0 when only its temperature is unknown
    body_c: float | None = None  # how warm its body may still have been from the heating before
    reading_only: bool = False  # nobody knows how warm it is, so time alone proves nothing
    body_unknown: bool = False  # nobody knows how warm its body was: as warm as a heating can have made it
    again: bool = False  # the heating that runs, scanned once more: hot from now on, its body as it was before


@dataclass(frozen=True, slots=True)
class TemperatureRead:
    """A reading at a holder, with what the model expected there at that moment."""

    kind: ClassVar[str] = "temperature read"
    holder: str
    where: str  # nose, flange, shank
    value_c: float
    instrument: str  # probe, infrared
    verdict: str  # agrees, questioned, confirmed
    expected_c: float | None = None
    pair: str = ""  # holder type and cooling place this teaches about; empty: nothing is learnt from it
    way: str = ""  # of that place
    ambient_c: float | None = None  # the rest of the prediction, as `belief.Prediction` has it
    by_heat_k: float | None = None
    by_film_k: float | None = None
    other_sd_k: float | None = None
    heating: int | None = None  # number of the line that began the hold it was taken in; None: there was no hold
    spread_k: float | None = None  # `belief.Prediction` again, in lines since readings count for their own heat
    usual_c: float | None = None
    about_heat: float = 0.0
    films: tuple[FilmSlope, ...] = ()
    tolerance_k: float = PROBE_TOLERANCE_K  # limit of error of the probe


@dataclass(frozen=True, slots=True)
class ReadingWithdrawn:
    """A reading was a slip and counts for nothing any more.  reading: number of its line; the rest is as it said.

    What it let go is held again, and its spot is owed a probe reading before anything else ends that hold.
    """

    kind: ClassVar[str] = "reading withdrawn"
    holder: str
    reading: int
    where: str
    value_c: float
    heating: int | None = None


@dataclass(frozen=True, slots=True)
class HoldEnded:
    """A holder is safe to touch.  `heating`: number of the line that began the hold; None: there was no hold."""

    kind: ClassVar[str] = "hold ended"
    holder: str
    by: str  # time, reading
    heating: int | None = None


@dataclass(frozen=True, slots=True)
class TornDown:
    """A cutter is out of its holder.  `undoes`: the line this takes back; it is in again, as it was."""

    kind: ClassVar[str] = "torn down"
    holder: str
    assembly: str
    undoes: int | None = None


@dataclass(frozen=True, slots=True)
class ConditionSaid:
    """How a cutter is.  `undoes`: the tear-down this takes back, and what was said of the cutter with it."""

    kind: ClassVar[str] = "condition said"
    holder: str
    assembly: str
    condition: Condition
    used_min: float = 0.0
    undoes: int | None = None


@dataclass(frozen=True, slots=True)
class PocketAssigned:
    """A pocket belongs to one holder (fixed), or to none again."""

    kind: ClassVar[str] = "pocket assigned"
    pocket: str
    holder: str | None


@dataclass(frozen=True, slots=True)
class AuditOpened:
    kind: ClassVar[str] = "audit opened"
    audit: str
    place: str  # a place code, or "hot" for everything hot


@dataclass(frozen=True, slots=True)
class Seen:
    kind: ClassVar[str] = "seen"
    audit: str
    text: str
    holder: str | None = None  # None: an unknown or retired code
    place: str | None = None  # where it was seen, when the drawer or slot was scanned first
    by_photo: bool = False
    twin: str | None = None  # seen there too, sooner than one piece of steel can have moved
    empty: bool = False  # an eye said that no cutter is in it


@dataclass(frozen=True, slots=True)
class DifferenceSettled:
    kind: ClassVar[str] = "difference settled"
    audit: str
    text: str  # holder key or code the difference is about
    difference: str
    action: str  # a value of audit.Action
    reason: str = ""
    booked: str | None = None  # where the book had it
    found: str | None = None  # where it was seen
    name: str = ""  # what it was called then


@dataclass(frozen=True, slots=True)
class AuditPaused:
    kind: ClassVar[str] = "audit paused"
    audit: str


@dataclass(frozen=True, slots=True)
class AuditClosed:
    """An audit's counts as they were found.  `active_s`: watched time somebody was at it."""

    kind: ClassVar[str] = "audit closed"
    audit: str
    expected: int
    seen: int
    missing: int
    misplaced: int
    unexpected: int
    unknown: int
    hot: int
    active_s: float = 0.0


@dataclass(frozen=True, slots=True)
class OperatorAdded:
    kind: ClassVar[str] = "operator added"
    operator: str
    name: str
    role: str  # setter, supervisor
    pin_hash: str | None = None
    language: str | None = None  # what the kiosk speaks to them; empty: the shop's; None: as before


@dataclass(frozen=True, slots=True)
class OperatorRetired:
    kind: ClassVar[str] = "operator retired"
    operator: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class SignedIn:
    kind: ClassVar[str] = "signed in"
    operator: str


@dataclass(frozen=True, slots=True)
class SignedOut:
    kind: ClassVar[str] = "signed out"
    operator: str
    by: str = "hand"  # hand, time


@dataclass(frozen=True, slots=True)
class PinGiven:
    """A supervisor gave the right PIN: wrong tries are counted from here."""

    kind: ClassVar[str] = "pin given"
    operator: str


@dataclass(frozen=True, slots=True)
class PhonePaired:
    """A telephone is this person's from now on: what they do by it is written with its name beside the kiosk's."""

    kind: ClassVar[str] = "phone paired"
    name: str
    operator: str | None = None  # None: a shop where nobody has a badge


@dataclass(frozen=True, slots=True)
class PhoneEnded:
    """That telephone asks nothing any more."""

    kind: ClassVar[str] = "phone ended"
    name: str
    operator: str | None = None
    by: str = "hand"  # hand, time, badge (retired), closing


@dataclass(frozen=True, slots=True)
class SettingChanged:
    """A setting has another value.  `reason`: a person's words, or `OUTSIDE` where the file was found changed."""

    kind: ClassVar[str] = "setting changed"
    name: str
    value: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class TurnedAway:
    """A refusal, kept so that a shift can see what went wrong most."""

    kind: ClassVar[str] = "refused"
    text: str
    reason: str
    holder: str | None = None
    place: str | None = None


@dataclass(frozen=True, slots=True)
class KioskStarted:
    """The kiosk began to watch again; what went by before it is not counted.

    settings: name and value of each setting that a decision depends on, as the kiosk found them.
    rehearsal: on a pretended clock; nothing that a ledger says after this line happened to steel.
    """

    kind: ClassVar[str] = "kiosk started"
    version: str
    settings: tuple[tuple[str, str], ...] = ()
    rehearsal: bool = False


@dataclass(frozen=True, slots=True)
class Restored:
    """A backup was put back, or the ledger was found without its end; the named holders count as hot until read.

    unsure: nobody knows whether these were heated after the backup was made, so nobody knows how warm they are.
    cause: a value of `RESTORED`.  absorbed: hashes of the last lines of the ledgers whose knowledge of heat is in
    this line.
    """

    kind: ClassVar[str] = "restored"
    backup: str
    holders: tuple[str, ...] = ()
    unsure: tuple[str, ...] = ()
    cause: str = "backup"  # or `lost`: lines written are gone; `clocks`: counted by several names, as once was so
    absorbed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Imported:
    """The `count` lines before this one came from `source` in one step."""

    kind: ClassVar[str] = "imported"
    source: str
    count: int


@dataclass(frozen=True, slots=True)
class ImportUndone:
    """The lines of the import that ended with line `imported` were taken back, as far as they could be."""

    kind: ClassVar[str] = "import undone"
    imported: int
    reason: str = ""


@dataclass(frozen=True, slots=True)
class ClaimSettled:
    """A difference between kiosks that worked apart is settled by a hand.  matter: a value of `merge.Matter`."""

    kind: ClassVar[str] = "claim settled"
    matter: str
    subject: str
    value: str  # what is the case
    reason: str = ""


@dataclass(frozen=True, slots=True)
class KioskStands:
    """The kiosk that writes this, one of several, is called so and stands there (place code; None: nowhere special).

    heats: heatings are booked at it.  known: every other kiosk has applied the line that said so, so that it may work.
    """

    kind: ClassVar[str] = "kiosk stands"
    name: str
    at: str | None = None
    heats: bool = True
    known: bool = False


@dataclass(frozen=True, slots=True)
class KioskRests:
    """The kiosk that writes this is closed in order: nothing is done at it before its next line has its shared number.

    Whoever knows all shared lines up to a moment therefore knows all that was done at this kiosk until then.
    """

    kind: ClassVar[str] = "kiosk rests"


@dataclass(frozen=True, slots=True)
class KioskLockedOut:
    """A kiosk (its identity) works in this shop no more: stolen, lost, or it left; the server takes no line after this.

    name: as people called it.  shared: how many lines of it the shop's book has.  unshared: how many more it had
    written when it was heard last, which nobody knows; what was heated there since it was heard is among them.
    """

    kind: ClassVar[str] = "kiosk locked out"
    kiosk: str
    name: str
    shared: int = 0
    unshared: int = 0


Entry = (
    PlaceAdded
    | PlaceRetired
    | HolderRegistered
    | HolderRetired
    | CutterAdded
    | CutterReground
    | ToolNumbered
    | CutterRetired
    | CodeBound
    | LabelPrinted
    | LabelWorn
    | CodeRetired
    | Built
    | MeasuredLine
    | BalancedLine
    | Moved
    | Heated
    | TemperatureRead
    | ReadingWithdrawn
    | HoldEnded
    | TornDown
    | ConditionSaid
    | PocketAssigned
    | AuditOpened
    | Seen
    | DifferenceSettled
    | AuditPaused
    | AuditClosed
    | OperatorAdded
    | OperatorRetired
    | SignedIn
    | SignedOut
    | PhonePaired
    | PhoneEnded
    | PinGiven
    | SettingChanged
    | TurnedAway
    | KioskStarted
    | Restored
    | Imported
    | ImportUndone
    | ClaimSettled
    | KioskStands
    | KioskRests
    | KioskLockedOut
)

KINDS: dict[str, type[Entry]] = {entry.kind: entry for entry in get_args(Entry)}
