"""Serves telephones until its standard input ends; started by `kiosk.handheld.link` and by nobody else."""

from __future__ import annotations

import asyncio
import json
import os
import socket
import sys
from contextlib import suppress

from kiosk import filing
from kiosk.handheld import messages as M

NICE = 10  # less of the processor than the window, whose frames and scans come first


def main() -> None:
    pipe_out = filing.own_output()
    given = json.loads(sys.argv[1])
    if hasattr(os, "nice"):
        with suppress(OSError):
            os.nice(NICE)
    from kiosk.handheld.serving.door import Door, Loop

    door = Door(socket.AF_INET, socket.SOCK_STREAM)
    if os.name == "posix":  # elsewhere this would let two kiosks have one port
        door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        door.bind(("0.0.0.0", given["port"]))
        door.listen(64)  # who comes before the rest is loaded waits
    except OSError as error:
        M.put(pipe_out, M.CannotServe(error.strerror or str(error)))
        return
    from kiosk.handheld.serving.run import serve

    with asyncio.Runner(loop_factory=Loop) as runner:
        runner.run(serve(given, door, sys.stdin.buffer, pipe_out))


if __name__ == "__main__":
    main()
