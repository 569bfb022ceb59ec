"""How blind the tests are: small faults are put into a copy of the code one at a time, and the tests must notice.

    python -m tests.mutants                                  every module a release depends on (hours)
    python -m tests.mutants hold checkin --sample 40 --seed 1

Works in copies of the tree in the temporary folder and never touches the tree it was started in, so that killing it
harms nothing.  What survives is printed with file, line and difference; every survivor is to be looked at: does it
make a hold shorter, a door wider or a check blinder?
"""

from __future__ import annotations

import argparse
import ast
import copy
import difflib
import os
import queue
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
LEAST_TIMEOUT_S = 30.0

# Which tests stand guard over which modules.  Globs are relative to `kiosk/` and `tests/`, so that a file may move
# into a room of its own; tests are run in this order and stop at the first that notices.
_HEAT_TESTS = ("rules/**/test_hold*.py", "desk/test_heat*.py", "desk/test_checkin.py")
_BOOK_TESTS = ("ledger/test_derive*.py", "ledger/test_book.py", "desk/test_checkin.py", "desk/test_records.py")
GUARDS: tuple[tuple[tuple[str, ...], tuple[str, ...]], ...] = (
    (("rules/**/hold.py", "rules/**/hold_*.py"), (*_HEAT_TESTS, "rules/**/test_cooling_hold*.py")),
    (("rules/**/belief.py",), ("rules/**/test_belief*.py", *_HEAT_TESTS)),
    (("rules/cooling/*.py",), ("rules/**/test_cooling*.py", "rules/cooling/*.py", *_HEAT_TESTS)),
    (("rules/checkin.py",), ("rules/**/test_checkin*.py", "desk/test_checkin*.py", "desk/test_audits.py",
                             "desk/test_people.py", "desk/test_heat*.py")),
    (("rules/places.py",), ("rules/**/test_places.py", "desk/test_checkin.py")),
    (("rules/**/magazine*.py",), ("rules/**/test_magazine*.py", "desk/test_checkin.py")),
    (("ledger/clock.py",), ("ledger/test_clock*.py",)),
    (("ledger/derive*.py",), (*_BOOK_TESTS, "desk/test_audits.py", "faults/test_restore*.py", "desk/test_heat*.py")),
    (("ledger/view*.py",), ("ledger/test_view*.py", "desk/test_heat*.py", *_BOOK_TESTS, "desk/test_audits.py",
                            "desk/test_intake*.py")),
    (("ledger/backup*.py",), ("faults/test_restore*.py", "ledger/test_backup*.py", "desk/test_copies*.py")),
    (("desk/heat*.py", "desk/holds.py"), ("desk/test_heat*.py", "desk/test_checkin.py", "desk/test_records.py")),
    (("desk/copies.py",), ("desk/test_copies*.py", "faults/test_restore*.py", "cli/test_commands.py")),
)  # fmt: skip

_NEGATED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE, ast.GtE: ast.Lt, ast.Gt: ast.LtE, ast.LtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
_EDGE: dict[type[ast.cmpop], type[ast.cmpop]] = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt}
_SIGN: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.BitOr: ast.BitAnd,
}  # fmt: skip
_TWIN = {"min": "max", "max": "min", "any": "all", "all": "any"}


@dataclass(frozen=True, slots=True)
class Mutant:
    """One small fault: the bytes from `start` to `end` of the module become `text`."""

    module: Path  # relative to the root
    line: int
    what: str
    start: int
    end: int
    text: str

    def applied(self, source: bytes) -> bytes:
        return source[: self.start] + self.text.encode() + source[self.end :]


