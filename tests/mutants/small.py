"""Every small fault of a module: a sign turned, a condition dropped, a refusal left out.

What is not behaviour (docstrings, texts, assertions, how a class is laid out in memory) gets none.
"""

from __future__ import annotations

import ast
import copy
import difflib
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
MODULES = (
    "rules/hold.py", "rules/hold_*.py", "ledger/derive_heat.py", "rules/decision.py", "rules/checkin.py",
    "rules/belief.py", "rules/cooling/*.py", "rules/grounds.py", "rules/places.py", "ledger/view.py",
    "ledger/clock.py", "ledger/restore.py", "ledger/derive.py", "ledger/copying.py", "ledger/anchor.py",
    "desk/heat.py", "desk/holds.py", "desk/copies.py", "rules/audit_*.py", "ledger/backup.py",
    "rules/fitting/magazine*.py", "rules/fitting/pockets.py", "rules/lessons.py", "rules/acts.py",
    "rules/bounds*.py", "rules/tries.py", "rules/nesting.py", "rules/ages.py", "rules/apart.py", "rules/hearing.py",
    "rules/merge.py", "rules/link_state.py", "rules/chain.py", "ledger/fold*.py", "ledger/sharing.py",
    "ledger/shared_*.py", "ledger/verify_shared.py", "link/*.py", "desk/together.py", "desk/kiosks.py",
    "desk/joining.py", "desk/differences.py", "desk/settling.py", "desk/shop_rules.py", "desk/beats.py",
    "ledger/laid_aside.py",
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
_NO_BEHAVIOUR = {"strict", "kw_only", "slots", "frozen", "repr", "maxsize"}  # keywords that change no answer


@dataclass(frozen=True, slots=True)
class Mutant:
    """One small fault: the bytes from `start` to `end` of the module become `text`.

    lines: of the fault, then of its statement.  inside: it is in a function's body, so new code for it is enough.
    """

    module: str  # relative to the root
    lines: tuple[range, range]
    what: str
    start: int
    end: int
    text: str
    inside: bool

    def applied(self, source: bytes) -> bytes:
        """The module with the fault, its lines numbered as before."""
        gone = "\n" * source[self.start : self.end].count(b"\n")
        text = f"{self.text[:-1]}{gone})" if self.text.endswith(")") else self.text + gone
        return source[: self.start] + text.encode() + source[self.end :]

    @property
    def name(self) -> tuple[str, str, str]:
        """What finds it again in another version of its module."""
        return self.module, self.what, self.difference()

    def difference(self) -> str:
        source = (ROOT / self.module).read_bytes()
        before, after = source.decode().splitlines(), self.applied(source).decode().splitlines()
        told = difflib.unified_diff(before, after, lineterm="", n=0)
        return "\n".join(line for line in told if line[:2] not in ("--", "++", "@@") and line != "+")


class _Finder(ast.NodeVisitor):
    """Every small fault of one module."""

    def __init__(self, module: str, source: bytes) -> None:
        self._module = module
        self._starts = [0]
        for line in source.splitlines(keepends=True):
            self._starts.append(self._starts[-1] + len(line))
        self._statement = range(0)
        self._inside = False
        self.found: list[Mutant] = []

    def _add(self, node: ast.expr | ast.stmt | ast.pattern, what: str, text: str) -> None:
        assert node.end_lineno is not None and node.end_col_offset is not None
        start = self._starts[node.lineno - 1] + node.col_offset
        end = self._starts[node.end_lineno - 1] + node.end_col_offset
        lines = (range(node.lineno, node.end_lineno + 1), self._statement)
        self.found.append(Mutant(self._module, lines, what, start, end, text, self._inside))

    def _becomes(self, node: ast.expr | ast.pattern, what: str, other: ast.expr | ast.pattern) -> None:
        self._add(node, what, f"({ast.unparse(other)})")

    def visit(self, node: ast.AST) -> None:
        if isinstance(node, ast.stmt):
            body = getattr(node, "body", None)
            last = max(node.lineno, body[0].lineno - 1) if body else node.end_lineno or node.lineno
            self._statement = range(node.lineno, last + 1)
        super().visit(node)

    # what is not behaviour ----------------------------------------------------------------------------------

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        for default in (*node.args.defaults, *(each for each in node.args.kw_defaults if each)):
            self.visit(default)
        outer, self._inside = self._inside, True
        for statement in node.body:
            self.visit(statement)
        self._inside = outer

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

    def visit_keyword(self, node: ast.keyword) -> None:
        if node.arg not in _NO_BEHAVIOUR:
            self.visit(node.value)

    # faults -------------------------------------------------------------------------------------------------

    def visit_Compare(self, node: ast.Compare) -> None:
        if isinstance(node.comparators[-1], ast.Tuple) and isinstance(node.ops[-1], ast.In | ast.NotIn):
            self._entries(node.comparators[-1])
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
        if not (isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"):
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

    def visit_match_case(self, node: ast.match_case) -> None:
        if node.guard is not None:
            self._condition(node.guard)
        self.generic_visit(node)

    def visit_MatchOr(self, node: ast.MatchOr) -> None:
        for at in range(len(node.patterns)):
            rest = [*node.patterns[:at], *node.patterns[at + 1 :]]
            self._becomes(node, "case dropped", rest[0] if len(rest) == 1 else ast.MatchOr(rest))
        self.generic_visit(node)

    def _entries(self, node: ast.Set | ast.Tuple) -> None:
        for at in range(len(node.elts) if len(node.elts) > 1 else 0):
            other = copy.copy(node)
            other.elts = [*node.elts[:at], *node.elts[at + 1 :]]
            self._becomes(node, "entry dropped", other)

    def visit_Set(self, node: ast.Set) -> None:
        self._entries(node)
        self.generic_visit(node)

    def visit_Subscript(self, node: ast.Subscript) -> None:
        self.visit(node.value)
        if self._inside:  # outside it is a type
            self.visit(node.slice)

    def visit_Tuple(self, node: ast.Tuple) -> None:
        if not self._inside:  # a table
            self._entries(node)
        self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> None:
        if isinstance(node.func, ast.Name) and node.func.id in _TWIN:
            other = copy.deepcopy(node)
            other.func = ast.Name(_TWIN[node.func.id])
            self._becomes(node, "min/max", other)
        if isinstance(node.func, ast.Name) and node.func.id in ("round", "_rounded"):
            self.visit(node.args[0])  # to how many figures is no behaviour
            return
        self.generic_visit(node)

    def visit_Return(self, node: ast.Return) -> None:
        if node.value is not None and not isinstance(node.value, ast.Constant):
            self._add(node, "returns nothing", "return None")
        self.generic_visit(node)

    def visit_Raise(self, node: ast.Raise) -> None:
        self._add(node, "refusal dropped", "pass")

    def visit_Expr(self, node: ast.Expr) -> None:
        if isinstance(node.value, ast.Call) and ast.unparse(node.value.func) != "assert_never":
            self._add(node, "call dropped", "pass")
        elif isinstance(node.value, ast.Yield | ast.YieldFrom):
            self._add(node, "line dropped", "pass")
        self.generic_visit(node)


def alike() -> Mapping[tuple[str, str, str], str]:
    """Faults that nobody can notice, by module, what and difference, each with the reason why (`alike.toml`)."""
    listed = tomllib.loads((ROOT / "tests/mutants/alike.toml").read_text("utf-8"))["fault"]
    return {(each["module"], each["what"], each["difference"].strip("\n")): each["why"] for each in listed}


def modules_of(words: Sequence[str]) -> list[str]:
    """Modules of the table whose path has one of the words in it (none: all)."""
    found = (path for glob in MODULES for path in sorted((ROOT / "kiosk").glob(glob)) if path.name != "__init__.py")
    names = dict.fromkeys(str(path.relative_to(ROOT)) for path in found)
    return [name for name in names if not words or any(word in name for word in words)]


def imports(file: str, module: str) -> bool:
    """Whether a file asks for something of a module by its name."""
    name = module.removesuffix(".py").replace("/", ".")
    room, _, own = name.rpartition(".")
    asked = rf"^(from {re.escape(name)} import|from {re.escape(room)} import .*\b{own}\b)"
    return re.search(asked, (ROOT / file).read_text("utf-8"), re.MULTILINE) is not None


@cache
def importers_of(module: str) -> frozenset[str]:
    """Modules of the table that import this one."""
    return frozenset(each for each in modules_of(()) if imports(each, module))


def mutants_of(module: str) -> list[Mutant]:
    """Every small fault of a module, in the order of its lines."""
    source = (ROOT / module).read_bytes()
    finder = _Finder(module, source)
    finder.visit(ast.parse(source))
    return sorted(finder.found, key=lambda each: (each.start, each.end, each.what))
