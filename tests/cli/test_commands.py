"""The command line as a shell sees it: what is printed, where, and with which exit code."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

from kiosk import where
from kiosk.cli import main
from kiosk.commands.output import DONE, WANTING, WRONG
from kiosk.desk import Desk
from kiosk.labels.content import holder_label
from kiosk.labels.draw import picture
from kiosk.labels.layout import lay_out
from kiosk.labels.sizes import parse_size
from kiosk.rules import codes
from tests.conftest import Shop


@pytest.fixture
def data(shop: Shop) -> Path:
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Shrink station"))
    shop.desk.close()
    return shop.folder


def objects(text: str) -> list[dict[str, object]]:
    return [json.loads(line) for line in text.splitlines()]


def test_no_command_but_open_imports_the_window() -> None:
    code = (
        "import sys; sys.argv=['kiosk','check','--data','/nonexistent-for-sure']; import kiosk.cli; kiosk.cli.main();"
        "import kiosk.desk, kiosk.rehearsal; assert not any(m.split('.')[0]=='kivy' for m in sys.modules)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    assert "there is no ledger here" in run.stderr


def test_what_is_hot_is_told_as_json(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["hot", "--json", "--data", str(data)]) == DONE
    (hot,) = objects(capsys.readouterr().out)
    assert hot["place"] == "Shrink station" and hot["hold"]["needs_reading"] is True  # type: ignore[index]
    assert hot["hold"]["hottest_c"] > 100  # type: ignore[index]


def test_a_clean_ledger_is_found_clean_and_a_changed_line_is_named(
    data: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "--data", str(data)]) == DONE
    assert "every table agree" in capsys.readouterr().out
    import sqlite3

    with sqlite3.connect(data / "ledger.db") as ledger:
        ledger.execute("UPDATE line SET payload = replace(payload, 'Bench 1', 'Bench 9') WHERE id = 2")
    assert main(["check", "--json", "--data", str(data)]) == WANTING
    assert any(found["where"] == "line 2" for found in objects(capsys.readouterr().out))


def test_a_label_read_from_a_picture_is_told_with_its_corners(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], shop: Shop
) -> None:
    card = shop.desk.session.holder("T002")
    layout = lay_out(holder_label(codes.parse(card.code), card.holder), parse_size("25x25"), 300)
    pixels = np.pad(np.asarray(picture(layout).convert("L")), 60, constant_values=200)
    path = tmp_path / "label.png"
    cv2.imwrite(str(path), pixels)
    assert main(["read", "--json", str(path)]) == DONE
    (read,) = objects(capsys.readouterr().out)
    assert read["file"] == str(path)
    (code,) = read["codes"]  # type: ignore[misc]
    assert code["text"] == card.code and len(code["corners"]) == 4
    assert all(0 <= x <= pixels.shape[1] and 0 <= y <= pixels.shape[0] for x, y in code["corners"])


def test_a_broken_picture_is_named_and_the_others_are_still_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken, blank = tmp_path / "broken.jpg", tmp_path / "blank.png"
    broken.write_bytes(b"\xff\xd8\xff\xe0 not a picture")
    cv2.imwrite(str(blank), np.full((80, 80), 255, np.uint8))
    assert main(["read", "--json", str(broken), str(blank)]) == WRONG
    out, err = capsys.readouterr()
    assert str(broken) in err and objects(out)[0]["codes"] == []


def test_an_empty_folder_is_no_rehearsal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rehearse", str(tmp_path)]) == WRONG
    assert str(tmp_path) in capsys.readouterr().err


def test_a_step_nobody_understands_is_named_with_its_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "001-keys.txt").write_text("dance with me\n")
    assert main(["rehearse", str(tmp_path)]) == WRONG
    assert "001-keys.txt: line 1" in capsys.readouterr().err


def test_a_data_folder_that_cannot_be_made_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("")
    assert main(["rehearse", str(where.demo_tags() / "shift"), "--data", str(tmp_path / "file" / "data")]) == WRONG
    assert str(tmp_path / "file") in capsys.readouterr().err


@pytest.mark.parametrize("text", ["{", "[]", '{"holder": []}', '{"holder": [{"length_mm": -3}]}'])
def test_a_cooling_case_that_cannot_be_is_named(text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    case = tmp_path / "case.json"
    case.write_text(text)
    assert main(["cooling", str(case), "--json"]) == WRONG
    assert str(case) in capsys.readouterr().err


def test_a_setting_nobody_knows_is_named_with_its_file_and_table(
    data: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (data / "settings.toml").write_text("[heat]\nlimt_c = 40\n")
    assert main(["hot", "--data", str(data)]) == WRONG
    err = capsys.readouterr().err
    assert "settings.toml" in err and "[heat] limt_c" in err


@pytest.mark.parametrize("value", ["60", "10", '"warm"', "true"])
def test_a_limit_outside_what_the_standard_allows_is_refused(
    value: str, data: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (data / "settings.toml").write_text(f"[heat]\nlimit_c = {value}\n")
    assert main(["hot", "--data", str(data)]) == WRONG
    assert "[heat] limit_c" in capsys.readouterr().err


def test_labels_are_written_and_a_size_too_small_is_refused_with_one_that_works(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "badges.pdf"
    assert main(["label", "--all", "badges", "--size", "60x30", "--out", str(out), "--data", str(data)]) == DONE
    assert out.read_bytes().startswith(b"%PDF") and "3 labels" in capsys.readouterr().out
    small = ["label", "--all", "badges", "--size", "5x5", "--out", str(tmp_path / "no.png"), "--data", str(data)]
    assert main(small) == WRONG
    assert "smallest label that works" in capsys.readouterr().err and not (tmp_path / "no.png").exists()


def test_a_limit_no_warmer_than_the_shop_is_refused(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (data / "settings.toml").write_text("[heat]\nlimit_c = 36\nambient_c = 34\n")
    assert main(["hot", "--data", str(data)]) == WRONG
    assert "[heat] limit_c" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["shift.pdf", "shift.csv"])
def test_a_shift_is_reported_on_paper_and_as_a_table(name: str, data: Path, tmp_path: Path) -> None:
    out = tmp_path / name
    assert main(["report", "shift", "--out", str(out), "--data", str(data)]) == DONE
    content = out.read_bytes()
    assert content.startswith(b"%PDF") or b"heated" in content
    assert main(["report", "shift", "--out", str(tmp_path / "x.doc"), "--data", str(data)]) == WRONG


def test_a_thing_is_found_its_history_told_and_the_book_taken_out(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["find", "12", "R1", "--json", "--data", str(data)]) == DONE
    found = objects(capsys.readouterr().out)
    assert "Roughing mill 12 R1" in {row["name"] for row in found}
    code = str(next(row["code"] for row in found if row["name"] == "Roughing mill 12 R1"))
    assert main(["history", code, "--json", "--data", str(data)]) == DONE
    kinds = [row["kind"] for row in objects(capsys.readouterr().out)]
    assert "heated" in kinds and "moved" in kinds
    assert main(["history", code, "--at", "yesterday", "--data", str(data)]) == WRONG
    assert main(["find", "no such cutter anywhere", "--data", str(data)]) == WANTING
    out = tmp_path / "book.csv"
    assert main(["export", "--out", str(out), "--data", str(data)]) == DONE
    assert code in out.read_text("utf-8")
    xml = tmp_path / "book.xml"
    assert main(["export", "--format", "mtconnect", "--out", str(xml), "--data", str(data)]) == DONE
    assert b"CuttingTool" in xml.read_bytes()


def test_a_backup_is_put_back_and_what_was_hot_waits_for_a_reading(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copies = tmp_path / "copies"
    assert main(["backup", str(copies), "--data", str(data)]) == DONE
    (copy,) = copies.glob("*.db")
    capsys.readouterr()
    assert main(["restore", str(copy), "--data", str(data)]) == DONE
    assert main(["check", "--data", str(data)]) == DONE
    capsys.readouterr()
    assert main(["hot", "--json", "--data", str(data)]) == DONE
    (hot,) = objects(capsys.readouterr().out)
    assert hot["hold"]["needs_reading"] is True  # type: ignore[index]


def test_a_printed_report_is_held_against_the_book(shop: Shop, capsys: pytest.CaptureFixture[str]) -> None:
    shop.desk.audits.open(shop.place("Presetter"))
    closed = shop.desk.audits.close()
    line = shop.desk.session.book.line(shop.desk.session.book.last_id)
    assert line is not None and closed.say.key.startswith("audit.closed")  # type: ignore[union-attr]
    shop.desk.close()
    data = ["--data", str(shop.folder)]
    assert main(["check", "--line", str(line.id), "--hash", line.hash[:16], *data]) == DONE
    assert "genuine" in capsys.readouterr().out
    assert main(["check", "--line", str(line.id), "--hash", "0" * 16, *data]) == WANTING
    assert main(["check", "--line", str(line.id), *data]) == WRONG


def test_every_line_that_a_print_or_a_copy_names_is_held_against_the_book(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = ["--data", str(data)]
    assert main(["backup", str(tmp_path / "copies"), *folder]) == DONE
    _, number, _, _, printed = capsys.readouterr().out.split()
    assert main(["check", "--line", number, "--hash", printed, *folder]) == DONE
    with Desk.open(data, read_only=True) as desk:
        lines = list(desk.session.book.lines())
    kinds = {line.kind: line for line in lines}
    for line in kinds.values():
        assert main(["check", "--line", str(line.id), "--hash", line.hash[:12].upper(), *folder]) == DONE
        assert main(["check", "--line", str(line.id), "--hash", line.hash[:11], *folder]) == WANTING
        assert main(["check", "--line", str(line.id), "--hash", "f" * 12, *folder]) == WANTING
    assert {"heated", "moved", "holder registered"} <= kinds.keys()
    capsys.readouterr()
    assert main(["check", "--line", str(lines[-1].id + 1), "--hash", lines[-1].hash, *folder]) == WANTING
    assert f"ends with line {lines[-1].id}" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("command", "within", "outside"),
    [
        (("number", "T002"), ("0", "99999999"), ("-1", "100000000")),
        (("reground", "C002", "--dc"), ("5.9",), ("0", "0.009", "500.1", "nan")),
        (("reground", "C002", "--oal"), ("50",), ("0.9", "1000.5", "1e9")),
    ],
)
def test_a_figure_said_to_a_command_has_the_bounds_of_its_line(
    shop: Shop, command: tuple[str, ...], within: tuple[str, ...], outside: tuple[str, ...]
) -> None:
    shop.desk.close()
    before = shop.folder.joinpath("ledger.db").read_bytes()
    for value in outside:
        assert main([*command, value, "--data", str(shop.folder)]) == WRONG
    assert shop.folder.joinpath("ledger.db").read_bytes() == before
    for value in within:
        assert main([*command, value, "--data", str(shop.folder)]) == DONE


def test_an_audit_from_the_command_line_is_somebodys_where_the_shop_asks_for_a_badge(
    shop: Shop, capsys: pytest.CaptureFixture[str]
) -> None:
    shop.desk.people.change_setting("kiosk", "badge_required", "yes", "the shop's rule")
    shop.desk.close()
    data = ["--data", str(shop.folder)]
    assert main(["audit", "Cabinet A", *data]) == WANTING
    assert "Scan your badge" in capsys.readouterr().err
    assert main(["audit", "Cabinet A", "--badge", "H165TCRBDE", *data]) == WRONG
    assert "there is no badge in use" in capsys.readouterr().err
    assert main(["audit", "Cabinet A", "--badge", "BSXD5X3637", *data]) == WANTING, "ten are missing"
    assert "0 of 10 seen" in capsys.readouterr().out
    shop.reopen()
    assert [row.opened_by for row in shop.desk.audits.running()] == ["Jo Reed"]


def test_what_a_command_writes_is_somebodys_where_the_shop_asks_for_a_badge(
    shop: Shop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assembly = shop.desk.session.holder("T002").assembly
    assert assembly is not None
    cutter, code = assembly.cutter, shop.holder("T002")
    shop.desk.people.change_setting("kiosk", "badge_required", "yes", "the shop's rule")
    before = shop.desk.session.book.last_id
    shop.desk.close()
    more = tmp_path / "more.csv"
    more.write_text(f"cutter,cutter_name,DC,DMM,OAL\n{cutter.key}x,New,6,6,50\n", "utf-8")
    for given in (
        ["reground", cutter.key, "--oal", str(cutter.oal_mm - 1)],
        ["number", code, "12"],
        ["import", str(more), "--write"],
    ):
        given += ["--data", str(shop.folder)]
        assert main(given) == WANTING
        assert "Scan your badge" in capsys.readouterr().err
        assert main([*given, "--badge", "BSXD5X3637"]) == DONE
    shop.reopen()
    work = {line.kind: line.operator for line in shop.desk.session.book.lines(before)}
    assert {work["cutter reground"], work["tool numbered"], work["cutter added"], work["imported"]} == {"jo"}


def test_a_correction_by_file_takes_the_pin_which_never_stands_in_the_command(
    shop: Shop, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    shop.desk.people.first_pin("kim", "4711", by_owner=True)
    more = tmp_path / "more.csv"
    more.write_text("code,key,name,role\nBSXD5X3637,jo,Jo Reed,supervisor\n", "utf-8")
    shop.desk.close()
    given = ["import", str(more), "--write", "--data", str(shop.folder)]
    assert main(given) == WANTING
    assert "supervisor" in capsys.readouterr().err
    monkeypatch.setattr("sys.stdin", io.StringIO("0000\n"))
    assert main([*given, "--supervisor", "Kim Vale", "--pin-file", "-"]) == WANTING
    monkeypatch.setattr("getpass.getpass", lambda prompt: "4711")
    assert main([*given, "--supervisor", "kim"]) == DONE
    shop.reopen()
    line = shop.desk.intake.imports()[0].line
    shop.desk.close()
    undo = ["import", "--undo", str(line), "--data", str(shop.folder)]
    assert main(undo) == WANTING
    assert main([*undo, "--supervisor", "kim"]) == WANTING
    assert "reason" in capsys.readouterr().err
    pin = tmp_path / "pin"
    pin.write_text("4711\n", "utf-8")
    assert main([*undo, "--supervisor", "kim", "--pin-file", str(pin), "--reason", "no"]) == DONE
    shop.reopen()


def test_a_second_kiosk_on_the_same_folder_is_told_what_to_do(
    shop: Shop, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["audit", "Cabinet A", "--data", str(shop.folder)]) == WRONG
    told = capsys.readouterr().err
    assert str(shop.folder) in told and "close that one first, or give another --data folder" in told
