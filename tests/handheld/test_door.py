"""What comes to the door from a hostile network is refused by limits, and nothing acts but the page itself."""

from __future__ import annotations

import json
import socket
import ssl
import struct
import time
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest

from kiosk.handheld.serving.app import FILES, MOST_ASK_BYTES
from kiosk.handheld.serving.guard import HEADERS, Rates
from kiosk.handheld.serving.pictures import MOST_FRAME_BYTES
from kiosk.reader.files import MOST_SCANS
from kiosk.words import t
from tests.handheld.served import Served, Telephone

SHIFT = Path(__file__).parent.parent.parent / "demo_tags" / "shift"


@pytest.fixture(scope="module")
def phone(kiosk: Served) -> Telephone:
    return kiosk.telephone()


@pytest.fixture
def lines(kiosk: Served) -> int:
    """The last line of the book before the test."""
    return int(kiosk.desk.do(lambda desk: desk.session.book.last_id))


def nothing_written(kiosk: Served, lines: int) -> bool:
    return bool(kiosk.desk.do(lambda desk: desk.session.book.last_id) == lines)


def test_every_answer_has_the_headers_errors_and_strange_addresses_too(phone: Telephone) -> None:
    for path in (*FILES, "/words", "/nothing", "/ask", "/../page.html", "/%2e%2e/%2e%2e/etc/passwd", "/page.css/.."):
        phone.get(path)
        assert phone.answered is not None
        for name, value in HEADERS:
            assert phone.answered.get(name.decode()) == value.decode(), (path, name)
        assert "server" not in {name.lower() for name in phone.answered}
    csp = dict(HEADERS)[b"content-security-policy"].decode()
    assert "unsafe" not in csp and "frame-ancestors 'none'" in csp and "http" not in csp


def test_no_path_leaves_the_table_of_files(phone: Telephone) -> None:
    for path in (
        "/../assets/handheld/page.html", "/%2e%2e/%2e%2e/settings.toml", "/..%2f..%2fphones/key.pem", "/key.pem",
        "//etc/passwd", "/page.js%00.html", "/fonts/OFL.txt", "/.%00./x", "\\..\\key.pem",
    ):  # fmt: skip
        status, body = phone.get(path)
        assert status in (400, 404) and b"PRIVATE" not in body, path


def test_the_page_asks_for_nothing_from_anywhere_else() -> None:
    assets = Path(__file__).parent.parent.parent / "assets" / "handheld"
    for file in assets.iterdir():
        text = file.read_text("utf-8")
        assert "http://" not in text and "https://" not in text and "//cdn" not in text, file.name
    page = (assets / "page.html").read_text("utf-8")
    assert page.count("<script") == 1 and " on" + "click=" not in page and "style=" not in page
    script = (assets / "page.js").read_text("utf-8")
    for word in ("innerHTML", "eval(", "insertAdjacentHTML", "document.write", "new Function"):
        assert word not in script, word


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"origin": None},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"content-type": "text/plain"},
        {"content-type": "application/x-www-form-urlencoded"},
        {"content-type": "multipart/form-data; boundary=x"},
    ],
)
def test_no_request_from_another_site_acts(
    kiosk: Served, phone: Telephone, lines: int, headers: dict[str, str | None]
) -> None:
    ask = {"ask": "scan", "texts": [kiosk.holder("T002")]}
    said = {name.replace("-", "_"): value for name, value in headers.items()}
    kind = said.pop("content_type", "application/json")
    status, _ = phone.post("/ask", ask, kind=str(kind), **said)
    assert status == 403
    assert nothing_written(kiosk, lines)


def test_a_name_of_somebody_elses_that_leads_here_is_no_way_in(phone: Telephone) -> None:
    for host in ("evil.example", "evil.example:8443", "127.0.0.1", "127.0.0.1:1", "[::1]:8443", ""):
        status, _ = phone.post("/ask", {"ask": "me"}, host=host, origin=f"https://{host}")
        assert status in (400, 421), host


@pytest.mark.parametrize("cookie", ["", "x", "A" * 43, "A" * 5000, "../../x", "é"])
def test_nobodys_cookie_gets_nothing(kiosk: Served, lines: int, cookie: str) -> None:
    stranger = Telephone(kiosk.address, cookie)
    picture = (SHIFT / "002-holder.jpg").read_bytes()
    ask = {"ask": "scan", "texts": [kiosk.holder("T002")]}
    assert stranger.post("/ask", ask)[0] in (400, 401)
    assert stranger.post("/frame", picture, kind="image/jpeg")[0] in (400, 401)
    assert stranger.post("/drawer?place=x", picture, kind="image/jpeg")[0] in (400, 401)
    assert stranger.get("/news")[0] in (400, 401)
    assert nothing_written(kiosk, lines)


