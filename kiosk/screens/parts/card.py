"""The outcome card: what came of the last scan, in letters that are read from two metres.

State word and shape first, then what it is, from where to where, why not and what to do instead, and what to
scan next.  It shows what it is given and decides nothing.
"""

from __future__ import annotations

from kivy.properties import BooleanProperty, OptionProperty, StringProperty
from kivy.uix.boxlayout import BoxLayout

from kiosk.screens.kv import load_beside

STATES = ("idle", "wait", "done", "stop", "heat")


class Badge(BoxLayout):
    """The state word in its colour with its shape: ✓ done, × stop, the hot surface for heat, none while waiting.

    Heat is the state of whatever was done with a holder that is hot, or of which nobody knows that it is cool.
    """

    state = OptionProperty("idle", options=STATES)
    signed = BooleanProperty(False)  # its state has a shape
    text = StringProperty()


class OutcomeCard(BoxLayout):
    """`state` with its `word`; `title` (Ø12 R0.5), `detail` (coupling and code), `origin` → `goal`,

    `why` and `remedy` of a refusal, `next` (what to scan).
    """

    state = OptionProperty("idle", options=STATES)
    word = StringProperty()
    title = StringProperty()
    detail = StringProperty()
    origin = StringProperty()
    goal = StringProperty()
    why = StringProperty()
    remedy = StringProperty()
    next = StringProperty()


load_beside(__file__)
