"""What may arrive where a file, a number or a text is expected: nothing of it is meant kindly.

Whole files that are not what they should be, and good files with one value turned into something else.
"""

from __future__ import annotations

import copy
import csv
import io
import json
import os
import struct
import tomllib
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import tomlkit

TEXTS = (
    *("", " ", "x", "-1", "nan", "\n", "\t\x07\x1b[2J", "\0", "a\0b", "\udcff\udcfe", "‮ä漢🔧", "'; DROP TABLE line;--"),
    *("%s%n{0}{}", "../x/../y", "H" * 10, "9" * 5000, "x" * 100_000, "=1+1", "\ufeff", "\u2028", "[", "(?:"),
)
NUMBERS = (
    *("nan", "inf", "-inf", "-1", "0", "-0.0", "1e400", "1e-400", "99999999999999999999", "-99999999999999999999"),
    *("9" * 5000, "", "x", "0x10", "1_000", "١٢", "1,5", "1e3", "2147483648", "9223372036854775808", "0.0001"),
)
VALUES: tuple[Any, ...] = (
    *("", "x" * 3000, "\u0001", "ä\n漢", True, -1, 0, 2**62, -(2**62), 1e308, float("nan"), float("inf")),
    *([], {}, [[[]]], {"a": {"b": []}}, [1, "x", {}], "nan", "../x", "a\u0000b"),
)
CELLS = ("", "nan", "inf", "-1", "1e400", "9" * 5000, "x" * 50_000, "\0", "'=1", '"', "ä漢\u2028", "9" * 20)