def test_a_second_shops_telephone_gets_nothing(kiosk: Served, phone: Telephone) -> None:
    """Its cookie is a good one, of another kiosk; and so is its token."""
    from kiosk.handheld.pairing import Pairing, new_cookie

    stranger = Telephone(kiosk.address, new_cookie())
    assert stranger.post("/ask", {"ask": "hot"})[0] == 401
    status, body = stranger.post("/pair", {"token": Pairing().offer("jo", 0.0)})
    assert status == 403 and body["kind"] == "fault"


def test_the_cookie_is_strict_and_no_script_reads_it(kiosk: Served) -> None:
    telephone = kiosk.telephone()
    assert telephone.answered is not None
    given = telephone.answered["set-cookie"].lower()
    assert given.startswith("__host-phone=")
    assert {"httponly", "secure", "samesite=strict", "path=/"} <= {part.strip() for part in given.split(";")}
    assert "domain" not in given


@pytest.mark.parametrize(
    "body",
    [
        b"", b"{}", b"[]", b"null", b"{", b'{"ask":"unlock","pin":"1234"}', b'{"ask":"settings"}',
        b'{"ask":"scan"}', b'{"ask":"scan","texts":[]}', b'{"ask":"scan","texts":"x"}', b'{"ask":"scan","texts":[1]}',
        b'{"ask":"scan","texts":["a","a","a","a","a","a","a","a","a"]}', b'{"ask":"find","text":null}',
        b'{"ask":"me","phone":"0"}', b'{"ask":"photograph","place":"x","symbols":[]}', b"\xff\xfe", b"[" * 4000,
        b'{"ask":"find","text":"' + b"x" * 200 + b'"}', b'{"ask":"read","holder":"T001","value_c":20}',
        b'{"ask":"me","ask":"scan"}',
    ],
)  # fmt: skip
def test_what_is_no_question_of_the_table_is_none(kiosk: Served, phone: Telephone, lines: int, body: bytes) -> None:
    status, _ = phone.post("/ask", body)
    assert status == 400
    assert nothing_written(kiosk, lines)


@pytest.mark.parametrize("text", ["", "\0", "💥" * 50, "' OR 1=1 --", "../../x", "\ud7ff", "<script>alert(1)</script>"])
def test_any_text_that_is_scanned_is_answered_like_a_label_nobody_knows(phone: Telephone, text: str) -> None:
    body = phone.ask("scan", texts=[text])
    assert body["state"] == "stop"


@pytest.mark.parametrize(
    "name", ["way", "machine", "card", "condition", "look_for", "settle", "open_audit", "hand_over"]
)
def test_things_that_are_not_there_are_said_and_stop_nothing(kiosk: Served, phone: Telephone, name: str) -> None:
    values = {
        "way": {"holder": "no"}, "machine": {"code": "no"}, "card": {"holder": "no"},
        "condition": {"holder": "T001", "condition": "fine"}, "look_for": {"holder": "no"},
        "settle": {"difference": "no", "action": "registered"}, "open_audit": {"place": "no"},
        "hand_over": {"pocket": "no", "holder": "no"},
    }[name]  # fmt: skip
    body = phone.ask(name, **values)
    assert (body["kind"] == "fault" and body["say"]) or body.get("good") is False
    assert phone.ask("me")["person"] == "Jo Reed"


def test_bodies_are_measured_before_they_are_taken(phone: Telephone) -> None:
    assert phone.post("/ask", b'{"ask":"find","text":"' + b" " * MOST_ASK_BYTES + b'"}')[0] == 413
    try:
        status = phone.post("/frame", b"\xff\xd8" + b"\0" * MOST_FRAME_BYTES, kind="image/jpeg")[0]
    except (BrokenPipeError, ConnectionError, ssl.SSLError):
        status = 413  # it did not wait for the rest
    assert status == 413


def header_of(width: int, height: int) -> bytes:
    """A JPEG's beginning that promises so many pixels and holds none."""
    frame = struct.pack(">BHHB", 8, height, width, 1) + b"\x01\x11\x00"
    return b"\xff\xd8\xff\xc0" + struct.pack(">H", len(frame) + 2) + frame + b"\xff\xd9"


