"""Tries faults: each in a child of the process that collected the tests."""

from __future__ import annotations

import gc
import json
import os
import shutil
import signal
import sys
import tempfile
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from importlib.machinery import SourceFileLoader
from pathlib import Path
from types import CodeType, FunctionType

import hypothesis
import pytest

from tests.mutants.small import ROOT, Mutant, importers_of, modules_of
from tests.mutants.touched import Touched, fails, hash_of, look_at

TESTS = ("tests/rules", "tests/desk", "tests/ledger", "tests/faults", "tests/exchange")
# These start programs of their own, which no fault of this process reaches, or take minutes.
LEFT_OUT = (
    "test_attacks.py", "test_kill.py", "test_one_writer.py", "test_restore_cut_short.py", "test_shopfloor.py",
    "test_steel.py", "test_written_whole.py",
)  # fmt: skip


def _codes(code: CodeType) -> Iterator[CodeType]:
    """The functions of a module and its classes, without those inside functions."""
    for each in code.co_consts:
        if isinstance(each, CodeType):
            if each.co_flags & 0x2:  # CO_NEWLOCALS: a function; a class has none
                yield each
            else:
                yield from _codes(each)


def _key(code: CodeType) -> tuple[str, str, int]:
    return code.co_filename, code.co_qualname, code.co_firstlineno


class Faults:
    """The plugin: collects with pytest, then tries the faults instead of running the tests."""

    def __init__(self, faults: Sequence[Mutant], budget_s: float, scratch: Path, kept: Path | None) -> None:
        self._faults = faults
        self._budget_s = budget_s
        self._scratch = scratch
        self._kept = kept
        self.survivors: list[Mutant] = []
        self.tried: dict[str, int] = defaultdict(int)

    @pytest.hookimpl(tryfirst=True)
    def pytest_collection(self) -> None:
        _no_shrinking()

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        self._keep()
        items = {item.nodeid: item for item in session.items}
        touched = self._touched(session, items)
        functions: dict[tuple[str, str, int], list[FunctionType]] = defaultdict(list)
        for each in gc.get_objects():
            if type(each) is FunctionType:
                functions[_key(each.__code__)].append(each)
        for mutant in self._faults:
            tests, inside = self._guards(mutant, touched)
            source = mutant.applied((ROOT / mutant.module).read_bytes())
            noticed = tests and self._child(lambda m=mutant, s=source, t=tests, i=inside: (
                fails([items[test] for test in t]) if i and _swap(m.module, s, functions) else
                _anew(m.module, s, t)
            ))  # fmt: skip
            self.tried[mutant.module] += 1
            if not noticed:
                self.survivors.append(mutant)
                self._keep()
                where = f"{mutant.module}:{mutant.lines[0].start}"
                print(f"\n{where}  {mutant.what}  ({len(tests)} tests)\n{mutant.difference()}", flush=True)
        return True

    def _keep(self) -> None:
        if self._kept is not None:
            told = [each.name for each in self.survivors]
            self._kept.write_text(json.dumps(told, indent=1))

    def _touched(self, session: pytest.Session, items: dict[str, pytest.Item]) -> dict[str, Touched]:
        """From the cache where neither the test's file nor a module it touches has changed, else by running it."""
        every = modules_of(())
        hashes = {module: hash_of(module) for module in every}
        cache, found = session.config.cache, {}
        assert cache is not None
        for file in dict.fromkeys(nodeid.split("::")[0] for nodeid in items):
            key, own = f"mutants/{file}", hash_of(file)
            kept = cache.get(key, None)
            if kept is None or kept["own"] != own or any(hashes.get(m) != h for m, h in kept["modules"].items()):
                goal = self._scratch / "touched.json"
                of_file = [item for nodeid, item in items.items() if nodeid.split("::")[0] == file]
                print(f"{file}: {len(of_file)} tests are looked at", flush=True)

                def look(of_file: list[pytest.Item] = of_file, goal: Path = goal) -> bool:
                    tests = {name: [each.seconds, each.lines] for name, each in look_at(of_file, every).items()}
                    goal.write_text(json.dumps(tests))
                    return False

                if self._child(look, 1200):
                    raise SystemExit(f"{file}: could not be looked at")
                tests = json.loads(goal.read_text())
                used = sorted({module for _, lines in tests.values() for module in lines})
                kept = {"own": own, "modules": {module: hashes[module] for module in used}, "tests": tests}
                cache.set(key, kept)
            found.update({name: Touched(*each) for name, each in kept["tests"].items() if name in items})
        return found

    def _guards(self, mutant: Mutant, touched: dict[str, Touched]) -> tuple[list[str], bool]:
        """Tests that touch its line, the quickest first, within the budget, and whether it is in a function they call.

        What is called by none, a table or what makes one as it is imported: tests that touch its module or one that
        imports it, for a table leaves no trace in whoever reads it.
        """
        names: list[str] = []
        if mutant.inside:
            for lines in mutant.lines:
                wanted = set(lines)
                names = names or [n for n, each in touched.items() if wanted & set(each.lines.get(mutant.module, ()))]
        inside = bool(names)
        if not inside:
            near = {mutant.module, *importers_of(mutant.module)}
            names = [name for name, each in touched.items() if near & each.lines.keys()]
        chosen, left_s = [], self._budget_s
        for name in sorted(names, key=lambda name: touched[name].seconds):
            left_s -= touched[name].seconds
            if left_s < 0 and chosen:
                break
            chosen.append(name)
        return chosen, inside

    def _child(self, work: Callable[[], bool], limit_s: float = 0.0) -> bool:
        """Whether the work, done in a child, said yes, broke or did not end."""
        pid = os.fork()
        if pid == 0:
            code = 1
            try:
                signal.signal(signal.SIGALRM, signal.SIG_DFL)
                signal.alarm(int(limit_s or 20 + 6 * self._budget_s))
                if not limit_s:
                    os.dup2(os.open(os.devnull, os.O_RDWR), 1)
                    os.dup2(1, 2)
                code = int(work())
            finally:
                os._exit(code)
        _, status = os.waitpid(pid, 0)
        for left in self._scratch.glob("base/*"):
            shutil.rmtree(left, ignore_errors=True)
        return status != 0


