"""Shop files by touch: a list is looked at, taken in with a PIN, taken back with a reason, and all of it put out."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from tests.journeys.window import Window

HOLDERS = "code,key,name,coupling,clamping,bore_mm,nose_mm,projection_mm\n"
ROW = ",{key},Collet 16 x 100,HSK63,collet,16,50,100\n"
PLACE = "code,name,kind,parent,number,capacity,way,wet_length_mm\n,Rack behind the mill,cooling,,,,free_air,\n"


def to_files(kiosk: Window) -> None:
    for words in ("Shop", "Places", "Set up the shop", "Files in and out"):
        kiosk.touch(words)


def test_a_list_from_a_shared_folder_is_looked_at_taken_in_and_taken_back(
    open_window: Callable[..., Window], tmp_path: Path
) -> None:
    kiosk = open_window()
    data = Path(str(kiosk._ask(do="desk", what="data")))
    inbox = data / "imports"
    inbox.mkdir(exist_ok=True)
    (inbox / "second hall.csv").write_text(HOLDERS + "".join(ROW.format(key=f"N{at}") for at in range(3)), "utf-8")
    (inbox / "rack.csv").write_text(PLACE, "utf-8")
    to_files(kiosk)
    kiosk.sees("second hall.csv", "imports")
    kiosk.touch("second hall.csv")
    kiosk.sees("3 new", "Collet 16 x 100")
    kiosk.picture("bring-in-look")
    kiosk.touch("Take in 3 entries")
    kiosk.sees("4 entries are taken in", "Print new labels")
    kiosk.touch("To the files")

    kiosk.touch("rack.csv")
    kiosk.sees("One line cannot be read", "rack.csv, line 2")
    kiosk.touch("Make the missing codes")
    kiosk.sees("1 new", "Rack behind the mill")
    (inbox / "rack.csv").unlink()  # the stick is pulled out: what was shown is what is written
    kiosk.touch("Take in")
    kiosk.sees("3 entries are taken in")
    kiosk.touch("To the files")

    kiosk.touch("second hall.csv")
    kiosk.sees("3 the same", "Nothing to take in")
    kiosk.touch_key("back")
    kiosk.touch("Taken in before")
    kiosk.touch("second hall.csv")
    kiosk.sees("why is it taken back?")
    kiosk.touch("The wrong file")
    kiosk.sees("second hall.csv is taken back")
    kiosk.picture("bring-in-taken-back")
    kiosk.touch("To the files")
    kiosk.touch("Save files")
    kiosk.touch("All of the shop")
    kiosk.touch("This kiosk's own folder")
    kiosk.sees("All shop files are in")
    assert (data / "exports" / "shop.toml").exists()
    kiosk.touch("To the files")
    kiosk.touch("Save files")
    kiosk.touch("A control's tool list")
    kiosk.touch("Mill 2")
    kiosk.sees("By which template?")
    kiosk.touch("tool_table")
    kiosk.touch("This kiosk's own folder")
    kiosk.sees("Saved: exports/Mill 2 tool_table.txt")
    assert (data / "exports" / "Mill 2 tool_table.txt").read_bytes()
    assert "Rack behind the mill" in (data / "exports" / "shop.toml").read_text("utf-8")


def test_who_scans_while_a_large_list_is_taken_in_is_answered_first(open_window: Callable[..., Window]) -> None:
    kiosk = open_window()
    inbox = Path(str(kiosk._ask(do="desk", what="data"))) / "imports"
    inbox.mkdir(exist_ok=True)
    (inbox / "all.csv").write_text(HOLDERS + "".join(ROW.format(key=f"N{at}") for at in range(10_000)), "utf-8")
    label = kiosk.holder("T001")
    to_files(kiosk)
    kiosk.touch("all.csv")
    kiosk.sees("10000 new")
    kiosk.touch("Take in")
    kiosk.sees("All of it or nothing")
    kiosk.scan(label)
    kiosk.sees("Where to?")
    kiosk.touch("Shop")
    kiosk.touch("Places")
    kiosk.touch("Set up the shop")
    kiosk.touch("Files in and out")
    kiosk.sees("10001 entries are taken in")
    assert kiosk.check() == []
