"""Everything that keeps a label from being drawn or printed, as errors a person at the kiosk can act on.

Each error says what is wrong and what to do next, in English as its text and as a message id with values for
the screens.  It must never be raised after ink has flowed: a refusal means nothing was printed or written.
"""

from __future__ import annotations

from pathlib import Path

from kiosk.rules.say import Say, Value


class LabelError(ValueError):
    """A label, a size, a file or a queue that cannot be used.  `say` is the same as a message id with values."""

    def __init__(self, text: str, key: str, /, **values: Value) -> None:
        super().__init__(text)
        self.say = Say(f"label.{key}", tuple(values.items()))


class SizeUnknown(LabelError):
    """A size or sheet that nobody can read as one.  `text` is what was given."""

    def __init__(self, text: str, known: str) -> None:
        super().__init__(
            f"{text!r} is no label size; give one of {known}, or width x height in mm such as 40x20",
            "size_unknown", size=text, known=known,
        )  # fmt: skip
        self.text = text


class SizeTooSmall(LabelError):
    """No symbol of version 1 fits at this printer's dots.

    `size`: name; `dpi`: dots per inch; `smallest_mm`: side of the smallest label that works at these dots.
    """

    def __init__(self, size: str, dpi: int, smallest_mm: float) -> None:
        super().__init__(
            f"{size} is too small for a symbol a camera can read at {dpi} dpi; the smallest label that works is "
            f"{smallest_mm:g} mm on its short side, or tape of 9 mm",
            "size_too_small", size=size, dpi=dpi, smallest_mm=smallest_mm,
        )  # fmt: skip
        self.size = size
        self.dpi = dpi
        self.smallest_mm = smallest_mm


class DpiUnknown(LabelError):
    """A resolution outside what label printers have.  `dpi` is what was given."""

    def __init__(self, dpi: int, least: int, most: int) -> None:
        super().__init__(
            f"{dpi} dpi is no printer's resolution; printers have {least} to {most}, most often 203, 300 or 600",
            "dpi_unknown", dpi=dpi,
        )  # fmt: skip
        self.dpi = dpi


class TextTooLong(LabelError):
    """A line that does not fit in the smallest letters.

    `field`: `name`, `detail` or `number`; `text`: the line; `fits`: characters of it that would fit.
    """

    def __init__(self, code: str, field: str, text: str, fits: int, size: str) -> None:
        super().__init__(
            f"label {code}: {field} {text!r} has {len(text)} characters and about {fits} fit on {size}; "
            "shorten it or take a larger label",
            "text_too_long", code=code, field=field, text=text, long=len(text), fits=fits, size=size,
        )  # fmt: skip
        self.code = code
        self.field = field
        self.text = text
        self.fits = fits
        self.size = size


class LetterUnknown(LabelError):
    """A letter that the label font does not have.  `letter`, and the `text` it stands in."""

    def __init__(self, code: str, text: str, letter: str) -> None:
        super().__init__(
            f"label {code}: the label font has no letter {letter!r} (in {text!r}); write it in Latin letters",
            "letter_unknown", code=code, text=text, letter=letter,
        )  # fmt: skip
        self.code = code
        self.text = text
        self.letter = letter


class NeedsLargerSize(LabelError):
    """A kind of label that this size cannot hold.  `kind`, `size`, `least`: the smallest size that works."""

    def __init__(self, kind: str, size: str, least: str) -> None:
        super().__init__(
            f"a {kind} label does not fit on {size}; take {least} or larger",
            "needs_larger_size", tag=f"term.tag.{kind}", size=size, least=least,
        )  # fmt: skip
        self.kind = kind
        self.size = size
        self.least = least


class ProofFailed(LabelError):
    """A label that would not be read after a bad print.  `library` that failed, and under which `damage`."""

    def __init__(self, code: str, library: str, damage: str, read: str) -> None:
        what = f"read it as {read!r}" if read else "could not read it"
        super().__init__(
            f"label {code} is not printed: {library} {what} when {damage}; take a larger size or more dots",
            "proof_failed", code=code, library=library, damage=f"term.damage.{damage.replace(' ', '_')}", read=read,
        )  # fmt: skip
        self.code = code
        self.library = library
        self.damage = damage
        self.read = read


class ListFault(LabelError):
    """A line of a list of labels that cannot be used.  `file`, `line` (from 1; 0: the whole file), `field`, `why`."""

    def __init__(self, file: Path, line: int, field: str, why: str) -> None:
        super().__init__(
            f"{file}, line {line}, field {field}: {why}; nothing was printed" if line else f"{file}: {why}",
            "list_fault", file=file.name, line=line, field=field, why=why,
        )  # fmt: skip
        self.file = file
        self.line = line
        self.field = field
        self.why = why


class Cancelled(LabelError):
    """Somebody cancelled; `done` labels of `total` were laid out and nothing was written or sent."""

    def __init__(self, done: int, total: int) -> None:
        super().__init__(
            f"cancelled after {done} of {total} labels; nothing was written or printed",
            "cancelled", done=done, total=total,
        )  # fmt: skip
        self.done = done
        self.total = total


class WrongUse(LabelError):
    """A request that contradicts itself.  `why` in words."""

    def __init__(self, why: str) -> None:
        super().__init__(why, "wrong_use", why=why)
        self.why = why