def _no_shrinking() -> None:
    """A failing example is enough; the smallest one would take its time."""
    kiosk = hypothesis.settings.get_profile("kiosk")
    phases = (hypothesis.Phase.explicit, hypothesis.Phase.generate)
    hypothesis.settings.register_profile("mutants", kiosk, phases=phases)
    hypothesis.settings.load_profile("mutants")


def _swap(module: str, source: bytes, functions: dict[tuple[str, str, int], list[FunctionType]]) -> bool:
    """Gives every function of the module its new code; False where a function cannot take it."""
    for code in _codes(compile(source, str(ROOT / module), "exec")):
        for function in functions.get(_key(code), ()):
            try:
                function.__code__ = code
            except ValueError:  # another number of free names
                return False
    return True


class _Only:
    """Of the files collected, only these tests."""

    def __init__(self, tests: Sequence[str]) -> None:
        self._tests = set(tests)

    @pytest.hookimpl(tryfirst=True)
    def pytest_collection(self) -> None:
        _no_shrinking()

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = [item for item in items if item.nodeid in self._tests]


def _anew(module: str, source: bytes, tests: Sequence[str]) -> bool:
    """Whether the tests notice, when all of the house is imported anew with the fault in it."""
    for name, each in list(sys.modules.items()):
        file = getattr(each, "__file__", None) or ""
        if file.startswith((f"{ROOT}/kiosk/", f"{ROOT}/tests/")):
            del sys.modules[name]
    as_it_is = SourceFileLoader.get_code

    def get_code(self: SourceFileLoader, name: str) -> CodeType | None:
        path = self.get_filename(name)
        return compile(source, path, "exec") if path == str(ROOT / module) else as_it_is(self, name)

    SourceFileLoader.get_code = get_code  # type: ignore[method-assign]
    base = Path(tempfile.gettempdir()) / "anew"
    files = list(dict.fromkeys(test.split("::")[0] for test in tests))
    return run_pytest(files, _Only(tests), base) != 0


def run_pytest(files: Sequence[str], plugin: object, base: Path) -> int:
    options = ["-qq", "-x", "-s", "--no-summary", "-p", "no:xdist", "-p", "no:timeout", "--basetemp", str(base)]
    left_out = [word for name in LEFT_OUT for word in ("--ignore-glob", f"*/{name}")]
    return int(pytest.main([*options, "-o", "tmp_path_retention_policy=failed", *left_out, *files], [plugin]))
