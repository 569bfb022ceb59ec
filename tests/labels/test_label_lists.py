"""Lists of labels: what is wrong is named by file, line and field, and nothing of such a list is used."""

from __future__ import annotations

from pathlib import Path

import pytest

from kiosk.labels.content import LabelContent, Tag
from kiosk.labels.faults import ListFault
from kiosk.labels.lists import read_list
from kiosk.rules.codes import Code, CodeKind, make

FIRST, SECOND, PLACE = make(CodeKind.HOLDER, 1), make(CodeKind.HOLDER, 2), make(CodeKind.PLACE, 3)


def written(tmp_path: Path, text: str, encoding: str = "utf-8") -> Path:
    path = tmp_path / "labels.csv"
    path.write_bytes(text.encode(encoding))
    return path


def test_a_list_gives_labels_of_every_kind(tmp_path: Path) -> None:
    path = written(
        tmp_path,
        "code,name,coupling,bore_mm,number,within\n"
        f"{FIRST.grouped},Shrink 12,hsk63,12.0,,\n\n{PLACE},Pocket,,,7,Mill 1\n",
    )
    assert read_list(path) == [
        LabelContent(Tag.HOLDER, FIRST, "Shrink 12", ("HSK-A 63 · Ø12",)),
        LabelContent(Tag.PLACE, PLACE, "Pocket", ("Mill 1",), "7"),
    ]


def test_semicolons_decimal_commas_and_a_byte_order_mark_are_understood(tmp_path: Path) -> None:
    path = written(tmp_path, f"code;name;bore_mm\r\n{FIRST};Größe;12,5\r\n", "utf-8-sig")
    assert read_list(path) == [LabelContent(Tag.HOLDER, FIRST, "Größe", ("Ø12.5",))]


def test_a_list_of_codes_alone_is_filled_from_the_book(tmp_path: Path) -> None:
    book = {FIRST: LabelContent(Tag.HOLDER, FIRST, "Shrink 12", ("HSK-A 63 · Ø12",))}
    path = written(tmp_path, f"code\n{FIRST}\n")
    assert read_list(path, book.get) == [book[FIRST]]
    renamed = written(tmp_path, f"code,name\n{FIRST},Spare\n")
    assert read_list(renamed, book.get) == [LabelContent(Tag.HOLDER, FIRST, "Spare", ("HSK-A 63 · Ø12",))]


@pytest.mark.parametrize(
    ("text", "line", "field", "why"),
    [
        (f"code,name\n{FIRST},A\n{SECOND},B\n{FIRST},C\n", 4, "code", "line 2 already"),
        ("code,name\nH00B,A\n", 2, "code", "ten characters"),
        (f"code,name\n{FIRST},A\nQ000000001,B\n", 3, "code", "has none of"),
        ("code,name\nX000000001,B\n", 2, "code", "starts with"),
        (f"code,name\n{FIRST.text[:-1]}{'0' if FIRST.text[-1] != '0' else '1'},B\n", 2, "code", "check character"),
        (f"code,name\n{FIRST},\n", 2, "name", "short name"),
        (f"code,name,coupling\n{FIRST},A,HSK64\n", 2, "coupling", "HSK64"),
        (f"code,name,bore_mm\n{FIRST},A,twelve\n", 2, "bore_mm", "twelve"),
        (f"code,name,bore_mm\n{FIRST},A,-3\n", 2, "bore_mm", "-3"),
        (f"code,name\n{FIRST},A,extra\n", 2, "name", "more fields"),
        (f"code,nmae\n{FIRST},A\n", 1, "nmae", "no such column"),
        ("name\nA\n", 1, "code", "missing"),
        ("code,code\n", 1, "code", "twice"),
        ("code,name\n", 1, "-", "no labels"),
        ("", 1, "code", "missing"),
    ],
)
def test_a_fault_is_named_by_line_and_field(tmp_path: Path, text: str, line: int, field: str, why: str) -> None:
    path = written(tmp_path, text)
    with pytest.raises(ListFault, match=why) as fault:
        read_list(path)
    assert (fault.value.line, fault.value.field) == (line, field)
    assert str(path) in str(fault.value)


def test_a_code_of_another_shop_is_refused(tmp_path: Path) -> None:
    def known(code: Code) -> LabelContent | None:
        return LabelContent(Tag.HOLDER, code, "Shrink 12") if code == FIRST else None

    path = written(tmp_path, f"code,name\n{FIRST},A\n{SECOND},B\n")
    with pytest.raises(ListFault, match="book") as fault:
        read_list(path, known)
    assert (fault.value.line, fault.value.field) == (3, "code")


def test_a_file_in_another_encoding_names_the_line_that_shows_it(tmp_path: Path) -> None:
    path = written(tmp_path, f"code,name\n{FIRST},A\n{SECOND},Größe\n", "latin-1")
    with pytest.raises(ListFault, match="UTF-8") as fault:
        read_list(path)
    assert fault.value.line == 3
