"""Before any page is reached: whose door this is, who may knock how often, and what a browser is told to keep to.

Every answer has the headers, errors too.  A request that acts comes from this very page or not at all: its origin is
ours, its kind is none a form can send, and the cookie is strict besides.
"""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Sequence
from typing import Any

HEADERS: tuple[tuple[bytes, bytes], ...] = (
    (
        b"content-security-policy",
        b"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; font-src 'self'; "
        b"media-src 'self' blob:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(self), microphone=(), geolocation=()"),
    (b"cache-control", b"no-store"),
)
MOST_HEADER_BYTES = 12_000
A_SECOND = 40.0  # requests from one address, over a while
AT_ONCE = 120.0
MOST_ADDRESSES = 512


class Rates:
    """How often each of some names may do something: `at_once`, and `a_second` over a while."""

    def __init__(self, a_second: float, at_once: float, most: int = MOST_ADDRESSES) -> None:
        self._a_second, self._at_once, self._most = a_second, at_once, most
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def may(self, name: str, now_s: float) -> bool:
        """Whether it may once more now; counts it if so."""
        left, since_s = self._left.pop(name, (self._at_once, now_s))
        left = min(self._at_once, left + (now_s - since_s) * self._a_second)
        self._left[name] = (left - 1.0 if left >= 1.0 else left, now_s)
        while len(self._left) > self._most:
            self._left.popitem(last=False)
        return left >= 1.0


class Guard:
    """An ASGI application around another one.  hosts: what this kiosk may be called in an address."""

    def __init__(self, app: Any, hosts: Sequence[str], port: int) -> None:
        self._app = app
        bare = {host.lower() for host in hosts} if port == 443 else set()
        self._hosts = {f"{host}:{port}".lower() for host in hosts} | bare
        self._rates = Rates(A_SECOND, AT_ONCE)

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] != "http":
            return

        async def with_headers(message: Any) -> None:
            if message["type"] == "http.response.start":
                named = {name.lower() for name, _ in message.get("headers", ())}
                added = [pair for pair in HEADERS if pair[0] not in named]
                message = message | {"headers": [*message.get("headers", ()), *added]}
            await send(message)

        address = scope["client"][0] if scope.get("client") else ""
        status = 0 if self._rates.may(address, time.monotonic()) else 429
        status = status or self._refuses(scope)
        if status:
            empty = [(b"content-length", b"0")]
            await with_headers({"type": "http.response.start", "status": status, "headers": empty})
            await with_headers({"type": "http.response.body", "body": b""})
            return
        await self._app(scope, receive, with_headers)

    def _refuses(self, scope: Any) -> int:
        """The status a request is turned away with; 0: it may go on."""
        headers: dict[bytes, bytes] = {}
        size = len(scope["raw_path"]) + len(scope["query_string"])
        for name, value in scope["headers"]:
            if name in headers and name in _ONCE:
                return 400
            headers[name] = value
            size += len(name) + len(value)
        if size > MOST_HEADER_BYTES:
            return 431
        host = headers.get(b"host", b"").decode("latin-1").lower()
        if host not in self._hosts:
            return 421  # a name of somebody else's that leads here
        if scope["method"] == "GET":
            return 0  # it acts on nothing
        if scope["method"] != "POST":
            return 405
        ours = headers.get(b"origin", b"").decode("latin-1").lower() == f"https://{host}"
        kind = headers.get(b"content-type", b"")
        site = headers.get(b"sec-fetch-site", b"same-origin")
        if not ours or site != b"same-origin" or kind not in (b"application/json", b"image/jpeg"):
            return 403
        return 0


_ONCE = frozenset((b"host", b"origin", b"cookie", b"content-length", b"content-type", b"x-key"))
