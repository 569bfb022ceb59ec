"""Setup sheets, offset files and the presetter's cable, as a shell sees them."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path

import pytest

from kiosk import where
from kiosk.bench import magazine as bench
from kiosk.cli import main
from kiosk.commands import jobs
from kiosk.commands.output import DONE, WANTING, WRONG
from kiosk.desk import Desk
from kiosk.rules.assembly import Measured
from tests.conftest import Shop


@pytest.fixture
def data(shop: Shop) -> Path:
    shop.desk.close()
    return shop.folder


def sheet(folder: Path, text: str) -> str:
    path = folder / "job.txt"
    path.write_text(text, "utf-8")
    return str(path)


def test_a_setup_sheet_says_where_everything_is_and_what_to_fetch(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = sheet(tmp_path, "Ball mill 8\nDrill 8.5\nDC=99\n")
    assert main(["setup", job, "--machine", "Mill 1", "--plan", "--data", str(data)]) == WANTING
    lines = capsys.readouterr().out.splitlines()
    assert [line.split("  ")[-1].strip() for line in lines[:3]] == [
        "In the machine: Mill 1 · pocket 03",
        "In Cabinet A · 3-02",
        "Neither there nor to be built",
    ]
    assert any(line.startswith("[ ] Cabinet A · 3-02") for line in lines)
    assert any(line.startswith("Put in") and line.endswith("Drill 8.5") for line in lines)
    assert lines[-1] == "No plan does it with fewer moves"


def test_a_job_that_is_all_there_is_done(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    typed = io.TextIOWrapper(io.BytesIO(b"Ball mill 8\n"), "utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "stdin", typed)
        assert main(["setup", "-", "--machine", "Mill 1", "--json", "--data", str(data)]) == DONE
    (met,) = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert met["need"]["name"] == "Ball mill 8"
    assert met["entry"]["pocket"] == 3


def test_a_line_nobody_understands_stops_the_setup_unless_good_ones_are_asked_for(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = sheet(tmp_path, "Ball mill 8\nDrill 8.5; many\n")
    assert main(["setup", job, "--data", str(data)]) == WRONG
    told = capsys.readouterr()
    assert "job.txt, line 2, quantity" in told.err
    assert told.out == ""
    assert main(["setup", job, "--good-rows", "--data", str(data)]) == WANTING
    assert "Ball mill 8" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("more", "why"), [(["--machine", "Mill 99"], "there is no machine"), (["--plan"], "needs --machine")]
)
def test_a_setup_for_no_machine_is_wrong_use(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], more: list[str], why: str
) -> None:
    assert main(["setup", sheet(tmp_path, "Drill 8.5"), *more, "--data", str(data)]) == WRONG
    assert why in capsys.readouterr().err


def test_an_example_template_writes_a_machines_offsets(data: Path, tmp_path: Path) -> None:
    template = where.demo_tags() / "templates" / "offset_program.txt"
    out = tmp_path / "offsets.nc"
    assert main(["offsets", "Mill 1", "--template", str(template), "--out", str(out), "--data", str(data)]) == DONE
    lines = out.read_bytes().split(b"\r\n")
    assert lines[0] == b"%"
    assert any(line.startswith(b"G10 L10 P3 R") for line in lines)


def test_a_template_with_an_unknown_symbol_writes_nothing(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    template = tmp_path / "mine.txt"
    template.write_text("[each]\n{LENGTH}\n[end]\n", "utf-8")
    out = tmp_path / "out.txt"
    assert main(["offsets", "Mill 1", "--template", str(template), "--out", str(out), "--data", str(data)]) == WRONG
    assert "mine.txt, line 2, {LENGTH}: LENGTH is not a known symbol" in capsys.readouterr().err
    assert not out.exists()


class Cable:
    """Gives out its pieces, then is pulled."""

    def __init__(self, *pieces: bytes) -> None:
        self.pieces = list(pieces)
        self.closed = False

    def read(self, size: int = 1) -> bytes:
        if not self.pieces:
            raise OSError("cable pulled")
        return self.pieces.pop(0)

    def read_until(self, expected: bytes = b"\n", size: int | None = None) -> bytes:
        return self.read()

    def close(self) -> None:
        self.closed = True


def test_measurements_from_the_cable_are_taken_down_as_they_come(
    shop: Shop, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    code = shop.holder("T002")
    shop.desk.close()
    made = tmp_path / "presetter.toml"
    made.write_text('delimiter = ","\n[fields]\ntool = "1"\nlength = "2"\ndiameter = "3"\n[line]\nport = "COM1"\n')
    cable = Cable(f"{code},101.5,6.001\r\n".encode(), b"nobody,99,5\n", b"bad,x,5\n")
    monkeypatch.setattr(jobs, "open_port", lambda line: cable)
    assert main(["listen", "--map", str(made), "--data", str(shop.folder)]) == WRONG
    told = capsys.readouterr()
    assert told.out == f"{code}: 101.500 x 6.001 mm\n"
    assert "COM1, line 3, field 2: 'x' is not a number" in told.err
    assert "nobody" in told.err and "cable pulled" in told.err
    assert cable.closed
    measured = shop.reopen().session.holder("T002").assembly
    assert measured is not None and measured.measured is not None
    assert measured.measured.length_mm == 101.5


def test_the_magazine_bench_has_its_rows_and_never_moves_more_than_a_hand_by_eye() -> None:
    rows = list(bench.run(quick=True))
    assert {row.unit for row in rows} == {"s", "assemblies", "moves"}
    assert all(row.bench == "magazine" and row.ours > 0 and row.theirs > 0 for row in rows)
    # as many placed or more, and with as many placed no more moves
    for placed, moves in zip(rows[1::3], rows[2::3], strict=True):
        assert (placed.ours, -moves.ours) >= (placed.theirs, -moves.theirs)


def test_a_measured_unbalance_gets_its_grade_and_is_judged_at_a_speed(
    shop: Shop, capsys: pytest.CaptureFixture[str]
) -> None:
    # T002 weighs 1.11 + 0.022 kg; 1 g mm at 10 000 is G 10000 / (9549.3 * 1.132) = 0.925
    taken = shop.desk.build.measure("T002", Measured(101.2, 5.996, unbalance_gmm=1.0, at_rpm=10000.0))
    assert taken.values.balance_grade == pytest.approx(0.93)
    code = shop.holder("T002")
    shop.desk.close()
    # G 2.5 is kept up to 9549.3 * 2.5 * 1.132 = 27 025 1/min
    assert main(["balance", code, "--rpm", "24000", "--data", str(shop.folder)]) == DONE
    assert "G 2.5 is kept up to 27025 1/min" in capsys.readouterr().out
    assert main(["balance", code, "--rpm", "30000", "--data", str(shop.folder)]) == WANTING
    assert main(["balance", code, "--rpm", "0", "--data", str(shop.folder)]) == WRONG
    assert "rpm must be more than 0" in capsys.readouterr().err


def test_an_unbalance_nobody_measured_is_not_judged(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code = next(
        line for line in (where.demo_tags() / "holders.csv").read_text("utf-8").splitlines() if ",T002," in line
    )
    assert main(["balance", code.split(",")[0], "--rpm", "9000", "--data", str(data)]) == WRONG
    assert "no unbalance was measured" in capsys.readouterr().err


def test_a_guessed_map_is_saved_to_be_mended(data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    listed = tmp_path / "list.csv"
    listed.write_text("Name;Pocket;L\nBall mill 8;3;106.966\n", "utf-8")
    saved = tmp_path / "map.toml"
    first = main(["compare", "Mill 1", str(listed), "--save-map", str(saved), "--data", str(data)])
    out = capsys.readouterr().out
    assert first == WANTING and "in the kiosk, not in the control" in out
    assert main(["compare", "Mill 1", str(listed), "--map", str(saved), "--data", str(data)]) == WANTING
    assert capsys.readouterr().out == out


def test_a_pocket_is_kept_for_one_holder_until_it_is_nobodys(data: Path) -> None:
    pocket = "Mill 1 · pocket 09"

    def owner() -> str | None:
        with Desk.open(data) as desk:
            (machine,) = (one for one in desk.handover.machines() if one.name == "Mill 1")
            return next(each.owner for each in machine.pockets if each.number == 9)

    assert main(["pocket", pocket, "T001", "--data", str(data)]) == DONE
    assert owner() == "T001"
    assert main(["pocket", "Bench 1", "T001", "--data", str(data)]) == WRONG
    assert main(["pocket", pocket, "--data", str(data)]) == DONE
    assert owner() is None