def test_pictures_are_measured_before_a_pixel_is_unpacked(phone: Telephone) -> None:
    small = cv2.imencode(".jpg", np.zeros((64, 64), np.uint8))[1].tobytes()
    large = cv2.imencode(".jpg", np.zeros((3000, 4000), np.uint8))[1].tobytes()
    png = cv2.imencode(".png", np.zeros((64, 64), np.uint8))[1].tobytes()
    again = small[:-2] + b"\xff\xda\x00\x08\x01\x01\x00\x00\x3f\x00" * (MOST_SCANS + 1) + small[-2:]
    for path in ("/frame", "/picture", "/drawer?place=x"):
        for bad in (b"", b"\xff\xd8", header_of(60_000, 60_000), png, zlib.compress(b"x"), again):
            began = time.monotonic()
            status, body = phone.post(path, bad, kind="image/jpeg")
            assert status == 422 and body["kind"] == "no_picture"
            assert time.monotonic() - began < 2.0
    assert phone.post("/frame", large, kind="image/jpeg")[0] == 422  # too many pixels for a live frame
    assert phone.post("/frame", small, kind="image/jpeg")[0] == 200


def test_a_request_that_is_sent_again_is_done_once(kiosk: Served, phone: Telephone) -> None:
    phone.ask("scan", texts=[kiosk.holder("T020")])
    first = phone.ask("scan", key="the same key 1", texts=[kiosk.place("Bench 1")])
    lines = kiosk.desk.do(lambda desk: desk.session.book.last_id)
    assert first["word"] == "Moved"
    assert phone.ask("scan", key="the same key 1", texts=[kiosk.place("Bench 1")]) == first
    other = kiosk.telephone()
    again = other.ask("scan", key="the same key 1", texts=[kiosk.place("Bench 1")])
    assert again != first  # a key is a telephone's own
    written = kiosk.desk.do(lambda desk: [line.kind for line in desk.session.book.lines(after=lines)])
    assert written == ["phone paired"]


def test_something_else_under_a_key_that_was_used_is_neither_done_nor_told_as_if_it_were(
    kiosk: Served, phone: Telephone
) -> None:
    """The answer of then says "moved" of a cool holder; told of a hot one it would open a door."""
    for text in (kiosk.holder("T022"), kiosk.place("Bench 1")):
        first = phone.ask("scan", key=f"key of {text}", texts=[text])
    assert first["word"] == "Moved"
    lines = kiosk.desk.do(lambda desk: desk.session.book.last_id)
    for other in ({"texts": [kiosk.holder("T023")]}, {"texts": [kiosk.place("Bench 1")] * 2}):
        status, body = phone.post("/ask", {"ask": "scan"} | other, key=f"key of {kiosk.place('Bench 1')}")
        assert status == 409 and body["kind"] == "fault" and body["say"] == t("phone.key_used")
    status, body = phone.post("/ask", {"ask": "undo"}, key=f"key of {kiosk.place('Bench 1')}")
    assert status == 409 and body["say"] == t("phone.key_used")
    assert kiosk.desk.do(lambda desk: desk.session.book.last_id) == lines


def test_a_question_that_does_nothing_uses_up_no_key(kiosk: Served, phone: Telephone) -> None:
    """Else a refused look would keep the scan of the same frame from the desk."""
    assert phone.ask("machine", key="a frame's own key", code="no")["kind"] == "fault"
    said = phone.ask("scan", key="a frame's own key", texts=[kiosk.holder("T024")])
    assert said["kind"] == "outcome" and said["state"] == "wait"


def test_a_frame_whose_answer_was_lost_is_told_by_its_number(kiosk: Served, phone: Telephone) -> None:
    number = phone.ask("me")["number"]
    phone.ask("scan", texts=[kiosk.holder("T021")])
    me = phone.ask("me")
    assert me["last"]["number"] == me["number"] == number + 1
    assert me["waits"]["title"] and 0 < me["waits"]["wait_s"] <= 20


@pytest.mark.parametrize("key", ["", "short", "x" * 65, "ä" * 10])
def test_a_request_without_a_key_of_its_own_is_none(phone: Telephone, key: str) -> None:
    try:
        status = phone.post("/ask", {"ask": "me"}, x_key=key)[0]
    except UnicodeEncodeError:
        return
    assert status == 400