class _Finder(ast.NodeVisitor):
    """Every small fault of one module, in the order of its lines."""

    def __init__(self, module: Path, source: bytes) -> None:
        self._module = module
        self._starts = [0]
        for line in source.splitlines(keepends=True):
            self._starts.append(self._starts[-1] + len(line))
        self.found: list[Mutant] = []

    def _add(self, node: ast.expr | ast.stmt, what: str, text: str) -> None:
        assert node.end_lineno is not None and node.end_col_offset is not None
        start = self._starts[node.lineno - 1] + node.col_offset
        end = self._starts[node.end_lineno - 1] + node.end_col_offset
        self.found.append(Mutant(self._module, node.lineno, what, start, end, text))

    def _becomes(self, node: ast.expr, what: str, other: ast.expr) -> None:
        self._add(node, what, f"({ast.unparse(other)})")

    # what is not behaviour ----------------------------------------------------------------------------------

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        for default in (*node.args.defaults, *(each for each in node.args.kw_defaults if each)):
            self.visit(default)
        for statement in node.body:
            self.visit(statement)

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        for statement in node.body:
            self.visit(statement)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            self.visit(node.value)

    def visit_Assert(self, node: ast.Assert) -> None:
        return

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        return

    # faults -------------------------------------------------------------------------------------------------

    def visit_Compare(self, node: ast.Compare) -> None:
        for at, op in enumerate(node.ops):
            for what, table in (("comparison turned", _NEGATED), ("edge moved", _EDGE)):
                if type(op) in table:
                    other = copy.deepcopy(node)
                    other.ops[at] = table[type(op)]()
                    self._becomes(node, what, other)
        self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        if type(node.op) in _SIGN:
            other = copy.deepcopy(node)
            other.op = _SIGN[type(node.op)]()
            self._becomes(node, "sign turned", other)
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        if isinstance(node.op, ast.USub | ast.Not):
            self._becomes(node, "sign dropped" if isinstance(node.op, ast.USub) else "not dropped", node.operand)
        self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> None:
        value = node.value
        if isinstance(value, bool):
            self._add(node, "constant turned", str(not value))
        elif isinstance(value, int):
            self._add(node, "one more", str(value + 1))
            self._add(node, "one less", f"({value - 1})")
        elif isinstance(value, float):
            self._add(node, "constant larger", repr(value * 2 if value else 1.0))
            self._add(node, "constant smaller", repr(value / 2 if value else -1.0))

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        other = copy.deepcopy(node)
        other.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        self._becomes(node, "and/or", other)
        for at in range(len(node.values)):
            rest = copy.deepcopy(node.values[:at] + node.values[at + 1 :])
            left = rest[0] if len(rest) == 1 else ast.BoolOp(copy.deepcopy(node.op), rest)
            self._becomes(node, "condition dropped", left)
        self.generic_visit(node)

    def _condition(self, test: ast.expr) -> None:
        if not isinstance(test, ast.Compare | ast.UnaryOp):  # those are turned already
            self._becomes(test, "condition negated", ast.UnaryOp(ast.Not(), copy.deepcopy(test)))

    def visit_If(self, node: ast.If) -> None:
        self._condition(node.test)
        self.generic_visit(node)

    def visit_While(self, node: ast.While) -> None:
        self._condition(node.test)
        self.generic_visit(node)

    def visit_IfExp(self, node: ast.IfExp) -> None:
        self._condition(node.test)
        self.generic_visit(node)

    def visit_comprehension(self, node: ast.comprehension) -> None:
        for test in node.ifs:
            self._condition(test)
        self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> None:
        if isinstance(node.func, ast.Name) and node.func.id in _TWIN:
            other = copy.deepcopy(node)
            other.func = ast.Name(_TWIN[node.func.id])
            self._becomes(node, "min/max", other)
        self.generic_visit(node)

    def visit_Return(self, node: ast.Return) -> None:
        if node.value is not None and not (isinstance(node.value, ast.Constant) and node.value.value is None):
            self._add(node, "returns nothing", "return None")
        self.generic_visit(node)

    def visit_Raise(self, node: ast.Raise) -> None:
        self._add(node, "refusal dropped", "pass")

    def visit_Expr(self, node: ast.Expr) -> None:
        if isinstance(node.value, ast.Call):
            self._add(node, "call dropped", "pass")
        elif isinstance(node.value, ast.Yield | ast.YieldFrom):
            self._add(node, "line dropped", "pass")
        self.generic_visit(node)


def mutants_of(module: Path) -> list[Mutant]:
    """Every small fault of a module (its path relative to the root), in the order of its lines."""
    source = (ROOT / module).read_bytes()
    finder = _Finder(module, source)
    finder.visit(ast.parse(source))
    return sorted(finder.found, key=lambda each: (each.start, each.end, each.what))


def guarded(words: Sequence[str]) -> Iterator[tuple[Path, tuple[Path, ...]]]:
    """Modules of the table whose path has one of the words in it (none: all), with the tests that guard each."""
    taken: set[Path] = set()
    for modules, tests in GUARDS:
        guards = tuple(dict.fromkeys(path for glob in tests for path in sorted((ROOT / "tests").glob(glob))))
        guards = tuple(path.relative_to(ROOT) for path in guards if path.name.startswith("test_"))
        for path in sorted(path for glob in modules for path in (ROOT / "kiosk").glob(glob)):
            module = path.relative_to(ROOT)
            if module not in taken and (not words or any(word in str(module) for word in words)):
                taken.add(module)
                yield module, guards


