"""The pages and what they ask, as addresses: a closed table of files, and five ways to ask.

A telephone's cookie is compared by its digest with those the kiosk has named; nothing is unpacked, read or asked for
one that is not among them.
"""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path
from typing import Any

import msgspec
from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from kiosk.handheld import messages as M
from kiosk.handheld.pairing import digest
from kiosk.handheld.serving.guard import Rates
from kiosk.handheld.serving.pictures import (
    MOST_FRAME_BYTES,
    MOST_PICTURE_BYTES,
    Busy,
    Overtaken,
    Pictures,
)
from kiosk.handheld.serving.pipe import Kiosk, NoAnswer
from kiosk.reader.files import PictureError

COOKIE = "__Host-phone"
MOST_ASK_BYTES = 8_000
SLOW_S = 10.0  # a body has so long to come
BEAT_S = 0.5  # a page that hears nothing for longer than three of these says so
FRAMES_A_SECOND, FRAMES_AT_ONCE = 12.0, 24.0
ASKS_A_SECOND, ASKS_AT_ONCE = 10.0, 30.0

# Every file there is, by its address: no path is ever made from what somebody asks for.
FILES = {
    "/": ("handheld/page.html", "text/html; charset=utf-8"),
    "/page.css": ("handheld/page.css", "text/css; charset=utf-8"),
    "/page.js": ("handheld/page.js", "text/javascript; charset=utf-8"),
    "/B612-Regular.ttf": ("fonts/B612-Regular.ttf", "font/ttf"),
    "/B612-Bold.ttf": ("fonts/B612-Bold.ttf", "font/ttf"),
    "/hot-surface.svg": ("icons/hot-surface.svg", "image/svg+xml"),
    "/app.png": ("icons/app.png", "image/png"),
    "/done.wav": ("sounds/done.wav", "audio/wav"),
    "/refused.wav": ("sounds/refused.wav", "audio/wav"),
    "/hot.wav": ("sounds/hot.wav", "audio/wav"),
}


class Away(Exception):
    """A request that is answered with a status and no more."""

    def __init__(self, status: int) -> None:
        super().__init__(str(status))
        self.status = status


def pages(kiosk: Kiosk, pictures: Pictures, assets: Path, fingerprint: str) -> Starlette:
    """The application.  fingerprint: of the certificate, for the page to show."""
    return _Pages(kiosk, pictures, assets, fingerprint).app


