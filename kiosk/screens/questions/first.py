"""Questions of a new kiosk's first steps: how far they are, and what each of them writes down."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from kiosk.screens.questions import Question
from kiosk.settings import CameraSettings, Settings
from kiosk.words import t

if TYPE_CHECKING:  # the window, which asks whether they are wanted, is there before the desk is loaded
    from kiosk.desk import Desk
    from kiosk.desk.setting_up import Entered
    from kiosk.rules.shop_things.forms import Thing

STEPS = ("language", "stands", "at", "panel", "camera", "supervisor", "end")
DONE = "done"


class Far(NamedTuple):
    """step: the one that is next, or done.  stations: there is a place where the kiosk may stand.  camera: as it is
    turned now."""

    step: str
    stations: bool
    camera: CameraSettings


def far() -> Question[Far]:
    """How far the first steps are."""

    def answer(desk: Desk) -> Far:
        from kiosk.desk import first_steps as steps

        session = desk.session
        return Far(steps.step(session.book.path.parent), bool(_stations(desk)), session.settings.camera)

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

        step = steps.step(desk.session.book.path.parent)
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

        reached("panel")(desk)
        stand_at(code)(desk)

    return answer


def setting(table: str, key: str, value: str, then: str) -> Question[Settings]:
    """A setting that a step gives, and the step that comes after it.  Raises Locked, SettingsFault."""

    def answer(desk: Desk) -> Settings:
        reached(then)(desk)
        if key == "language" and desk.session.settings.kiosk.language == value:
            return desk.session.settings
        return desk.people.change_setting(table, key, value, t("first.reason"))

    return answer


def stands(thing: Thing) -> Question[Entered | None]:
    """A place that stands beside the kiosk, once; None: there is one of its kind.  Raises Locked, ThingFault."""

    def answer(desk: Desk) -> Entered | None:
        from kiosk.desk.session import Locked

        counter = desk.shop.setting_up
        if counter.listed((thing,)):
            return None
        if counter.needs_supervisor:
            raise Locked
        return counter.add(thing, {"name": t(f"kind.{thing.value}")})

    return answer
