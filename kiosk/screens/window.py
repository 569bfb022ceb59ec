"""Kivy's side of the window: the frame, the screens, and what goes on between them.

Starts the camera, and when its first picture is seen the worker that owns the desk; makes the clerk who goes between
screens and desk; rebuilds the frame when language or colours change.  Nothing in here may wait.
"""

from __future__ import annotations

import gc
import logging
import threading
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kivy.app import App
from kivy.clock import Clock
from kivy.core.window import Window

from kiosk import installed, telling, where, words
from kiosk.reader.kept import FOLDER, Keeper, Ring
from kiosk.rules import codes
from kiosk.rules.cards import NO_TIME
from kiosk.screens import theme
from kiosk.screens.beginning import Beginning
from kiosk.screens.camera import Eye
from kiosk.screens.clerk import Clerk
from kiosk.screens.copying import Copying
from kiosk.screens.frame import Frame
from kiosk.screens.kept import Kept
from kiosk.screens.options import Options
from kiosk.screens.pages import SCREENS, SOON, build, loading, screen_class
from kiosk.screens.pulse import Pulse, pulse
from kiosk.screens.questions import common
from kiosk.screens.sounds import Sound, Sounds
from kiosk.screens.telephones import Telephones
from kiosk.screens.theme import look
from kiosk.screens.tongue import Tongue, tidy
from kiosk.screens.turns import Turns
from kiosk.screens.typed_keys import TypedKeys
from kiosk.screens.view import View
from kiosk.screens.worker import Worker
from kiosk.sd_notify import ServiceManager
from kiosk.settings import Settings
from kiosk.words import t

if TYPE_CHECKING:  # the desk is loaded and opened on its own thread, once the first picture is there
    from kiosk.desk import Desk
    from kiosk.rehearsal import PretendedTime
    from kiosk.rules.lines import SettingChanged
    from kiosk.screens.showing import Showing

TICK_S = 1.0
COPY_S = 600.0  # how often it is looked whether the day's copy is due
FIRST_PICTURE_S = 0.3  # the desk leaves the processor to the camera's first picture so long, and no longer
FIRST_SLICE_S = 1.0  # after the desk was opened, before screens are built that nobody has asked for
SLICE_EVERY_S = 0.1
UNTOUCHED_S = 0.5  # so long after a touch nothing is built that was not asked for
NAME_LETTERS = 20  # of a name on the strip
QUIET_S = 5.0  # after the desk was opened, before anything is read that only a later touch needs

log = logging.getLogger("kiosk.window")


