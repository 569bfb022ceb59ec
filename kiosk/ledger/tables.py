"""The tables: the lines themselves, and what is derived from them.

Only plain columns (text, whole numbers, floats) and only SQL that PostgreSQL speaks as well.  `KeptLine` is the
truth; every other table follows from it by `derive.changes` and can be thrown away and built again.  Nested
values (an outline, a magazine) are kept as JSON text with sorted keys, so that two replays compare equal.
"""

from __future__ import annotations

from peewee import (
    AutoField,
    CompositeKey,
    DatabaseProxy,
    FloatField,
    IntegerField,
    Model,
    TextField,
)

database = DatabaseProxy()


class Table(Model):
    class Meta:
        database = database
        legacy_table_names = False


class KeptLine(Table):
    """One fact, never changed.  `hash` covers the line and the hash of the line before."""

    id = AutoField()
    utc_s = FloatField(index=True)
    watched_s = FloatField()
    kiosk = TextField()
    operator = TextField(null=True)
    kind = TextField()
    payload = TextField()
    hash = TextField()

    class Meta:
        table_name = "line"


class Mention(Table):
    """Which lines speak of a holder, an assembly, a place, an operator: the index behind every history.

    No foreign key: where a line's id becomes its shared number, SQLite would look through the whole index for it.
    """

    subject = TextField()
    line = IntegerField(column_name="line_id")

    class Meta:
        primary_key = CompositeKey("subject", "line")


class Place(Table):
    code = TextField(primary_key=True)
    name = TextField()
    kind = TextField(index=True)
    parent = TextField(null=True, index=True)
    number = IntegerField(null=True)
    capacity = IntegerField(null=True)
    way = TextField(null=True)
    wet_length_mm = FloatField(null=True)
    magazine = TextField(null=True)  # JSON, for a machine
    owner = TextField(null=True)  # holder key, for a fixed pocket
    retired = IntegerField(default=0)


class Cutter(Table):
    key = TextField(primary_key=True)
    name = TextField()
    dc_mm = FloatField(index=True)
    dmm_mm = FloatField()
    re_mm = FloatField()
    facts = TextField()  # JSON of rules.assembly.Cutter
    regrinds = IntegerField(default=0)
    retired = IntegerField(default=0)


class Holder(Table):
    key = TextField(primary_key=True)
    code = TextField(null=True, index=True)  # the label on it now
    name = TextField(index=True)
    coupling = TextField(index=True)
    clamping = TextField(index=True)
    bore_mm = FloatField(index=True)
    facts = TextField()  # JSON of rules.assembly.Holder
    place = TextField(null=True, index=True)
    since_line = IntegerField(null=True)
    since_utc_s = FloatField(null=True)
    since_watched_s = FloatField(null=True)  # by the clock of `last_kiosk`
    last_kiosk = TextField(null=True)
    assembly = TextField(null=True, index=True)
    heat = TextField()  # a value of cards.Heat
    heat_cycles = IntegerField(default=0)
    heat_unused = IntegerField(default=0)  # 1: heated, and no shrink fit was opened or closed by that heating yet
    retired = IntegerField(default=0)


class Assembly(Table):
    key = TextField(primary_key=True)
    name = TextField(index=True)
    holder = TextField(index=True)
    cutter = TextField(index=True)
    insert_mm = FloatField(null=True)
    measured = TextField(null=True)  # JSON of rules.assembly.Measured
    measured_utc_s = FloatField(null=True)
    length_mm = FloatField(null=True, index=True)
    unbalance = TextField(null=True)  # JSON of rules.assembly.Unbalance
    condition = TextField()
    used_min = FloatField(default=0.0)
    tool_number = IntegerField(null=True)  # what the controls call it
    built_line = IntegerField()
    torn_line = IntegerField(null=True)


class Binding(Table):
    """What a label's text stands for, now or before it was retired."""

    text = TextField(primary_key=True)
    subject = TextField(index=True)
    what = TextField()
    foreign_mark = IntegerField(default=0)
    bound_line = IntegerField()
    retired_line = IntegerField(null=True)


class Printed(Table):
    """A label that was printed and not yet scanned on what it is for."""

    text = TextField(primary_key=True)
    subject = TextField(index=True)
    what = TextField()
    line = IntegerField()


class WornLabel(Table):
    """How damaged a label in use is, where that was ever told of it."""

    text = TextField(primary_key=True)
    spent = FloatField()  # share of its error correction
    line = IntegerField()

    class Meta:
        table_name = "worn_label"


class Hold(Table):
    """The last heating of a holder, as facts; how long its hold lasts is the model's business."""

    holder = TextField(primary_key=True)
    heated_line = IntegerField()
    heated_utc_s = FloatField()
    heated_watched_s = FloatField()
    first_watched_s = FloatField()  # when the heating was scanned first; it may be scanned again
    kiosk = TextField()  # whose clock counts it
    temp_c = FloatField(null=True)
    length_mm = FloatField(null=True)
    # JSON: list of [place code or null, watched_s it came there, number of the line that says so], and a 1 where it has
    # stood for longer than that counts
    stages = TextField()
    readings = TextField()  # JSON: list of [watched_s, where, value_c, instrument, verdict, number of its line]
    body_c = FloatField(null=True)
    body_unknown = IntegerField(default=0)  # as warm as a heating can have made it
    began = TextField(null=True)  # JSON: list of the shop's values it may have begun under, by name; null: not known
    ended_line = IntegerField(null=True, index=True)  # safe to touch since; kept, because it may still be warm
    reading_only = IntegerField(default=0)  # something was not seen: only a reading ends it
    gaps = IntegerField(default=0)  # how often the kiosk stopped watching since
    heats = IntegerField(default=1)  # how many heatings in a row it is the last of, none of whose holds had ended
    earlier = TextField(default="[]")  # JSON: list of those before it, as `hold_facts.Earlier`
    to_be_heated = IntegerField(null=True)  # the step to the station by which it is in doubt, if all was seen till then


