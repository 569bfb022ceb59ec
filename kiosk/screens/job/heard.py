"""What is heard on a cable, as a screen has room for it: a port, its speed, a line as it came."""

from __future__ import annotations

import re

from kiosk.screens.questions import cable as asks

WIDE, UNCUT = 40, 20  # signs of a line, and of what has no blank in it


def short(port: str) -> str:
    """A port as a row has room for it: what is plugged in, as it says itself."""
    return re.sub(r"^usb-|-if00(-port0)?$", "", port.rsplit("/", 1)[-1]).replace("_", " ")


def speed(line: asks.SerialLine) -> str:
    return f"{line.baud} Bd {line.bits}{line.parity[0].upper()}{line.stop_bits}"


def plain(text: str) -> str:
    """A line as a screen can show it: what parts fields is followed by a blank, so that it may go on below."""
    said = "".join(sign if sign.isprintable() and sign != "\ufffd" else "?" for sign in text.replace("\t", " → "))
    said = re.sub(r"([;|]|,(?=\D))(?=\S)", r"\1 ", said)
    said = re.sub(rf"(\S{{{UNCUT}}})(?=\S)", r"\1 ", said)
    return said if len(said) <= WIDE else f"{said[: WIDE - 1].rstrip()}…"
