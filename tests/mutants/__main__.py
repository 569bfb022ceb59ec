"""How blind the tests are: small faults are put into the code one at a time, and the tests must notice.

    python -m tests.mutants --list                            the modules a release depends on, and how many faults
    python -m tests.mutants                                   all of them
    python -m tests.mutants rules/hold.py --sample 150 --seed 1 --kept survivors.json
    python -m tests.mutants --again survivors.json            what survived then, after tests were written

Everything is imported once.  A first run of the tests notes which of them touch which line (kept in pytest's cache);
then each fault is a child of this process in which the changed functions get their new code, and the tests that touch
its line are run, quickest first, for at most `--budget` seconds.  For what is in no function (tables, defaults) the
child imports everything anew.  Nothing is ever written into the tree.  Every survivor is to be looked at: does it make
a hold shorter, a door wider or a check blinder?  What nobody can notice stands in `alike.toml` with the reason, is not
tried, and is counted by itself.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from tests.mutants.small import ROOT, alike, modules_of, mutants_of
from tests.mutants.tried import TESTS, Faults, run_pytest


def main(argv: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("modules", nargs="*", help="words in a module's path, e.g. hold or ledger/view (default: all)")
    parser.add_argument("--sample", type=int, metavar="N", help="only N faults of each module, drawn")
    parser.add_argument("--seed", type=int, default=1, help="of the draw (1)")
    parser.add_argument("--budget", type=float, default=5.0, metavar="S", help="seconds of tests for one fault (5)")
    parser.add_argument("--tests", nargs="+", default=TESTS, metavar="PATH", help="folders or files (all)")
    parser.add_argument("--kept", type=Path, metavar="FILE", help="write down what survived")
    parser.add_argument("--again", type=Path, metavar="FILE", help="only what survived then")
    parser.add_argument("--list", action="store_true", help="only list modules and the number of faults")
    given = parser.parse_args(argv)
    faults, passed = [], Counter[str]()
    known = alike()
    for module in modules_of(given.modules):
        of_module = mutants_of(module)
        if given.list:
            print(f"{len(of_module):5} {module}")
        if given.sample and given.sample < len(of_module):
            drawn = random.Random(given.seed).sample(of_module, given.sample)
            of_module = sorted(drawn, key=lambda each: each.start)
        passed[module] = sum(each.name in known for each in of_module)
        faults += [each for each in of_module if each.name not in known]
    if given.again:
        kept = {tuple(each) for each in json.loads(given.again.read_text())}
        faults = [each for each in faults if each.name in kept]
    if given.list:
        print(f"{len(faults):5}, and {passed.total()} that nobody can notice")
        return 0
    with tempfile.TemporaryDirectory(prefix="mutants-") as scratch:
        tempfile.tempdir = scratch
        plugin = Faults(faults, given.budget, Path(scratch), given.kept)
        os.chdir(ROOT)
        ended = run_pytest(given.tests, plugin, Path(scratch) / "base")
    if ended not in (0, 5):
        return 2
    print()
    for module, tries in plugin.tried.items():
        lived = sum(each.module == module for each in plugin.survivors)
        print(f"{module}: {lived} of {tries} survived ({100 * lived / tries:.1f} %), {passed[module]} not tried")
    return 1 if plugin.survivors else 0


if __name__ == "__main__":
    sys.exit(main())
