"""Puts the server together: the pipe, the pictures' readers and the pages, behind TLS on a socket that is bound."""

from __future__ import annotations

import asyncio
import os
import socket
import threading
from pathlib import Path
from typing import Any, BinaryIO

import uvicorn

from kiosk.handheld import messages as M
from kiosk.handheld.serving.app import pages
from kiosk.handheld.serving.door import MOST_CONNECTIONS, Connection
from kiosk.handheld.serving.guard import Guard
from kiosk.handheld.serving.pictures import Pictures
from kiosk.handheld.serving.pipe import Kiosk

GONE_S = 1.5  # pages have so long to hear that the kiosk closes


async def serve(given: dict[str, Any], door: socket.socket, pipe_in: BinaryIO, pipe_out: BinaryIO) -> None:
    """Serves until the kiosk says that it closes, or is gone."""
    loop = asyncio.get_running_loop()
    kiosk = Kiosk(pipe_out)
    pictures = Pictures()
    port = int(door.getsockname()[1])
    app = Guard(pages(kiosk, pictures, Path(given["assets"]), given["fingerprint"]), given["hosts"], port)
    server = uvicorn.Server(
        uvicorn.Config(
            app,
            ssl_certfile=given["certificate"],
            ssl_keyfile=given["key"],
            http=Connection,
            ws="none",
            lifespan="off",
            log_level="error",
            access_log=False,
            server_header=False,
            proxy_headers=False,
            limit_concurrency=MOST_CONNECTIONS,
            timeout_keep_alive=20,
            timeout_graceful_shutdown=1,
            h11_max_incomplete_event_size=16_384,
            backlog=64,
        )
    )

    def hear() -> None:
        while (data := M.take(pipe_in)) is not None:
            message = M.to_server.decode(data)
            loop.call_soon_threadsafe(kiosk.hear, message)
            if isinstance(message, M.Closing):
                break
        loop.call_soon_threadsafe(kiosk.closed.set)

    threading.Thread(target=hear, name="pipe", daemon=True).start()
    serving = asyncio.create_task(server.serve(sockets=[door]))
    kiosk.say(M.Serving(port))
    await kiosk.closed.wait()
    await asyncio.sleep(GONE_S / 3)
    server.should_exit = True
    await asyncio.wait([serving], timeout=GONE_S)
    os._exit(0)  # a picture that is still being read holds nobody up
