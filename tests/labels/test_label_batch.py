"""Batches: progress, cancel, the rest after a jam; all of a file or nothing of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pypdfium2
import pytest
from PIL import Image

from kiosk.labels import batch
from kiosk.labels.command import Made, Request, SheetWish, make
from kiosk.labels.content import LabelContent
from kiosk.labels.faults import Cancelled, LabelError, SizeTooSmall, TextTooLong, WrongUse
from kiosk.labels.queue import Job, JobState, Media, Printing, Queue, QueueGone
from kiosk.labels.sizes import parse_size
from kiosk.labels.wrap import CameraView, Remedy

Labels = Callable[..., LabelContent]


class PaperPrinter:
    """A print system that keeps what it was sent."""

    def __init__(self) -> None:
        self.sent: list[tuple[str, bytes, str, Media | None, int]] = []

    def queues(self) -> tuple[Queue, ...]:
        return (Queue("labels", "Label printer", default=True),)

    def media(self, queue: str) -> tuple[Media, ...]:
        return (Media("label_25x25mm", 25, 25, loaded=True), Media("iso_a4_210x297mm", 210, 297))

    def stock(self, queue: str, width_mm: float, height_mm: float) -> Media | None:
        return next(
            (each for each in self.media(queue) if (each.width_mm, each.height_mm) == (width_mm, height_mm)), None
        )

    def dpi(self, queue: str) -> int | None:
        return 203

    def send(self, queue: str, pdf: Path, *, title: str, media: Media | None, copies: int = 1) -> Job:
        self.sent.append((queue, pdf.read_bytes(), title, media, copies))
        return Job(queue, len(self.sent), title, JobState.WAITING)

    def job(self, job: Job) -> Job:
        return job

    def cancel(self, job: Job) -> Job:
        return job

    def retry(self, job: Job, *, looked: bool = False) -> Job:
        return job


def test_a_batch_reports_how_far_it_is(label: Labels, tmp_path: Path) -> None:
    seen: list[tuple[int, int]] = []
    contents = [label(number) for number in range(70)]
    made = make(
        Request(contents, "19x19", out=tmp_path / "all.pdf"), progress=lambda done, total: seen.append((done, total))
    )
    assert made.labels == 70
    assert seen == [(32, 70), (64, 70), (70, 70)]
    assert len(pypdfium2.PdfDocument(tmp_path / "all.pdf")) == 70


def test_a_cancelled_batch_leaves_no_file_and_keeps_the_old_one(label: Labels, tmp_path: Path) -> None:
    out = tmp_path / "all.pdf"
    out.write_bytes(b"yesterday's")
    asked: list[int] = []

    def cancelled() -> bool:
        asked.append(1)
        return len(asked) > 1

    with pytest.raises(Cancelled) as stopped:
        make(Request([label(number) for number in range(70)], "19x19", out=out), cancelled=cancelled)
    assert (stopped.value.done, stopped.value.total) == (32, 70)
    assert out.read_bytes() == b"yesterday's"
    assert list(tmp_path.iterdir()) == [out]


def test_one_bad_label_keeps_the_whole_batch_from_paper(label: Labels, tmp_path: Path) -> None:
    contents = [label(1), label(2, name="X" * 300), label(3)]
    printer = PaperPrinter()
    with pytest.raises(TextTooLong):
        make(Request(contents, "25x25", queue="labels"), printing=printer)
    with pytest.raises(TextTooLong):
        make(Request(contents, "25x25", out=tmp_path / "all.pdf"))
    assert not printer.sent
    assert not list(tmp_path.iterdir())


def test_a_full_disk_leaves_the_old_file(label: Labels, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "all.pdf"
    out.write_bytes(b"yesterday's")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(batch.draw, "pdf", full)
    with pytest.raises(OSError, match="No space"):
        make(Request([label()], out=out))
    assert out.read_bytes() == b"yesterday's"
    assert list(tmp_path.iterdir()) == [out]


def test_one_code_stands_in_a_batch_once(label: Labels, tmp_path: Path) -> None:
    with pytest.raises(WrongUse, match="as label 1 and label 3"):
        make(Request([label(5), label(6), label(5)], out=tmp_path / "all.pdf"))


def test_after_a_jam_the_rest_is_printed_and_no_label_twice(label: Labels, tmp_path: Path) -> None:
    contents = [label(number) for number in range(10)]
    printer = PaperPrinter()
    make(Request(contents, "25x25", queue="labels"), printing=printer)
    make(Request(contents, "25x25", queue="labels", first=8), printing=printer)
    pages = [len(pypdfium2.PdfDocument(pdf)) for _, pdf, *_ in printer.sent]
    assert pages == [10, 3]
    rest = pypdfium2.PdfDocument(printer.sent[1][1])[0].get_textpage()
    assert rest.search(contents[7].code.text).get_next() is not None
    for first in (0, 11):
        with pytest.raises(WrongUse):
            make(Request(contents, "25x25", queue="labels", first=first), printing=printer)


def test_a_batch_on_tape_has_labels_of_one_length(label: Labels) -> None:
    tape = parse_size("tape 12 mm")
    layouts = batch.prepare([label(1, name="S 6"), label(2, name="Shrink 25 x 160 slim")], tape, 300)
    assert layouts[0].width_mm == layouts[1].width_mm
    assert batch.prepare([label(1, name="S 6")], tape, 300)[0].width_mm < layouts[1].width_mm


def test_pictures_are_named_after_their_codes_when_there_are_several(label: Labels, tmp_path: Path) -> None:
    contents = [label(number) for number in range(3)]
    made = make(Request(contents, "19x19", out=tmp_path / "tag.png"))
    assert [path.name for path in made.files] == [f"tag-{content.code.text}.png" for content in contents]
    assert all(Image.open(path).mode == "1" for path in made.files)
    assert make(Request(contents[:1], "19x19", out=tmp_path / "one.png")).files == (tmp_path / "one.png",)


def test_a_label_is_sent_for_the_stock_that_fits(label: Labels) -> None:
    printer: Printing = PaperPrinter()
    made = make(Request([label()], "25x25", queue="labels", copies=2), printing=printer)
    assert made.media == Media("label_25x25mm", 25, 25, loaded=True)
    assert printer.sent[0][2:] == (label().code.grouped, made.media, 2)  # type: ignore[attr-defined]
    assert make(Request([label()], "60x30", queue="labels"), printing=printer).media is None
    on_sheet = make(Request([label()], "25x25", queue="labels", sheet=SheetWish("A4", start=5)), printing=printer)
    assert on_sheet.media is not None
    assert on_sheet.media.name == "iso_a4_210x297mm"
    with pytest.raises(WrongUse, match="label_25x25mm"):
        make(Request([label()], "25x25", queue="labels", media="letter"), printing=printer)


def test_labels_laid_out_for_other_dots_than_the_printers_are_told_apart(label: Labels) -> None:
    printer = PaperPrinter()
    assert make(Request([label()], dpi=300, queue="labels"), printing=printer).queue_dpi == 203
    assert make(Request([label()], dpi=203, queue="labels"), printing=printer).queue_dpi is None


def test_a_queue_that_vanished_is_named_with_those_that_are_there(label: Labels) -> None:
    printer = PaperPrinter()
    with pytest.raises(QueueGone, match=r"there are: labels"):
        make(Request([label()], queue="old-printer"), printing=printer)
    assert not printer.sent


@pytest.mark.parametrize(
    ("wish", "why"),
    [
        ({}, "say where"),
        ({"out": Path("a.pdf"), "queue": "labels"}, "say where"),
        ({"out": Path("a.jpg")}, "neither"),
        ({"out": Path("nowhere/at/all/a.pdf")}, "no folder"),
        ({"out": Path("a.png"), "sheet": SheetWish("A4")}, "sheet is a PDF"),
        ({"out": Path("a.pdf"), "contents": []}, "no labels"),
    ],
)
def test_a_request_that_contradicts_itself_is_refused(label: Labels, wish: dict[str, object], why: str) -> None:
    with pytest.raises(WrongUse, match=why):
        make(Request(**({"contents": [label()]} | wish)))  # type: ignore[arg-type]


def test_a_size_too_small_stops_before_anything_is_written(label: Labels, tmp_path: Path) -> None:
    with pytest.raises(SizeTooSmall):
        make(Request([label()], "6x6", out=tmp_path / "a.pdf"))
    assert not list(tmp_path.iterdir())


def test_round_steel_is_advised_about_and_still_printed(label: Labels, tmp_path: Path) -> None:
    def asked(size: str, diameter_mm: float) -> Made:
        out = tmp_path / f"{size}.pdf"
        return make(Request([label()], size, out=out, wrap_mm=diameter_mm, view=CameraView(60, 1920, 110)))

    fine = asked("25x25", 50)
    assert fine.advice is not None
    assert fine.advice.ok
    bad = asked("100x50", 32)
    assert bad.files[0].exists()
    assert bad.advice is not None
    assert bad.advice.remedy is Remedy.SMALLER_SYMBOL
    again = make(
        Request([label()], "100x50", out=tmp_path / "b.pdf", wrap_mm=32, module_dots=bad.advice.module_dots,
                view=CameraView(60, 1920, 110))
    )  # fmt: skip
    assert again.advice is not None
    assert again.advice.ok


def test_every_refusal_has_words_in_every_language(label: Labels, tmp_path: Path) -> None:
    from kiosk import words

    refusals: list[LabelError] = []
    for request in (
        Request([label()], "6x6", out=tmp_path / "a.pdf"),
        Request([label()], "banana", out=tmp_path / "a.pdf"),
        Request([label(name="X" * 300)], out=tmp_path / "a.pdf"),
        Request([label(name="刀")], out=tmp_path / "a.pdf"),
        Request([label()], dpi=7, out=tmp_path / "a.pdf"),
        Request([label()], out=tmp_path / "a.pdf", sheet=SheetWish("A0")),
        Request([label()]),
    ):
        with pytest.raises(LabelError) as refused:
            make(request)
        refusals.append(refused.value)
    for language in words.LANGUAGES:
        for refusal in refusals:
            said = words.catalogue(language).say(refusal.say.key, **dict(refusal.say.values))
            assert "{" not in said
            assert len(said) > 20
