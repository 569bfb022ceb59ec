"""Questions of a new kiosk's first steps: how far they are, and what each of them writes down."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from kiosk.rules.shop_things.forms import Thing
from kiosk.screens.questions import Question
from kiosk.settings import CameraSettings, Settings
from kiosk.words import t

if TYPE_CHECKING:  # the window, which asks whether they are wanted, is there before the desk is loaded
    from kiosk.desk import Desk
    from kiosk.desk.setting_up import Entered

STEPS = ("language", "stands", "at", "panel", "camera", "supervisor", "end")
DONE = "done"
AT_ONCE = (Thing.SHRINK, Thing.BENCH, Thing.PRESETTER)  # added with their name alone
ASKED = (Thing.COOLING, Thing.CABINET, Thing.MACHINE)  # these have a form of their own, after the first steps


class Far(NamedTuple):
    """step: the one that is next, or done.  stations: there is a place where the kiosk may stand.  camera: as it is
    turned now.  there: kinds of things that stand beside the kiosk.  next_thing: the first of them that is not in the
    book yet.  supervisor: the name of whoever was about to choose a PIN."""

    step: str
    stations: bool
    camera: CameraSettings
    there: frozenset[str] = frozenset()
    next_thing: str = ""
    supervisor: str = ""


def far() -> Question[Far]:
    """How far the first steps are."""

    def answer(desk: Desk) -> Far:
        from kiosk.desk import first_steps as steps

        session, counter = desk.session, desk.shop.setting_up
        known = steps.read(session.book.path.parent)
        here = [card for card in desk.people.operators() if card.name == known.supervisor and not card.retired]
        made = any(desk.people.has_pin(card.key) for card in here)
        step = "end" if made and known.step == "supervisor" else known.step  # killed after the PIN was chosen
        booked = {thing.value for thing in (*AT_ONCE, *ASKED) if counter.listed((thing,))}
        later = [kind for kind in known.stands if kind not in booked]
        return Far(
            step,
            bool(_stations(desk)),
            session.settings.camera,
            frozenset(booked.union(later)),
            later[0] if later else "",
            "" if made else known.supervisor,
        )

    return answer


def reached(step: str) -> Question[None]:
    """This step is next."""

    def answer(desk: Desk) -> None:
        from kiosk.desk import first_steps as steps

        steps.reached(desk.session.book.path.parent, step)

    return answer


def finished() -> Question[None]:
    """The first steps are over."""
    return reached(DONE)


def wanted() -> Question[bool]:
    """Whether a kiosk opens with its first steps: the shop has nothing yet, or they were begun and not ended."""

    def answer(desk: Desk) -> bool:
        from kiosk.desk import first_steps as steps

        step = steps.read(desk.session.book.path.parent).step
        return step != DONE and (desk.shop.empty or step != STEPS[0])

    return answer


def stations() -> Question[tuple[tuple[str, str], ...]]:
    """Code and name of each place that stands for itself and takes holders."""
    return _stations


def _stations(desk: Desk) -> tuple[tuple[str, str], ...]:
    from kiosk.rules.places import Kind

    own = (card for card in desk.shop.places() if card.place.parent is None and not card.retired)
    return tuple((each.place.code, each.name) for each in own if each.place.kind not in (Kind.MACHINE, Kind.OUT))


def stands_at(code: str) -> Question[None]:
    """The kiosk stands at this place, or at none.  Raises SettingsFault, Locked, NotThere."""

    def answer(desk: Desk) -> None:
        from kiosk.screens.questions.kiosks import stand_at

        stand_at(code)(desk)
        reached("panel")(desk)

    return answer


def setting(table: str, key: str, value: str, then: str) -> Question[Settings]:
    """A setting that a step gives, and the step that comes after it.  Raises Locked, SettingsFault."""

    def answer(desk: Desk) -> Settings:
        if key == "language" and desk.session.settings.kiosk.language == value:
            settings = desk.session.settings
        else:
            settings = desk.people.change_setting(table, key, value, t("first.reason"))
        reached(then)(desk)  # not before: what is killed between the two asks once more, and has lost nothing
        return settings

    return answer


def stands(thing: Thing) -> Question[Entered | None]:
    """A place that stands beside the kiosk, once; None: there is one of its kind, or it is asked for later.

    Raises Locked, ThingFault.
    """

    def answer(desk: Desk) -> Entered | None:
        from kiosk.desk import first_steps as steps
        from kiosk.desk.session import Locked

        counter = desk.shop.setting_up
        if thing in ASKED:
            steps.stands(desk.session.book.path.parent, thing.value)
            return None
        if counter.listed((thing,)):
            return None
        if counter.needs_supervisor:
            raise Locked
        return counter.add(thing, {"name": t(f"kind.{thing.value}")})

    return answer


def named(name: str) -> Question[bool]:
    """Who is about to choose a PIN, written down; False: somebody is called so already."""

    def answer(desk: Desk) -> bool:
        from kiosk.desk import first_steps as steps

        there = {card.name.casefold() for card in desk.people.operators() if not card.retired}
        if name.casefold() in there:
            return False
        steps.supervisor(desk.session.book.path.parent, name)
        return True

    return answer
