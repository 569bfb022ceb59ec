"""Which tests touch which lines of the modules, and how long each takes."""

from __future__ import annotations

import hashlib
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from types import CodeType, FrameType

import pytest
from _pytest.runner import runtestprotocol

from tests.mutants.small import ROOT

CALLS_TRACED = 300  # of one function in one test; later ones seldom touch another line
ALL_CALLS_TRACED = 200_000  # of anything in one test; what goes on for longer only becomes slow


@dataclass(slots=True)
class Touched:
    """What one test does in the modules: seconds it takes while it is looked at, and the lines it touches by module."""

    seconds: float
    lines: dict[str, list[int]]


class _Trace:
    """Notes lines of the modules while a test runs."""

    def __init__(self, modules: Sequence[str]) -> None:
        self._names = {str(ROOT / module): module for module in modules}
        self.lines: dict[str, set[int]] = defaultdict(set)
        self._all_calls = 0
        self._calls: dict[CodeType, int] = defaultdict(int)

    def __call__(self, frame: FrameType, event: str, arg: object) -> Callable[..., object] | None:
        self._all_calls += 1
        if self._all_calls > ALL_CALLS_TRACED:
            sys.settrace(None)
        module = self._names.get(frame.f_code.co_filename)
        if module is None:
            return None
        self._calls[frame.f_code] += 1
        if self._calls[frame.f_code] > CALLS_TRACED:
            return None
        lines = self.lines[module]

        def line(frame: FrameType, event: str, arg: object) -> Callable[..., object]:
            lines.add(frame.f_lineno)
            return line

        return line


def hash_of(name: str) -> str:
    return hashlib.sha256((ROOT / name).read_bytes()).hexdigest()


def look_at(items: Sequence[pytest.Item], modules: Sequence[str]) -> dict[str, Touched]:
    """Runs the tests and notes what they touch; a test that fails as it is guards nothing and is named."""
    found = {}
    for item in items:
        trace = _Trace(modules)
        since = time.process_time()
        sys.settrace(trace)
        failed = fails([item])
        sys.settrace(None)
        if failed:
            print(f"fails as it is: {item.nodeid}", file=sys.stderr, flush=True)
            continue
        if trace.lines:
            lines = {module: sorted(lines) for module, lines in trace.lines.items()}
            found[item.nodeid] = Touched(time.process_time() - since, lines)
    return found


def fails(items: Sequence[pytest.Item]) -> bool:
    for item, after in zip(items, (*items[1:], None), strict=True):
        if any(report.failed for report in runtestprotocol(item, log=False, nextitem=after)):
            return True
    return False
