"""The outcome card: what came of the last scan, in letters that are read from two metres.

State word and shape first, then what it is, from where to where, why not and what to do instead, and what to
scan next.  It shows what it is given and decides nothing.
"""

from __future__ import annotations

from kivy.properties import OptionProperty, StringProperty
from kivy.uix.boxlayout import BoxLayout

from kiosk.screens.kv import load_beside


class Badge(BoxLayout):
    """The state word in its colour with its shape: ✓ done, × stop, none while waiting."""

    state = OptionProperty("idle", options=("idle", "wait", "done", "stop"))
    text = StringProperty()


class OutcomeCard(BoxLayout):
    """`state` with its `word`; `title` (Ø12 R0.5), `detail` (coupling and code), `origin` → `goal`,

    `why` and `remedy` of a refusal, `next` (what to scan).
    """

    state = OptionProperty("idle", options=("idle", "wait", "done", "stop"))
    word = StringProperty()
    title = StringProperty()
    detail = StringProperty()
    origin = StringProperty()
    goal = StringProperty()
    why = StringProperty()
    remedy = StringProperty()
    next = StringProperty()


load_beside(__file__)
