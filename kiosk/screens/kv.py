"""Loads the layout that lies beside a module of this room, and lets a rule end with the widget it is for.

Every part and screen has its layout in a `.kv` file of its own name; this is the only way such a file is read.  Kivy
keeps a copy of all names that a layout may use for every line of it that follows a property: 38 000 for all screens, of
which 40 MB are saved here, where the lines of one widget share one.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from kivy.lang import Builder, builder


class _Names(dict[str, Any]):
    """Names that the lines of one widget in one rule share: a copy of it is itself, for nobody changes it."""

    def __copy__(self) -> _Names:
        return self


def _shared(follow: Callable[..., Any]) -> Callable[..., Any]:
    """Kivy's function that has a line of a layout follow what it names, with one map of names a widget and rule."""
    widget: Any = None
    ids: Any = None
    names = _Names()

    def follow_shared(owner: Any, element: Any, key: Any, value: Any, rule: Any, given: Any, *more: Any) -> Any:
        nonlocal widget, ids, names
        if owner is not widget or given is not ids:
            widget, ids, names = owner, given, _Names(given)
        return follow(owner, element, key, value, rule, names, *more)

    return follow_shared


builder.create_handler = _shared(builder.create_handler)
_work_out: Callable[[Any, Any, Any], None] = builder.call_fn


def _tell(told: Any, instance: Any, value: Any) -> None:
    """Give a widget what its rule says, unless it went while that was worked out.

    Kivy only unbinds a rule when its widget is collected, and the collector may come by between the working out and
    the giving: then Kivy raises ReferenceError, which would end the window.  told: widget and rule, as Kivy has them.
    """
    try:
        _work_out(told, instance, value)
    except ReferenceError:
        if _is_there(told[0]):
            raise


def _is_there(widget: Any) -> bool:
    try:
        return widget.uid is not None
    except ReferenceError:
        return False


builder.call_fn = _tell


def load_beside(module_file: str) -> None:
    """Read `x.kv` for the module file `x.py`; a second call changes nothing."""
    path = str(Path(module_file).with_suffix(".kv"))
    if path not in Builder.files:
        Builder.load_file(path, encoding="utf-8")