def png(width: int, height: int) -> bytes:
    """A picture of one grey, small on disk whatever its size says."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    packer = zlib.compressobj(9)
    row = b"\0" + bytes(width)
    rows = b"".join(packer.compress(row) for _ in range(height)) + packer.flush()
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def png_of_nothing(width: int, height: int) -> bytes:
    """A header that promises a picture, and no rows."""
    return png(1, 1).replace(struct.pack(">II", 1, 1), struct.pack(">II", width, height), 1)


def whole_files(good: bytes) -> Iterator[tuple[str, bytes]]:
    """Contents that are wrong from end to end."""
    yield "empty", b""
    yield "line end", b"\n"
    yield "latin-1", good.decode("latin-1").encode("latin-1") + "\nMühle;Fräser\n".encode("latin-1")
    yield "utf-16", good.decode("latin-1").encode("utf-16")
    yield "utf-16 without a mark", good.decode("latin-1").encode("utf-16-le")
    yield "utf-16 cut", good.decode("latin-1").encode("utf-16")[:-1]
    yield "utf-32", good.decode("latin-1").encode("utf-32")
    yield "nul", good[: len(good) // 2] + b"\0\0" + good[len(good) // 2 :]
    yield "cut", good[: len(good) * 2 // 3]
    yield "cut short", good[:7]
    yield "twice", good + good
    yield "one sign", b"{"
    yield "deep toml", b"a = " + b"[" * 5000 + b"]" * 5000
    yield "deep inline tables", b"a = " + b"{a=" * 5000 + b"1" + b"}" * 5000
    yield "deep key", b".".join([b"a"] * 5000) + b" = 1"
    yield "deep table", b"[" + b".".join([b"a"] * 5000) + b"]"
    yield "deep json", b'{"case":' + b"[" * 100_000
    yield "long number", b'{"a": ' + b"9" * 5000 + b"}"
    yield "long toml number", b"a = " + b"9" * 5000
    yield "wide", b",".join(b"c%d" % at for at in range(20_000)) + b"\n1\n"
    yield "wide names", b";".join([b"code"] * 5000) + b"\n"
    yield "long line", b"x" * 3_000_000
    yield "open quote", b'code,name\n"' + b"x,\n" * 50_000
    yield "quotes", b'"' * 99_999
    yield "lines", b"\n" * 600_000
    yield "braces", b"[each]\n" + b"{" * 5000 + b"\n[end]\n"
    yield "factor", b"[each]\n{LF*" + b"9" * 5000 + b"}\n[end]\n"
    yield "noise", bytes((at * 7919 + at // 251) % 256 for at in range(5000))
    yield "png bomb", png_of_nothing(30_000, 30_000)
    yield "long png", png(20_000, 30)
    yield "png without rows", png_of_nothing(500, 500)
    yield "png header", png(5, 5)[:30]
    yield "dot", png(1, 1)
    yield "strip", png(2000, 3)


def awkward_paths(folder: Path, good: Path) -> Iterator[tuple[str, Path]]:
    """Paths that lead to no plain file."""
    folder.mkdir(exist_ok=True)
    ring = folder / f"ring{good.suffix}"
    if not ring.is_symlink():
        ring.symlink_to(ring)
    inside = folder / f"folder{good.suffix}"
    inside.mkdir(exist_ok=True)
    yield "missing", folder / f"missing{good.suffix}"
    yield "missing folder", folder / "no" / "such" / good.name
    yield "folder", inside
    yield "ring", ring
    yield "file as folder", Path(__file__) / good.name
    yield "long name", folder / ("x" * 300 + good.suffix)
    yield "nul", folder / f"a\0b{good.suffix}"
    yield "no utf-8", folder / f"\udcff\udcfe{good.suffix}"
    yield "zeros", Path("/dev/zero")
    yield "nothing", Path("/dev/null")
    yield "current", Path(".")
    yield "blank", Path("")
    if os.geteuid():
        shut = folder / f"shut{good.suffix}"
        shut.write_bytes(good.read_bytes() if good.is_file() else b"")
        shut.chmod(0)
        yield "unreadable", shut


def turned(good: bytes, suffix: str) -> Iterator[tuple[str, bytes]]:
    """A good file with one value made into something else, one at a time."""
    if suffix == ".toml":
        data = tomllib.loads(good.decode())
        written: dict[tuple[str, str], str] = {}
        for where, changed in _trees(data):
            yield where, _toml(changed, written).encode()
    elif suffix == ".json":
        for where, changed in _trees(json.loads(good)):
            yield where, json.dumps(changed).encode()
    elif suffix == ".csv":
        yield from _tables(good.decode())


def _toml(values: dict[str, Any], written: dict[tuple[str, str], str]) -> str:
    """A file, of parts that are each written once: thousands of files differ in one of them."""
    parts = []
    for name, value in values.items():
        key = name, repr(value)
        if key not in written:
            written[key] = tomlkit.dumps({name: value})
        parts.append(written[key])
    return "".join(sorted(parts, key=lambda part: part.startswith("[")))  # what follows a table would belong to it


def _trees(data: Any) -> Iterator[tuple[str, Any]]:
    for way in _ways(data):
        for value in VALUES:
            changed = copy.deepcopy(data)
            at = changed
            for step in way[:-1]:
                at = at[step]
            at[way[-1]] = value
            yield f"{'.'.join(map(str, way))} = {value!r:.20}", changed


def _ways(data: Any, before: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The ways to every value; of a list only to its first."""
    steps = list(data.items()) if isinstance(data, dict) else list(enumerate(data))[:1]
    for step, inner in steps:
        yield (*before, step)
        if isinstance(inner, dict | list):
            yield from _ways(inner, (*before, step))


def _tables(text: str) -> Iterator[tuple[str, bytes]]:
    if not text.strip():
        return
    delimiter = ";" if ";" in text.splitlines()[0] else ","
    rows = list(csv.reader(io.StringIO(text), delimiter=delimiter))[:3]
    if len(rows) < 2:
        return  # a header without a row has no value to turn
    for column, name in enumerate(rows[0]):
        for cell in CELLS:
            changed = [list(row) for row in rows]
            changed[1][column] = cell
            out = io.StringIO()
            csv.writer(out, delimiter=delimiter).writerows(changed)
            yield f"{name} = {cell[:20]!r}", out.getvalue().encode("utf-8", "surrogatepass")