class KioskApp(App):
    """The kiosk in its window."""

    title = "Holder Kiosk"

    def __init__(
        self, options: Options, worker: Worker, settings: Settings, clock: PretendedTime | None = None, **kwargs: Any
    ) -> None:
        """`worker` has not begun to open the desk.  settings: the shop's, as their file says.

        clock: what the desk lives by, where a shift is shown.
        """
        super().__init__(**kwargs)
        self.options = options
        self._clock = clock
        self.showing: Showing | None = None
        self.dwell_s = 0.0  # how long each step of it stands; 0: as long as a person needs
        self.icon = str(where.assets() / "icons" / "app.png")
        self.worker = worker
        worker.at_fault, worker.at_refusal = self._fault, self.stop
        worker.can_mend, worker.at_damage = self._can_mend, self._unreadable
        self.sounds = Sounds()
        self.clerk = Clerk(self.worker, self.sounds, self._show)
        self.telephones = Telephones(self.clerk, worker, options.data_dir, options.phones)
        self._turns = Turns()
        self._typed = TypedKeys(self.clerk, self._turns)
        self._tongue = Tongue(self.clerk, self._say_anew)
        self._copying = Copying(self.clerk, self.worker)
        self.beginning = Beginning(options, self.clerk, self.stop)
        theme.fonts()  # before the first text is measured
        self.settings_now = self.clerk.settings = settings
        self._wear(self.settings_now)
        self.frame = Frame()
        self.frame.say_anew()
        self.eye: Eye | None = None
        self._kept: Kept | None = None
        self._desk_spoke = threading.Event()
        self._keeper: Keeper | None = None
        self._asked = False
        self._drawn = False  # a picture was on the screen
        self._anew = False  # all is to be built anew once nothing holds the window
        self._touched_s = 0.0
        self._built = Clock.create_trigger(self._build_next, SLICE_EVERY_S, interval=True)

    def be_kept(self, manager: ServiceManager) -> None:
        """The service keeps this window: only a supervisor's PIN leaves it."""
        self._kept = Kept(manager, self.stop)
        self.clerk.leave = self.stop

    def open_settings(self, *_: object) -> bool:
        """Kivy's own settings, which F1 would open: never."""
        return True

    def open(self) -> None:
        """Build the scan screen and begin to look: the camera starts while the first frame is drawn."""
        self._furnish()
        if self._clock is not None and self.options.camera:
            self._show_shift(Path(self.options.camera), self._clock)
            return
        self._keeper = Keeper(Ring(self.options.data_dir / FOLDER))
        self._keeper.on = self.settings_now.camera.keep_unread
        post, scanned = self.worker.post, self.clerk.scanned
        self.eye = self.clerk.eye = Eye(
            self._scan_screen, post, scanned, self._desk_spoke, self._keeper, self._turns.take, self._damaged
        )
        self.eye.open(self.options.camera or self.settings_now.camera.source, self.settings_now.camera)

    def _damaged(self, spent: Mapping[str, float]) -> None:
        self.worker.ask(common.labels_looked_at(spent))

    def _show_shift(self, folder: Path, clock: PretendedTime) -> None:
        """The photographs of a shift are held before the camera one by one, and its other steps done as by hand."""
        from kiosk.rehearsal import steps_in
        from kiosk.screens.showing import DWELL_S, Showing

        self.showing = Showing(steps_in(folder), self.clerk, clock, self.dwell_s or DWELL_S)
        post, scanned = self.worker.post, self.showing.scanned
        self.eye = self.clerk.eye = Eye(self._scan_screen, post, scanned, self._desk_spoke, in_turn=self._turns.take)
        self.eye.look(self.showing.source, self.settings_now.camera)
        Clock.schedule_once(lambda _: self.showing.start(), 1.0)

    def build(self) -> Frame:
        Window.allow_screensaver = False  # a screen that goes dark hides what is hot
        Window.bind(size=self._fit, on_key_down=self._typed.key)
        Window.bind(on_touch_down=self._touched, on_touch_up=self._touched)
        if self._kept is not None:
            self._kept.guard()
        Window.bind(on_flip=self._flipped)
        self._tick(0.0)  # before all else: what is hot, and the screen that fills the window for it
        self.clerk.fetch("heat")
        self.worker.ask(_reached)  # before anything a hand does is written
        self.worker.ask(_load_check)
        self.worker.ask(common.changed_outside(), self._opened)
        self.worker.ask(common.past_lost(), self.clerk.begins_without)
        Clock.schedule_interval(self._tick, TICK_S)
        Clock.schedule_interval(lambda _: self._copying.look(), COPY_S)
        Clock.schedule_interval(self._framed, 0)
        return self.frame

    def _framed(self, _: float) -> None:
        now_s = time.monotonic()
        self._typed.framed(now_s)
        self._turns.framed(now_s)

    def close(self) -> None:
        """Let camera and desk go; harmless when that has been done."""
        if self._kept is not None and self.beginning.goes_to is None:
            self._kept.ending()  # not where another shop is opened in this one's place: that lives on in this process
        if self.showing is not None:
            self.showing.stop()
        if self.eye is not None:
            self.eye.close(0.5)
        if self._keeper is not None:
            self._keeper.stop(0.5)
        self.telephones.close()
        self.worker.stop()

    def _flipped(self, *_: object) -> None:
        """A picture is on the screen; with the camera's in it, or after a while without, it is the desk's turn."""
        if not self._drawn:
            self._drawn = True
            Clock.schedule_once(lambda _: self.worker.begin(), FIRST_PICTURE_S)
        if self.eye is None or self.eye.settled:
            Window.unbind(on_flip=self._flipped)
            self.worker.begin()

    def _furnish(self) -> None:
        """Build the scan screen; the others follow when they are wanted, a few while nobody touches anything."""
        screen_class("scan")
        self.clerk.offer(SCREENS, _to_stay, loading)
        frame = self.frame
        frame.bind(on_go=lambda _, name: self.clerk.go(name), on_who=lambda _: self._who())
        self.clerk.bind(hot=self._strip, here=self._strip, operator=self._strip, trouble=self._strip)
        self.clerk.bind(heat_known=self._strip, wanted=self._strip, link=self._strip, mark=self._strip)
        self.clerk.bind(settings=self._settled, operator=lambda *_: self._tongue.came_or_went())
        self.clerk.speaks = self._tongue.before
        self.clerk.go("scan")
        self._strip()

    def _who(self) -> None:
        """Whoever is at work touched their name."""
        if self.clerk.operator is not None:
            self.clerk.go("people", act="person", key=self.clerk.operator.key)

    def _build_next(self, _: float) -> None:
        """The next screen nobody has wanted yet: loaded, by the desk's thread, and one of `SOON` built as well."""
        if time.monotonic() - self._touched_s < UNTOUCHED_S:
            return
        for name in self.clerk.unbuilt((*SOON, *SCREENS)):
            if not self.clerk.fetch(name):
                return
            if name in SOON:
                self.clerk.screen(name)
                return
        self._built.cancel()

    def _touched(self, *_: object) -> None:
        self._touched_s = time.monotonic()
        self.clerk.busied()

    def _show(self, view: View) -> None:
        self.frame.show(view)
        if self._anew and self.clerk.holding is None:
            self._anew = False
            Clock.schedule_once(lambda _: self._rebuild())

    def _strip(self, *_: object) -> None:
        frame, clerk = self.frame, self.clerk
        holds = [card.hold for card in clerk.hot if card.hold and card.hold.until not in NO_TIME]
        soonest = min(holds, key=lambda hold: hold.remaining_s or 0.0, default=None)
        frame.hot, frame.wanted = len(clerk.hot), clerk.wanted
        frame.next_s = -1 if soonest is None or soonest.remaining_s is None else soonest.remaining_s
        frame.by_reading = soonest is not None and soonest.needs_reading
        card, probe = clerk.advice or (None, None)
        frame.probe_of = _short(card.name) if card and probe and not probe.in_s else ""
        frame.probe = t("strip.advice", name=frame.probe_of) if frame.probe_of else ""
        if soonest is None and any(each.hold and each.hold.air_too_warm for each in clerk.hot):
            frame.probe, frame.probe_of = t("heat.air_too_warm"), ""
        who = clerk.operator.name if clerk.operator else ""
        link = clerk.link.words if clerk.link else ""
        parts = (who, clerk.here, link) if clerk.link and clerk.link.quiet else (link, who, clerk.here)
        frame.note = " · ".join(part for part in (clerk.mark, *parts) if part)  # what does not fit is cut at its end
        frame.mark = clerk.mark
        opening = t("strip.coming") if clerk.wanted else ""
        opening = opening if clerk.heat_known else t("strip.unreadable" if self.worker.broken else "strip.opening")
        frame.trouble = " · ".join(part for part in (opening, clerk.trouble) if part)

    def _opened(self, changed: Sequence[SettingChanged]) -> None:
        """The desk is open; settings that decide and that nobody changed here are told as it is."""
        for number, sound in enumerate(Sound):  # one a frame or so; what plays them came with the heat screen
            Clock.schedule_once(lambda _, sound=sound: self.sounds.load(sound), 0.5 + 0.1 * number)
        Clock.schedule_once(lambda _: self._built(), FIRST_SLICE_S)
        Clock.schedule_once(lambda _: self.worker.ask(common.warm_up, patient=True), QUIET_S)
        if self.options.prove:
            self.stop()
            return
        self.telephones.settle(self.settings_now.phones)
        self.beginning.look()
        if changed:
            told = ", ".join(f"{line.name} = {line.value}" for line in changed)
            self.clerk.trouble = t("settings.changed_outside", settings=told)

    def _can_mend(self, error: Exception) -> bool:
        """On the desk's thread: whether a hand here can put a copy in the place of a book that does not open."""
        if self.options.prove or self.options.shift or installed.on_trial() or not telling.is_damage(error):
            return False
        screen_class("health")  # with the rooms of the desk it needs, which Kivy's thread never loads
        return True

    def _unreadable(self, _: Exception) -> None:
        """The book does not open: what can be put back is all there is to do, and nothing counts as cool."""
        self.clerk.heat_known = False
        self._strip()
        self.clerk.go("health", data=self.options.data_dir)

    def _fit(self, *_: object) -> None:
        width, height = Window.size
        look.fit(width, height, self.settings_now.kiosk.px_per_mm or None)

    def _settled(self, _: object, settings: Settings) -> None:
        """Settings changed."""
        before, self.settings_now = self.settings_now, settings
        self.telephones.settle(settings.phones)
        if self._keeper is not None:
            self._keeper.on = settings.camera.keep_unread
        worn = (look.colours, before.kiosk.language, before.kiosk.units)
        self._wear(settings)
        if worn != (settings.kiosk.theme, settings.kiosk.language, settings.kiosk.units):
            self._rebuild()
        elif before.camera != settings.camera and self.eye is not None and not self.options.camera:
            self.eye.open(settings.camera.source, settings.camera)

    def _wear(self, settings: Settings) -> None:
        """Take on what the settings say of colours, words, lengths, sounds and the scanner."""
        self.sounds.volume, self.sounds.muted = settings.kiosk.volume, settings.kiosk.muted
        self._fit()
        self._typed.wear(settings.scanner)
        words.show_inches(settings.kiosk.units == "inch")
        if look.colours != settings.kiosk.theme:
            look.wear(settings.kiosk.theme)
        self._tongue.settle()

    def _rebuild(self) -> None:
        """The same window in another language or other colours; an alarm stays as it is until it is understood, and
        what is told first until it was read."""
        view = self.clerk.view
        if self.clerk.holding is not None or (view is not None and view.tells_first):
            self._anew = True
            return
        here = view.name if view else "scan"
        self.clerk.start_over()
        tidy()
        self._say_anew()
        self.clerk.go("scan")
        if here != "scan":
            self.clerk.go(here)

    def _say_anew(self) -> None:
        """Strip, rail and the screens to come, in what is spoken now."""
        self.frame.say_anew()
        if self.eye is not None:
            self.eye.move(self._scan_screen)
        self._strip()
        self._built()

    @property
    def _scan_screen(self) -> Any:
        return self.clerk.screen("scan")

    def _tick(self, _: float) -> None:
        """Once a second, unless the last second's question is still being answered."""
        if not self._asked:
            self._asked = True
            self.worker.ask(pulse, self._beat, self._no_beat, patient=True)
        elif self.worker.broken and self._kept is not None:
            self._kept.heard()  # it waits for a hand, and is not frozen

    def _answered(self) -> None:
        self._asked = False
        self._desk_spoke.set()
        if self._kept is not None:
            self._kept.heard()

    def _beat(self, now: Pulse) -> None:
        self._answered()
        self.clerk.beat(now)
        self._tongue.came_or_went()
        self.telephones.beat()
        self.frame.breathe()

    def _no_beat(self, error: Exception) -> None:
        self._answered()
        self._fault(error)

    def _fault(self, error: Exception) -> None:
        self.clerk.fault(error)


def _short(name: str) -> str:
    """A name as far as the strip has room for it beside what is to be done."""
    return name if len(name) <= NAME_LETTERS else f"{name[: NAME_LETTERS - 1].rstrip()}…"


def _to_stay(name: str) -> View:
    """A screen, with its hundreds of parts that stay as long as the kiosk runs.

    Looking for rubbish among them again and again would cost up to half a second at the touch that builds the next.
    """
    gc.disable()
    try:
        return build(name)
    finally:
        gc.freeze()
        gc.enable()


def _reached(_: Desk) -> None:
    """The first picture is on the screen and the book has answered: a version that was on trial stays."""
    installed.reached()


def _load_check(_: Desk) -> None:
    """What a code's check character is worked out with: a scanner that types is checked on Kivy's thread."""
    codes.check_character("")