class Doubted(Table):
    """A holder the book does not have, though a ledger it replaced knew it as hot: who registers it cannot know."""

    holder = TextField(primary_key=True)
    line = IntegerField()


class Teaching(Table):
    """Readings at pairs of holder type and cooling place, in order: all that was learnt is replayed from."""

    line = IntegerField(primary_key=True)
    pair = TextField(index=True)
    way = TextField()
    watched_s = FloatField()
    where = TextField()
    instrument = TextField()
    value_c = FloatField()
    expected_c = FloatField()
    ambient_c = FloatField()
    by_heat_k = FloatField()
    by_film_k = FloatField()
    other_sd_k = FloatField()
    heating = IntegerField(null=True)  # number of the line that began its heat
    spread_k = FloatField(null=True)
    usual_c = FloatField(null=True)
    about_heat = FloatField(default=0.0)
    films = TextField(default="[]")  # JSON: list of belief.FilmSlope
    withdrawn = IntegerField(null=True)  # number of the line that says it was a slip


class Operator(Table):
    key = TextField(primary_key=True)
    name = TextField()
    role = TextField()
    pin_hash = TextField(null=True)
    retired = IntegerField(default=0)
    language = TextField(default="")


class Audit(Table):
    key = TextField(primary_key=True)
    place = TextField(index=True)
    opened_line = IntegerField()
    opened_utc_s = FloatField()
    closed_line = IntegerField(null=True)
    closed_utc_s = FloatField(null=True)
    operator = TextField(null=True)
    paused = IntegerField(default=0)
    summary = TextField(null=True)  # JSON of the counts at close


class Sighting(Table):
    """One label seen in an audit.  The key is audit and text, so that twice is once."""

    key = TextField(primary_key=True)
    audit = TextField(index=True)
    text = TextField()
    holder = TextField(null=True)
    place = TextField(null=True)
    twin = TextField(null=True)  # seen there too, sooner than one piece of steel can have moved
    stands_empty = IntegerField(default=0)  # an eye said that no cutter is in it
    watched_s = FloatField()
    line = IntegerField()


class Settled(Table):
    """A difference of an audit that was closed by an action or carried over."""

    key = TextField(primary_key=True)
    audit = TextField(index=True)
    text = TextField(index=True)
    difference = TextField(index=True)
    action = TextField()
    reason = TextField()
    booked = TextField(null=True)  # where the book had it
    found = TextField(null=True)  # where it was seen
    name = TextField()
    line = IntegerField()


class Setting(Table):
    name = TextField(primary_key=True)
    value = TextField()


class Claim(Table):
    """What each kiosk claimed last about one matter of one subject, where several write (`rules.merge`)."""

    key = TextField(primary_key=True)  # matter/subject
    made = TextField()  # JSON of rules.merge.Made, one a kiosk


class Difference(Table):
    """Claims of kiosks that had not seen each other's; open until a line closes it that saw them all."""

    key = TextField(primary_key=True)  # matter/subject
    matter = TextField()
    subject = TextField(index=True)
    claims = TextField()  # JSON of rules.merge.Made
    opened_line = IntegerField()
    closed_line = IntegerField(null=True, index=True)


class Member(Table):
    """A kiosk of the shop, by its identity, as its own last word has it."""

    key = TextField(primary_key=True)
    name = TextField()
    at = TextField(null=True)
    heats = IntegerField()
    known = IntegerField()  # by all others, as it says
    line = IntegerField()
    rests = IntegerField()  # closed in order, and nothing of it since
    woke = IntegerField(null=True)  # the first line of it after it rested last
    gone = IntegerField(null=True)  # the line by which it was locked out, or left


class Chained(Table):
    """Where a line stands in its kiosk's own chain, and in the shop's order.  Empty at a kiosk without others.

    book: the hash of all shared lines to this one; null while it waits for its place.
    """

    line = IntegerField(primary_key=True)
    chain = TextField()
    number = IntegerField()
    previous = TextField()
    seen = IntegerField()
    seen_book = TextField()
    stay = IntegerField(null=True)
    age_s = FloatField(null=True)
    book = TextField(null=True)

    class Meta:
        indexes = ((("chain", "number"), True),)


class Image(Table):
    """A row as it was before an own waiting line changed it, so that the line can be undone.  before: JSON or null."""

    id = AutoField()
    what = TextField()  # table
    key = TextField()  # JSON of its key
    before = TextField(null=True)


class Joined(Table):
    """That this kiosk has others, and its identity among them."""

    own = TextField(primary_key=True)


class Watch(Table):
    """How far watched time has come, in one row; kept apart from the lines because it moves every few seconds.

    A ledger has one clock, whatever the kiosk is called.  seal: `lineform.beat_seal` over the row and the hash of
    `line`, the last one when it was written.
    """

    kiosk = TextField(primary_key=True)
    watched_s = FloatField()
    line = IntegerField(default=0)
    seal = TextField(default="")


class Schema(Table):
    name = TextField(primary_key=True)
    version = IntegerField()


DERIVED: tuple[type[Table], ...] = (
    Place, Cutter, Holder, Assembly, Binding, Printed, WornLabel, Hold, Doubted, Teaching, Operator, Audit, Sighting,
    Settled, Setting, Claim, Difference, Member,
)  # fmt: skip
SHARING: tuple[type[Table], ...] = (Chained, Image, Joined)
ALL: tuple[type[Table], ...] = (Schema, Watch, KeptLine, Mention, *DERIVED, *SHARING)
