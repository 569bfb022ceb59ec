"""Build-up: scan a holder, choose a cutter, see what fits and why not, and build it in.

For a shrink fit it shows what the setter dials in and what the fit will hold.  What fits is the desk's answer; a
cutter that does not is shown with its reason and cannot be built in.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, ObjectProperty, OptionProperty, StringProperty

from kiosk.rules.assembly import Holder
from kiosk.rules.cards import HolderCard
from kiosk.rules.fitting.fits import Finding, Fit
from kiosk.rules.holder_drawing import Drawing, draw, draw_holder
from kiosk.rules.say import Say
from kiosk.screens.clerk import coupling_words, fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.outcomes_shown import counts_as_hot, for_heat
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions import bench as asks
from kiosk.screens.questions import common
from kiosk.screens.questions import hot as hot_asks
from kiosk.screens.questions.bench import BuildRefused, Offer
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import say, t

DRAWING_MM = 18.2  # with the edge of its ground and the gap above
PAGE_OF_REASONS = 3
REFUSED = "refused"  # the finding that the desk made of the touch


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    SCAN = "scan"
    CUTTERS = "cutters"
    FITS = "fits"
    DEPTH = "depth"
    DONE = "done"


class BuildScreen(View):
    """Four steps, and a pad for the depth."""

    name = "build"
    rail = "shop"
    covers = Covers.RAIL
    signs_in = True

    page = OptionProperty(Page.SCAN, options=list(Page))
    title = StringProperty()
    detail = StringProperty()
    trouble = StringProperty()
    for_heat = BooleanProperty(False)  # that is why
    offers = ListProperty()
    cutter = StringProperty()
    findings = ListProperty()
    figures = StringProperty()
    depth = StringProperty()
    drawing = ObjectProperty(None, allownone=True)  # the cutter in the holder, as deep as it will sit
    ok = BooleanProperty(False)
    hot = BooleanProperty(False)  # what was built is hot, or not known to be cool

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._holder = ""
        self._offers: dict[str, Offer] = {}
        self._cutter = ""
        self._depth_mm: float | None = None
        self._steel: Holder | None = None

    def shown(self, key: str = "", **_: Any) -> None:
        self.trouble = ""
        if key:
            self._take(key)
        else:
            self.page = Page.SCAN

    def scanned(self, text: str) -> bool:
        """A holder to build into; once it is built, the next scan takes it where it goes."""
        if self.page == Page.DONE:
            return False
        if self.page not in (Page.SCAN, Page.CUTTERS):
            return True
        self.clerk.ask(asks.holder_labelled(text), lambda card: self._take(card.holder.key), self._failed)
        return True

    def back(self) -> None:
        """One step back, or out."""
        refused = self.page == Page.FITS and any(each.key == REFUSED for each in self.findings)
        if self.page in (Page.SCAN, Page.DONE):
            self.clerk.back()
            return
        if refused:
            self.offers = []  # another hand was quicker: what could be chosen is no longer known
            self._take(self._holder)
        self.page = {Page.CUTTERS: Page.SCAN, Page.FITS: Page.CUTTERS, Page.DEPTH: Page.FITS}[self.page]

    def _take(self, key: str) -> None:
        self._holder = key
        self.clerk.ask(asks.offers(key), self._offered, self._failed)

    def _offered(self, answer: tuple[HolderCard, tuple[Offer, ...], BuildRefused | None]) -> None:
        card, offers, not_here = answer
        self.trouble = ""
        self._steel = card.holder
        self.title = card.holder.name
        self.detail = coupling_words(card)
        if not_here is not None:
            self._failed(not_here)
            return
        self._offers = {offer.cutter.key: offer for offer in offers}
        self.offers = [_offer(offer) for offer in offers]
        self.page = Page.CUTTERS

    def choose(self, choice: Choice) -> None:
        """A cutter to look at."""
        self._cutter, self._depth_mm = choice.key, None
        self.cutter = choice.text
        self._ask()

    def take_depth(self, value_mm: float) -> None:
        """The shank goes that deep."""
        self._depth_mm = value_mm
        self._ask()

    def _ask(self) -> None:
        holder, cutter, depth_mm = self._holder, self._cutter, self._depth_mm
        self.clerk.ask(asks.fit(holder, cutter, depth_mm), self._fits, self._failed)

    def _fits(self, fit: Fit) -> None:
        self.ok = fit.ok
        self.findings = [_finding(finding, at) for at, finding in enumerate(fit.findings)]
        self.figures = _figures(fit)
        dial = fit.shrink.dial if fit.shrink else None
        depth_mm = self._depth_mm or (dial.insert_mm if dial else None)
        self.depth = t("build_up.depth", depth_mm=depth_mm)
        offer = self._offers.get(self._cutter)
        if self._steel is not None and offer is not None:
            self.drawing = draw(self._steel, offer.cutter, depth_mm)
        self.page = Page.FITS

    def reasons_px(self, count: int, row_px: float, room_px: float, mm: float) -> float:
        """Height of the list of reasons, each `row_px` high, in a room that it shares with the drawing below.

        All of them where the drawing keeps its least height beside, else three and the keys that turn the page, else
        the whole room: a drawing of a few millimetres says nothing.
        """
        for shown in (count, min(count, PAGE_OF_REASONS)):
            if shown * row_px + DRAWING_MM * mm <= room_px:
                return shown * row_px
        return room_px

    def build(self) -> None:
        """Build it in."""
        holder, cutter, depth_mm = self._holder, self._cutter, self._depth_mm
        self.ok = False  # a second touch while the desk writes must not ask again
        self.clerk.ask(asks.build(holder, cutter, depth_mm), self._built, self._failed)

    def _built(self, card: HolderCard) -> None:
        self.title, self.hot = card.name, counts_as_hot(card)
        self.drawing = None if self.hot else draw_holder(card.holder, card.assembly)
        if self.hot:
            self.clerk.ask(hot_asks.drawing(card.holder.key), self._drawn, self._failed)
        shrinks = card.holder.clamping.value == "shrink_fit"
        self.detail = t("build_up.next_shrink") if shrinks else t("build_up.next_measure")
        self.clerk.play(Sound.DONE)
        self.page = Page.DONE
        self.clerk.ask(common.next_step(card.holder.key), self._goes_on, self._failed)

    def _drawn(self, drawing: Drawing) -> None:
        """What is hot, with how warm each part may be: drawn plain it would look cool."""
        self.drawing = drawing

    def _goes_on(self, step: Say | None) -> None:
        """What comes next, and where."""
        if step is not None:
            self.detail = say(step)

    def _failed(self, error: Exception) -> None:
        self.for_heat = for_heat(error)
        self.clerk.play(Sound.HOT if self.for_heat else Sound.REFUSED)
        if isinstance(error, BuildRefused):
            self.trouble = f"{say(error.why)}. {say(error.remedy)}"
        else:
            self.trouble = fault_words(error)
        if self.page in (Page.FITS, Page.DEPTH):
            refused = Choice(REFUSED, t("build_up.stops"), self.trouble, "hot" if self.for_heat else "stop")
            self.ok, self.page = False, Page.FITS
            self.findings = [refused, *(each for each in self.findings if each.key != REFUSED)]
        else:
            self.offers = []
            self.page = Page.SCAN


def _offer(offer: Offer) -> Choice:
    """A cutter, and whether it fits: the first thing that stops it, if anything does."""
    blocking = next((finding for finding in offer.fit.findings if finding.blocking), None)
    if blocking is None:
        return Choice(offer.cutter.key, offer.cutter.name, t("build_up.fits"), "done")
    why = say(Say(blocking.message_id, tuple(blocking.values.items())))
    return Choice(offer.cutter.key, offer.cutter.name, why, "stop")


def _finding(finding: Finding, at: int) -> Choice:
    words = say(Say(finding.message_id, tuple(finding.values.items())))
    word = t("build_up.stops") if finding.blocking else t("build_up.mind")
    return Choice(str(at), word, words, "stop" if finding.blocking else "")


def _figures(fit: Fit) -> str:
    parts = []
    if fit.speed_limit_rpm is not None:
        parts.append(t("build_up.speed", limit_rpm=fit.speed_limit_rpm))
    shrink = fit.shrink
    if shrink is not None:
        parts.append(t("build_up.opening", opening_um=shrink.opening_um, margin_um=shrink.margin_um.least))
        parts.append(t("build_up.needs", needed_c=shrink.needed_c))
        if shrink.rest is not None:
            parts.append(t("build_up.holds", torque_nm=shrink.rest.torque_nm.least))
        parts.append(t("build_up.heats", count=shrink.heats_left))
    return "\n".join(parts)


load_beside(__file__)
