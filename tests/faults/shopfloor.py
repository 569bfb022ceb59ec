"""A shop floor with the real kiosk on it: every act is done at the real desk or with a real command, on real files.

What is true there says `truth`, what hands do `by_hand`; here are the commands, the files and the tablet's ends and
starts.  None of them may bring the end of a hold nearer.
"""

from __future__ import annotations

import csv
import io
import shutil
from contextlib import nullcontext, redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

import tomlkit

from kiosk import where
from kiosk.cli import main
from kiosk.desk import Desk
from kiosk.settings import SettingsFault
from tests.faults.by_hand import ByHand
from tests.faults.truth import Broke


class Floor(ByHand):
    """One kiosk, its folder, its shop, and all that can be done to them."""

    def reopen(self, off_s: float = 0.0, boot: bool = False) -> None:
        with self._shortens_nothing("starting again"):
            self.desk.close()
            self.forward(off_s)
            if boot:
                self.clocks.boot()
            self.open()

    def command(self, *argv: str | Path) -> tuple[int, str]:
        """A command of the real command line, with the kiosk closed.  Its exit code and what it printed."""
        self.acts += 1
        words = [str(word) for word in argv]
        with self._shortens_nothing(" ".join(words[:2])):
            self.desk.close()
            told = io.StringIO()
            with self._suffering(), redirect_stdout(told), redirect_stderr(told):
                try:
                    code = main(words)
                except SystemExit as ended:
                    code = ended.code if isinstance(ended.code, int) else 1
                except Exception as fault:
                    raise Broke(f"`{' '.join(words)}` ended with {type(fault).__name__}: {fault}") from fault
            if self.power.is_cut:
                self.power.cut()
            self.power.arm(0)
            self.said = told.getvalue()
            if code not in (0, 1, 2):
                raise Broke(f"`{' '.join(words)}` ended with {code}")
            self.open()
        return code, self.said

    def backup(self) -> None:
        code, told = self.command("backup", "--data", self.folder)
        made = next((word for word in told.split() if word.endswith(".db")), None)
        if code == 0 and made and Path(made).exists():
            kept = self.disk.folder / f"copy-{len(self.copies)}" / "ledger-copy.db"
            kept.parent.mkdir()
            shutil.copyfile(made, kept)
            self.copies.append(kept)

    def restore(self, which: int) -> None:
        if self.copies:
            self.command("restore", "--data", self.folder, self.copies[which % len(self.copies)])

    def rehearse(self, seconds: float) -> None:
        shift = self.disk.folder / "shift"
        shift.mkdir(exist_ok=True)
        (shift / "1.txt").write_text(self.card("T001").code)
        (shift / "2.txt").write_text(f"wait {seconds:g} s")
        self.command("rehearse", shift, "--data", self.folder)

    def check(self) -> None:
        suffers = self._full_pages is not None
        code, told = self.command("check", "--data", self.folder)
        if code != 0 and not suffers:
            raise Broke(f"check ends with {code}: {told.strip()[:300]}")

    def ask(self, command: str) -> None:
        """A command that only asks."""
        self.command(*{"history": ("history", "T001"), "find": ("find", "12"), "hot": ("hot",)}[command], "--data",
                     self.folder)  # fmt: skip

    def bring(self, name: str, text: str) -> int:
        file = self.disk.folder / name
        file.write_text(text, "utf-8")
        return self.command("import", "--write", file, "--data", self.folder)[0]

    def import_holder(self, key: str, changes: dict[str, str]) -> None:
        """Other facts of a holder or of what is in it, from a table; the steel stays what it is."""
        with open(where.demo_tags() / "holders.csv", encoding="utf-8", newline="") as file:
            row = next(row for row in csv.DictReader(file) if row["key"] == key)
        self.bring("holders.csv", _table({**row, **changes, "code": self.card(key).code}))

    def import_cutter(self, key: str, changes: dict[str, str]) -> None:
        assembly = self.card(key).assembly
        if assembly is None:
            return
        with open(where.demo_tags() / "holders.csv", encoding="utf-8", newline="") as file:
            rows = [row for row in csv.DictReader(file) if row["key"] == key]
        with open(where.demo_tags() / "cutters.csv", encoding="utf-8", newline="") as file:
            columns = csv.DictReader(file).fieldnames or ()
        row = {column: rows[0].get(column, "") for column in columns} | {"cutter": assembly.cutter.key}
        if row.get("DC"):
            self.bring("cutters.csv", _table({**row, "cutter_name": assembly.cutter.name, **changes}))

    def regrind(self, key: str, oal_mm: float) -> None:
        """A cutter is shorter on paper than it is in its holder."""
        built = self.card(key).assembly
        if built is not None:
            self.command("reground", built.cutter.key, "--oal", f"{oal_mm:g}", "--data", self.folder)

    def import_place(self, name: str, kind: str, way: str, wet_mm: float | None) -> None:
        """Another kind or way of a place."""
        code = self.code[name]
        folder = self.disk.folder / "shop"
        folder.mkdir(exist_ok=True)
        place: dict[str, Any] = {"code": code, "name": f"{name} anew", "kind": kind}
        place |= ({"way": way} if kind == "cooling" else {}) | ({"wet_length_mm": wet_mm} if wet_mm else {})
        place["name"] = name if " · " not in name else f"Place {code}"
        (folder / "shop.toml").write_text(tomlkit.dumps({"shop": {"name": "Shop"}, "place": [place]}), "utf-8")
        self.command("import", "--write", folder, "--data", self.folder)

    def undo_import(self, reason: str) -> None:
        left = [row for row in self.desk.intake.imports() if not row.undone]
        if left:
            argv = ("import", "--undo", str(left[0].line), "--data", self.folder)
            self.command(*argv, *(("--reason", reason) if reason else ()))

    def edit_settings(self, table: str, key: str, value: Any) -> None:
        """Somebody opens settings.toml in an editor while the kiosk is closed."""
        self.acts += 1
        path = self.folder / "settings.toml"
        before = path.read_bytes() if path.exists() else None
        # Under another name another clock counts, and whoever comes back to the first is told its time again.
        with nullcontext() if table == "kiosk" else self._shortens_nothing(f"[{table}] {key} = {value!r}"):
            self.desk.close()
            document = tomlkit.parse(path.read_text("utf-8")) if path.exists() else tomlkit.document()
            document.setdefault(table, tomlkit.table())[key] = value
            path.write_text(tomlkit.dumps(document), "utf-8")
            try:
                self.desk = Desk.open(self.folder)
            except SettingsFault:  # not with these values: the editor puts back what was there
                if before is None:
                    path.unlink()
                else:
                    path.write_bytes(before)
                self.open()
            except Exception as fault:
                raise Broke(f"the kiosk does not start: {type(fault).__name__}: {fault}") from fault
        self.power.arm(0)

    def power_goes(self, steps: int) -> None:
        """The power will go that many steps into what comes next."""
        self.power.arm(steps)

    def disk_fills(self, pages: int | None) -> None:
        """What comes next finds a disk with so many pages left."""
        self._full_pages = pages


def _table(row: dict[str, str]) -> str:
    told = io.StringIO()
    writer = csv.DictWriter(told, list(row))
    writer.writeheader()
    writer.writerow(row)
    return told.getvalue()