class Copy:
    """A copy of the tree in which one fault at a time is tried."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        told = subprocess.run(
            ["git", "ls-files", "-co", "--exclude-standard"], cwd=ROOT, capture_output=True, check=True
        )
        for name in told.stdout.decode().splitlines():
            if name.startswith(("kiosk/", "tests/", "assets/", "demo_tags/", "pyproject")) and (ROOT / name).is_file():
                goal = folder / name
                goal.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(ROOT / name, goal)
        self._tries = 0

    def notices(self, tests: Sequence[Path], timeout_s: float, mutant: Mutant | None = None) -> tuple[bool, str]:
        """Whether the tests fail (or never end), and what they said last."""
        kept = None
        if mutant is not None:
            path = self.folder / mutant.module
            kept = path.read_bytes()
            self._write(path, mutant.applied(kept))
        command = [sys.executable, "-m", "pytest", "-n", "0", "-x", "-q", "-p", "no:cacheprovider", *map(str, tests)]
        try:
            ran = subprocess.run(
                command, cwd=self.folder, capture_output=True, text=True, timeout=timeout_s, check=False
            )
            return ran.returncode != 0, "\n".join((ran.stdout + ran.stderr).splitlines()[-3:])
        except subprocess.TimeoutExpired:
            return True, "did not end"
        finally:
            if mutant is not None and kept is not None:
                self._write(path, kept)

    def _write(self, path: Path, data: bytes) -> None:
        path.write_bytes(data)
        self._tries += 1  # compiled files are told apart by the second a source was written in
        os.utime(path, (1_000_000_000 + self._tries, 1_000_000_000 + self._tries))


def difference(mutant: Mutant) -> str:
    source = (ROOT / mutant.module).read_bytes()
    before, after = source.decode().splitlines(), mutant.applied(source).decode().splitlines()
    return "\n".join(
        line for line in difflib.unified_diff(before, after, lineterm="", n=0) if line[:2] not in ("--", "++")
    )


def main(argv: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("modules", nargs="*", help="words in a module's path, e.g. hold or ledger/view (default: all)")
    parser.add_argument("--sample", type=int, metavar="N", help="only N faults, drawn")
    parser.add_argument("--seed", type=int, default=1, help="of the draw (1)")
    parser.add_argument("--processes", type=int, default=1, choices=(1, 2))
    parser.add_argument("--list", action="store_true", help="only list modules, tests and the number of faults")
    given = parser.parse_args(argv)
    table = dict(guarded(given.modules))
    if not table:
        parser.error("no module of the table has such a name")
    faults = [mutant for module in table for mutant in mutants_of(module)]
    if given.list:
        for module, tests in table.items():
            print(f"{len(mutants_of(module)):5} {module}  {' '.join(map(str, tests))}")
        return 0
    if given.sample and given.sample < len(faults):
        faults = sorted(
            random.Random(given.seed).sample(faults, given.sample), key=lambda each: (each.module, each.start)
        )
    with tempfile.TemporaryDirectory(prefix="mutants-") as scratch:
        copies: queue.Queue[Copy] = queue.Queue()
        for number in range(given.processes):
            copies.put(Copy(Path(scratch) / str(number)))
        limits: dict[Path, float] = {}
        first = copies.get()
        for module in dict.fromkeys(mutant.module for mutant in faults):
            since = time.monotonic()
            failed, said = first.notices(table[module], 1200.0)
            if failed:
                print(f"the tests of {module} fail as it is:\n{said}", file=sys.stderr)
                return 2
            limits[module] = max(LEAST_TIMEOUT_S, 3 * given.processes * (time.monotonic() - since))
        copies.put(first)

        def tried(mutant: Mutant) -> tuple[Mutant, bool]:
            here = copies.get()
            try:
                return mutant, here.notices(table[mutant.module], limits[mutant.module], mutant)[0]
            finally:
                copies.put(here)

        survivors: list[Mutant] = []
        counts: dict[Path, list[int]] = {}
        with ThreadPoolExecutor(given.processes) as pool:
            for done in as_completed([pool.submit(tried, mutant) for mutant in faults]):
                mutant, noticed = done.result()
                count = counts.setdefault(mutant.module, [0, 0])
                count[0] += 1
                if not noticed:
                    count[1] += 1
                    survivors.append(mutant)
                    print(f"\n{mutant.module}:{mutant.line}  {mutant.what}\n{difference(mutant)}", flush=True)
    print()
    for module, (tries, lived) in sorted(counts.items()):
        print(f"{module}: {lived} of {tries} survived ({100 * lived / tries:.0f} %)")
    print(f"all: {len(survivors)} of {len(faults)} survived ({100 * len(survivors) / max(len(faults), 1):.1f} %)")
    return 1 if survivors else 0


if __name__ == "__main__":
    sys.exit(main())