def test_wrong_codes_wait_longer_and_longer_and_a_right_one_waits_too(alone: Served) -> None:
    stranger = Telephone(alone.address)
    token = alone.token()
    said = [stranger.post("/pair", {"token": f"wrong {at}"}) for at in range(6)]
    assert [status for status, _ in said] == [403] * 6
    assert "Wait" in said[-1][1]["say"] and "Wait" not in said[0][1]["say"]
    assert stranger.post("/pair", {"token": token})[0] == 403
    alone.clock.forward(61.0)
    token = alone.token()
    assert stranger.post("/pair", {"token": token})[0] == 200


def test_a_code_is_good_for_two_minutes_and_as_long_as_it_is_shown(alone: Served) -> None:
    stranger = Telephone(alone.address)
    token = alone.token()
    alone.clock.forward(121.0)
    assert stranger.post("/pair", {"token": token})[0] == 403
    token = alone.token()
    alone.desk.do(alone.phones.hide)
    assert stranger.post("/pair", {"token": token})[0] == 403
    old, token = alone.token(), alone.token()
    assert stranger.post("/pair", {"token": old})[0] == 403
    assert stranger.post("/pair", {"token": token})[0] == 200


def test_a_server_that_dies_is_started_again_and_its_telephones_go_on(alone: Served) -> None:
    telephone = alone.telephone()
    address = alone.address
    assert alone.phones._link._process is not None
    alone.phones._link._process.kill()
    limit = time.monotonic() + 20
    while alone.seen().state != "serving" or alone.address == address:
        assert time.monotonic() < limit
        time.sleep(0.1)
    again = Telephone(alone.address, telephone.cookie)
    time.sleep(0.2)
    assert again.ask("me")["person"] == "Jo Reed"


def test_the_certificate_is_kept_is_its_owners_alone_and_is_the_one_that_is_shown(kiosk: Served) -> None:
    import hashlib
    import stat

    key = kiosk.folder / "phones" / "key.pem"
    assert stat.S_IMODE(key.stat().st_mode) == 0o600
    assert stat.S_IMODE(key.parent.stat().st_mode) == 0o700
    host, port = kiosk.address.removeprefix("https://").rstrip("/").split(":")
    sent = ssl.PEM_cert_to_DER_cert(ssl.get_server_certificate((host, int(port))))
    seen = kiosk.seen().fingerprint
    assert hashlib.sha256(sent).hexdigest().upper() == seen.replace(":", "")
    assert json.loads(Telephone(kiosk.address).get("/words")[1])["fingerprint"] == seen
    from kiosk.handheld.certificate import kept

    before = key.read_bytes()
    assert kept(kiosk.folder, kiosk.clock.wall()).fingerprint == seen and key.read_bytes() == before
    years = 3 * 365 * 86400.0
    assert kept(kiosk.folder, time.time() + years).fingerprint != seen


def test_plain_http_and_garbage_get_nothing(kiosk: Served, phone: Telephone) -> None:
    host, port = kiosk.address.removeprefix("https://").rstrip("/").split(":")
    for said in (b"GET / HTTP/1.1\r\nhost: x\r\n\r\n", b"\x16\x03\x01" + b"\xff" * 200, b"\0" * 1000):
        with socket.create_connection((host, int(port)), timeout=5) as plain:
            plain.sendall(said)
            plain.settimeout(5)
            assert b"200" not in plain.recv(200)
    assert phone.ask("me")["person"] == "Jo Reed"


def test_who_asks_too_often_is_told_to_wait_and_comes_in_again() -> None:
    rates = Rates(2.0, 3.0, most=2)
    assert [rates.may("a", 100.0) for _ in range(4)] == [True, True, True, False]
    assert rates.may("b", 100.0) and not rates.may("a", 100.4)
    assert rates.may("a", 101.0)
    assert all(rates.may(name, 101.0) for name in "cdefg")  # of however many, so many are remembered


def test_a_flood_of_questions_is_turned_away_and_the_kiosk_still_answers(kiosk: Served) -> None:
    telephone = kiosk.telephone()
    connection = telephone.connect()
    said = []
    for _ in range(90):  # on one connection, as fast as they are answered
        connection.request("POST", "/ask", b"{}", {
            "origin": f"https://{telephone.host}", "content-type": "application/json", "x-key": "a flood of one",
            "cookie": f"__Host-phone={telephone.cookie}",
        })  # fmt: skip
        answer = connection.getresponse()
        answer.read()
        said.append(answer.status)
    connection.close()
    assert set(said) == {400, 429}
    time.sleep(1.5)
    assert telephone.post("/ask", {"ask": "me"})[0] == 200
