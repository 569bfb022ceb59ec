"""Draws the pictures of a rehearsed shift from its list of steps: `python demo_tags/make_shift.py demo_tags/shift`.

A shift is a folder with a `steps.csv`: one line a step, with the file's name, what it shows (key of a holder or
operator, name of a place, name of a command card, several joined by `+`), how it is photographed, which of the
many possible photographs it is (`take`, any whole number), and what should come of it.  Nothing here knows what
the kiosk will answer.  Codes come from the demo shop's own files beside this one; to rehearse another shift, copy
the folder, edit its steps.csv and run this on the copy.
"""

from __future__ import annotations

import csv
import sys
import tomllib
from pathlib import Path
from typing import NamedTuple

from kiosk.bench.scenes import Style, draw_step, pack
from kiosk.rules import codes
from kiosk.rules.cards import Command

SHOP = Path(__file__).resolve().parent
STEEL_MM = {"HSK63": 53.0, "HSK100": 85.0}  # diameter under the label, behind the flange
OTHER_STEEL_MM = 50.0
LABEL_MM = 18.0


class StepsFault(ValueError):
    """A line of steps.csv that cannot be drawn.  `path`, `line` (1 is the heading), `why`."""

    def __init__(self, path: Path, line: int, why: str) -> None:
        super().__init__(f"{path}, line {line}: {why}")
        self.path = path
        self.line = line
        self.why = why


class Mark(NamedTuple):
    """What a name in steps.csv stands for."""

    code: str
    title: str
    steel_mm: float = OTHER_STEEL_MM


def marks(shop: Path) -> dict[str, Mark]:
    """Everything in the shop that has a label, by the name that steps.csv uses."""
    book = tomllib.loads((shop / "shop.toml").read_text(encoding="utf-8"))
    places = {place["name"]: place["code"] for place in book["place"]}
    for cabinet in book["cabinet"]:
        places[cabinet["name"]] = cabinet["code"]
        for drawer in cabinet["drawer"]:
            name = f"{cabinet['name']} · {drawer['number']}"
            places[name] = drawer["code"]
            places |= {f"{name}-{number:02d}": code for number, code in enumerate(drawer["slots"], 1)}
    for machine in book["machine"]:
        places[f"{machine['name']} · spindle"] = machine["spindle"]
        places |= {f"{machine['name']} · {at:02d}": code for at, code in enumerate(machine["pockets"], 1)}
    found = {name: Mark(code, name) for name, code in places.items()}
    for row in _rows(shop / "operators.csv"):
        found[row["key"]] = Mark(row["code"], row["name"])
    for row in _rows(shop / "holders.csv"):
        found[row["key"]] = Mark(row["code"], row["name"], STEEL_MM.get(row["coupling"], OTHER_STEEL_MM))
    for command in Command:
        code = codes.make(codes.CodeKind.COMMAND, command.value).text
        found[command.name] = Mark(code, command.name.replace("_", " ").capitalize())
    return found


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def step_file(shows: str, style: str, take: int, known: dict[str, Mark]) -> bytes:
    """Contents of one step's file: a JPEG of at most 120 kB, or text.  Raises KeyError for an unknown name."""
    if style == "text":
        words = [known[word].code if word in known else word for word in shows.split(" ")]
        return (" ".join(words) + "\n").encode()
    shown = [known[name] for name in shows.split("+")]
    picture = draw_step(
        "+".join(mark.code for mark in shown),
        Style(style),
        take,
        size_mm=LABEL_MM,
        diameter_mm=shown[0].steel_mm,
        title=shown[0].title,
    )
    return pack(picture)


def make(shift: Path, shop: Path = SHOP) -> list[Path]:
    """Writes every file that `shift/steps.csv` names, and gives their paths.  Raises StepsFault."""
    known = marks(shop)
    steps = shift / "steps.csv"
    made = []
    for line, row in enumerate(_rows(steps), 2):
        try:
            contents = step_file(row["shows"], row["style"], int(row["take"] or 0), known)
        except KeyError as missing:
            raise StepsFault(steps, line, f"nothing in the shop is called {missing.args[0]!r}") from None
        except ValueError as fault:
            raise StepsFault(steps, line, str(fault)) from None
        made.append(shift / row["file"])
        made[-1].write_bytes(contents)
    return made


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("Which shift?  For example: python demo_tags/make_shift.py demo_tags/shift")
    try:
        files = make(Path(sys.argv[1]))
    except (OSError, StepsFault) as fault:
        sys.exit(str(fault))
    print(f"{len(files)} files, {sum(file.stat().st_size for file in files) / 1e6:.1f} MB")
