"""A keyboard for gloves: wherever a text is asked, its field and the keys to fill it, in the language that is set.

Letters first, figures and signs on a second page, letters with accents on a third.  A real keyboard types into the same
field.  It hands over a text and does nothing with it.
"""

from __future__ import annotations

from string import ascii_lowercase
from typing import Any

from kivy.properties import BooleanProperty, NumericProperty, ObjectProperty, OptionProperty, StringProperty
from kivy.uix.boxlayout import BoxLayout
from kivy.uix.gridlayout import GridLayout

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.pads import PadKey
from kiosk.screens.parts.search import SpaceKey
from kiosk.screens.parts.touch import IconButton
from kiosk.screens.theme import KEY_MM, look
from kiosk.words import capitals, t

ON_A_PAGE = 30  # letters beside the keys that do something
OWN = ON_A_PAGE - len(ascii_lowercase)  # of a language, on its first page
FIGURES = "1234567890-.,/+()&#'Ø°:;_=*%@?"
ICONS = {"del": "erase", "leave": "stop", "done": "forward", "shift": "capitals"}
PAGES = ("letters", "figures", "accents")
SHOWS = {"letters": "ABC", "figures": "123", "accents": "ÀÉÜ"}
LONGEST = 40


def letters(page: str) -> str:
    """What a page types, small: the language's own letters stand beside A to Z, others among the accents."""
    if page == "figures":
        return FIGURES
    if page == "letters":
        return ascii_lowercase + t("keyboard.letters")[:OWN]
    return t("keyboard.accents")[:ON_A_PAGE]


class LetterKeys(GridLayout):
    """The keys of one page.  `capital`: the next letter is one.  Events `on_letter(text)` and `on_act(name)`.

    What a key does that types nothing: del, shift, more, done, and leave where the window is wide.
    """

    page = OptionProperty("letters", options=PAGES)
    capital = BooleanProperty(True)

    __events__ = ("on_letter", "on_act")

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._letters: list[PadKey] = []
        self.fbind("page", self._lay)
        self.fbind("capital", self._write)
        look.bind(wide=self._lay)  # weakly: the look outlives every screen
        self._lay()

    def _lay(self, *_: object) -> None:
        self.clear_widgets()
        self.cols = 9 if look.wide else 5
        self._letters = []
        for letter in letters(self.page):
            key = PadKey(symbol=letter, least_mm=KEY_MM, size_hint_y=1)
            key.bind(on_release=lambda key: self.dispatch("on_letter", key.text))
            self._letters.append(key)
            self.add_widget(key)
        for act in ("shift", "del", "space", "more", *(("leave",) if look.wide else ()), "done"):
            self.add_widget(self._doing(act))
        self._write()

    def _doing(self, act: str) -> Any:
        given = {"size_hint_y": 1, "least_mm": KEY_MM}
        if act == "space":
            key = SpaceKey(**given)
            key.bind(on_release=lambda _: self.dispatch("on_letter", " "))
            return key
        if act == "more":
            key = PadKey(text=SHOWS[self._next_page], types=False, **given)
        else:
            key = IconButton(icon=ICONS[act], size_hint=(1, 1), least_mm=KEY_MM, types=act == "del")
            if act == "done":
                key.fill, key.ink = look.act, look.act_ink
        key.bind(on_release=lambda _: self.act(act))
        return key

    @property
    def _next_page(self) -> str:
        return PAGES[(PAGES.index(self.page) + 1) % len(PAGES)]

    def _write(self, *_: object) -> None:
        for key in self._letters:
            capital = capitals(key.symbol)
            key.text = capital if self.capital and len(capital) == 1 else key.symbol

    def act(self, act: str) -> None:
        """A key that types nothing was touched."""
        if act == "shift":
            self.capital = not self.capital
        elif act == "more":
            self.page = self._next_page
        else:
            self.dispatch("on_act", act)

    def on_letter(self, letter: str) -> None:
        """A letter was touched, as it stands on its key."""

    def on_act(self, act: str) -> None:
        """del, done or leave was touched."""


class TextEntry(BoxLayout):
    """The field with its keys.  `text` as typed; words begin with a capital until somebody touches otherwise.

    `clerk`: as of `Field`.  `longest`: letters it takes.  Events `on_done(text)`, its ends cut, and
    `on_leave`.
    """

    title = StringProperty()
    note = StringProperty()
    trouble = StringProperty()
    text = StringProperty()
    clerk = ObjectProperty(None, allownone=True)
    longest = NumericProperty(LONGEST)
    _began_with = ""

    __events__ = ("on_done", "on_leave")

    @property
    def letters(self) -> LetterKeys:
        """Its keys, made when a text is first asked for: they are most of the screen they stand on."""
        stand = self.ids.stand
        if not stand.children:
            stand.add_widget(LetterKeys(on_letter=self._typed, on_act=self._acted))
        keys: LetterKeys = stand.children[0]
        return keys

    def _typed(self, _: object, letter: str) -> None:
        self.type(letter)

    def _acted(self, _: object, act: str) -> None:
        self.act(act)

    @property
    def half_typed(self) -> bool:
        return bool(self.text.strip()) and self.text != self._began_with

    def begin(self, text: str = "") -> None:
        """Ask anew, with a text to go on from."""
        self._began_with = text
        self.letters.page = "letters"
        self.ids.field.text = text
        self.ids.field.cursor = (len(text), 0)
        self.take_keys()
        self._next_capital()

    def take_keys(self) -> None:
        """A real keyboard types into the field from now on."""
        self.ids.field.focus = True

    def end(self) -> None:
        """Let the keyboard go."""
        self.ids.field.focus = False

    def type(self, letter: str) -> None:
        """A key was touched."""
        field = self.ids.field
        if len(field.text) < self.longest:
            field.touched(letter)
        self._next_capital()

    def act(self, act: str) -> None:
        """A key that types nothing was touched."""
        if act == "del":
            self.ids.field.do_backspace()
            self._next_capital()
        elif act == "done":
            self.hand_over()
        else:
            self.leave()

    def hand_over(self) -> None:
        """The text is whole."""
        self.dispatch("on_done", " ".join(self.ids.field.text.split())[: int(self.longest)])

    def leave(self) -> None:
        self.end()
        self.dispatch("on_leave")

    def _next_capital(self) -> None:
        text = self.ids.field.text
        self.letters.capital = not text or text.endswith(" ")

    def on_done(self, text: str) -> None:
        """A text was handed over; it may be empty."""

    def on_leave(self) -> None:
        """The entry was left without a text."""


load_beside(__file__)