class _Pages:
    def __init__(self, kiosk: Kiosk, pictures: Pictures, assets: Path, fingerprint: str) -> None:
        self._kiosk, self._pictures, self._fingerprint = kiosk, pictures, fingerprint
        self._files = {at: ((assets / name).read_bytes(), kind) for at, (name, kind) in FILES.items()}
        self._frames = Rates(FRAMES_A_SECOND, FRAMES_AT_ONCE)
        self._asks = Rates(ASKS_A_SECOND, ASKS_AT_ONCE)
        ways: dict[str, Callable[[Request], Awaitable[Response]]] = {
            "/pair": self.pair, "/ask": self.ask, "/frame": self.frame, "/picture": self.picture,
            "/drawer": self.drawer,
        }  # fmt: skip
        self.app = Starlette(
            routes=[
                *(Route(at, self.file, methods=["GET"]) for at in FILES),
                Route("/words", self.words, methods=["GET"]),
                Route("/news", self.news, methods=["GET"]),
                *(Route(at, way, methods=["POST"]) for at, way in ways.items()),
            ],
            exception_handlers={
                Away: _away,
                PictureError: _no_picture,
                NoAnswer: _no_answer,
                Busy: _busy,
                ClientDisconnect: _busy,
                Overtaken: _overtaken,
            },
        )

    # What everybody may see ---------------------------------------------------------------------------------

    async def file(self, request: Request) -> Response:
        data, kind = self._files[request.url.path]
        return Response(data, media_type=kind)

    async def words(self, _: Request) -> Response:
        kiosk = self._kiosk
        return _json({"language": kiosk.language, "words": kiosk.words, "fingerprint": self._fingerprint})

    async def pair(self, request: Request) -> Response:
        """A token becomes a cookie."""
        body = await self._body(request, 400)
        try:
            token = msgspec.json.decode(body, type=dict[str, str])["token"][:100]
        except (msgspec.MsgspecError, KeyError):
            raise Away(400) from None
        address = request.client.host if request.client else ""
        kind, cookie = _kind(request.headers.get("user-agent", "")), request.cookies.get(COOKIE, "")
        answer = await self._kiosk.pair(token, address, kind, digest(cookie) if cookie else "")
        response = _json(answer.body, answer.status)
        if answer.cookie:
            response.set_cookie(
                COOKIE, answer.cookie, max_age=answer.keep_s, path="/", secure=True, httponly=True, samesite="strict"
            )
        return response

    # What a telephone may ask -------------------------------------------------------------------------------

    async def ask(self, request: Request) -> Response:
        phone, key = self._who(request, self._asks), _key(request)
        try:
            asked = M.page_ask.decode(await self._body(request, MOST_ASK_BYTES))
        except msgspec.MsgspecError:
            raise Away(400) from None
        return _answered(await self._kiosk.ask(phone, key, asked))

    async def frame(self, request: Request) -> Response:
        """A live frame: what is in it, and what came of a label that is new."""
        phone, key = self._who(request, self._frames), _key(request)
        glance = await self._pictures.glance(phone, await self._body(request, MOST_FRAME_BYTES))
        seen: dict[str, Any] = {
            "kind": "glance", "size": glance.size, "corners": glance.corners, "read": glance.read, "hint": glance.hint,
        }  # fmt: skip
        if glance.spent:
            await self._kiosk.ask(phone, key, M.LookedAt(glance.spent))
        if not glance.texts:
            return _json(seen)
        answer = await self._kiosk.ask(phone, key, M.Scan(glance.texts[: M.MOST_TEXTS]))
        return _json(seen | {"came": answer.body}, answer.status)

    async def picture(self, request: Request) -> Response:
        """A single picture: its middlemost label is scanned."""
        phone, key = self._who(request, self._asks), _key(request)
        symbols, size = await self._pictures.labels(await self._body(request, MOST_PICTURE_BYTES))
        seen: dict[str, Any] = {"kind": "glance", "size": size, "corners": None, "read": False, "hint": ""}
        if not symbols:
            return _json(seen | {"nothing": True})
        answer = await self._kiosk.ask(phone, key, M.Scan((symbols[0].text,)))
        return _json(seen | {"corners": symbols[0].corners, "read": True, "came": answer.body}, answer.status)

    async def drawer(self, request: Request) -> Response:
        """A drawer's photograph in an audit."""
        phone, key = self._who(request, self._asks), _key(request)
        place = request.query_params.get("place", "")[:128]
        reading, size = await self._pictures.drawer(await self._body(request, MOST_PICTURE_BYTES))
        symbols = tuple(M.Symbol(each.text, each.format, _four(each.corners), each.spent) for each in reading.symbols)
        answer = await self._kiosk.ask(phone, key, M.Photograph(place, symbols[: M.MOST_SYMBOLS]))
        unread = [each.corners for each in reading.unread][: M.MOST_SYMBOLS]
        return _json(answer.body | {"size": size, "unread": unread}, answer.status)

    async def news(self, request: Request) -> Response:
        """What is hot, and that the kiosk is there: server-sent events."""
        phone = self._who(request, self._asks)
        return StreamingResponse(self._news(phone), media_type="text/event-stream")

    async def _news(self, phone: str) -> AsyncIterator[str]:
        kiosk = self._kiosk
        listener = kiosk.listen(phone)
        try:
            yield "retry: 500\n\n"
            while True:
                try:
                    await asyncio.wait_for(listener.news.wait(), BEAT_S)
                except TimeoutError:
                    if kiosk.lives:
                        yield "event: beat\ndata: {}\n\n"
                listener.news.clear()
                if listener.board is not None:
                    board, listener.board = listener.board, None
                    yield f"event: board\ndata: {json.dumps(board)}\n\n"
                if listener.over:
                    yield f"event: {listener.over}\ndata: {{}}\n\n"
                    return
        finally:
            kiosk.leave(listener)
            self._pictures.forget(set(kiosk.sessions))

    def _who(self, request: Request, rates: Rates) -> str:
        """The digest of a telephone's cookie.  Raises Away for nobody's, and for one that asks too often."""
        cookie = request.cookies.get(COOKIE, "")
        phone = digest(cookie) if cookie else ""
        if phone not in self._kiosk.sessions:
            raise Away(401)
        if not rates.may(phone, time.monotonic()):
            raise Away(429)
        return phone

    async def _body(self, request: Request, most_bytes: int) -> bytes:
        """Raises Away for one that is too large or too slow."""
        try:
            if int(request.headers.get("content-length", "0")) > most_bytes:
                raise Away(413)
        except ValueError:
            raise Away(400) from None
        data = bytearray()
        try:
            async with asyncio.timeout(SLOW_S):
                async for chunk in request.stream():
                    data += chunk
                    if len(data) > most_bytes:
                        raise Away(413)
        except TimeoutError:
            raise Away(408) from None
        return bytes(data)


def _key(request: Request) -> str:
    """What makes this request the same when it is sent again.  Raises Away."""
    key = request.headers.get("x-key", "")
    if not 8 <= len(key) <= 64 or not key.isascii() or not key.isprintable():
        raise Away(400)
    return key


def _kind(agent: str) -> str:
    """What a telephone is, in a word, from what its browser says of itself."""
    known = ("iPhone", "iPad", "Android", "Windows", "Macintosh", "Linux")
    return next((each for each in known if each in agent), "")


def _four(corners: Any) -> M.Corners:
    a, b, c, d = ((float(x), float(y)) for x, y in corners)
    return a, b, c, d


def _json(body: dict[str, Any], status: int = 200) -> Response:
    return Response(msgspec.json.encode(body), status, media_type="application/json")


def _answered(answer: M.Answer) -> Response:
    return _json(answer.body, answer.status)


def _away(_: Request, error: Exception) -> Response:
    assert isinstance(error, Away)
    return _json({"kind": "away"}, error.status)


def _no_picture(_: Request, error: Exception) -> Response:
    return _json({"kind": "no_picture"}, 422)


def _no_answer(_: Request, error: Exception) -> Response:
    return _json({"kind": "no_answer"}, 504)


def _busy(_: Request, error: Exception) -> Response:
    return _json({"kind": "busy"}, 503)


def _overtaken(_: Request, error: Exception) -> Response:
    return _json({"kind": "overtaken"}, 200)
