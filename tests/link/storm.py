"""Twenty kiosks work at once while their networks come and go, and a checker reads what each of them acknowledged.

    nice -n 5 python -m tests.link.storm [--kiosks 20] [--minutes 10] [--scans 5] [--kills 3] [--server-kills 3]
    nice -n 5 python -m tests.link.storm --kiosks 5 --minutes 8 --scans 3 --holders 3 --grown

Each kiosk is a process with a ledger, a desk and a link of its own, behind a network of its own that is cut a third of
the time; some are killed in the middle of a scan and started again, and so is the server, with no process of it asked.
Afterwards all networks are whole, and the eight invariants must hold: nothing acknowledged is missing or there twice,
all tables are equal and what the lines give from nothing, no step that needs cool steel was taken by a kiosk that knew
of the heating, no hold ended early, and a line that a hand changes is found.  Exits with 1 where any does not.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import sqlite3
import statistics
import tempfile
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from tests.link.kiosk import until
from tests.link.postgres import Server
from tests.link.shop import Shop
from tests.link.test_books import KioskProcess, level

GOALS = ("bench", "station", "rack", "slot", "slot2")
CUT = 1 / 3  # so much of the time a kiosk hears nothing
APART_S = (5.0, 40.0)  # how long it is cut off at a time
CATCH_UP_S = 300.0
LOOK_S = 30.0  # between two looks at the memory


class Used(NamedTuple):
    """Seconds that a process' threads had of a processor, and that they waited for one though they could have run."""

    had_s: float = 0.0
    waited_s: float = 0.0

    @classmethod
    def of(cls, pid: int) -> Used:
        found = [path.read_text().split() for path in Path(f"/proc/{pid}/task").glob("*/schedstat")]
        return cls(sum(int(each[0]) for each in found) / 1e9, sum(int(each[1]) for each in found) / 1e9)

    def since(self, before: Used) -> Used:
        return Used(self.had_s - before.had_s, self.waited_s - before.waited_s)


@dataclass
class Seen:
    """What was seen of one kiosk."""

    kiosk: KioskProcess
    outcomes: Counter[str] = field(default_factory=Counter)
    took_ms: list[float] = field(default_factory=list)
    memory_mb: list[float] = field(default_factory=list)
    used: Used = field(default_factory=lambda: Used())
    lock: threading.Lock = field(default_factory=threading.Lock)
    failed: str = ""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kiosks", type=int, default=20)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--scans", type=float, default=5.0, help="a second, by all together")
    parser.add_argument("--kills", type=int, default=3, help="kiosks killed in the middle of a scan")
    parser.add_argument("--server-kills", type=int, default=3, help="times the server is killed and started again")
    parser.add_argument("--holders", type=int, default=60, help="every other one is a shrink fit, and may be heated")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--grown", action="store_true", help="say what the first kiosk kept since a fifth of the time")
    asked = parser.parse_args()
    server = Server(firm=True)
    kiosks: list[KioskProcess] = []
    try:
        with tempfile.TemporaryDirectory(prefix="kiosk-storm-") as folder:
            shop = Shop(server)
            for at in range(asked.kiosks):
                kiosks.append(KioskProcess(shop, Path(folder) / f"k{at}", f"K{at}", starts=False))
            with ThreadPoolExecutor(asked.kiosks) as pool:
                list(pool.map(KioskProcess.start, kiosks))
            wrong = _storm(shop, kiosks, asked)
            for kiosk in kiosks:
                kiosk.end()
    finally:
        for kiosk in kiosks:
            kiosk.kill()
        server.end()
    print("\n".join(wrong) or "all invariants hold")
    raise SystemExit(bool(wrong))


def _storm(shop: Shop, kiosks: list[KioskProcess], asked: argparse.Namespace) -> list[str]:
    began_s = time.monotonic()
    kiosks[0]("shop")
    kiosks[0]("steel", str(asked.holders))
    until(level(*kiosks), 300)
    print(f"{len(kiosks)} kiosks know the shop after {time.monotonic() - began_s:.0f} s", flush=True)
    seen = [Seen(kiosk) for kiosk in kiosks]
    scanning_s, idle_s = time.monotonic(), _idle_s()
    end_s = scanning_s + asked.minutes * 60.0
    for each in seen:
        each.used = Used.of(each.kiosk.pid)
    pause_s = len(kiosks) / asked.scans
    held = asked.holders
    hands = [
        threading.Thread(target=_work, args=(each, random.Random(asked.seed * 1000 + at), pause_s, end_s, held))
        for at, each in enumerate(seen)
    ]
    networks = threading.Thread(target=_networks, args=(seen, random.Random(asked.seed), end_s, asked))
    power = threading.Thread(target=_power, args=(shop, random.Random(asked.seed + 1), end_s, asked))
    for thread in (*hands, networks, power):
        thread.start()
    if asked.grown:
        time.sleep(asked.minutes * 12.0)
        with seen[0].lock:
            kiosks[0]("trace")
    for thread in (*hands, networks, power):
        thread.join()
    lasted_s = time.monotonic() - scanning_s
    if asked.grown:
        grown = kiosks[0]("grown")
        print(f"the first kiosk kept {grown['kb']:.0f} kB since a fifth of the time:", *grown["most"], sep="\n  ")
    used = [Used.of(each.kiosk.pid).since(each.used) for each in seen if not each.outcomes["killed"]]
    each_had, each_waited = (statistics.fmean(part) / lasted_s for part in zip(*used, strict=True))
    print(
        f"{sum(len(each.took_ms) for each in seen) / lasted_s:.2f} scans a second; a kiosk had {each_had:.3f} of a "
        f"processor and waited for one {each_waited:.3f} of the time; {(_idle_s() - idle_s) / lasted_s:.2f} of "
        f"{os.cpu_count()} processors were idle"
    )
    for kiosk in kiosks:
        kiosk.network.heal()
    healed_s = time.monotonic()
    wrong = [f"{each.kiosk.folder.name}: {each.failed}" for each in seen if each.failed]
    try:
        until(level(*kiosks), CATCH_UP_S)
    except AssertionError:
        wrong.append(f"not level after {CATCH_UP_S:.0f} s: {[kiosk.standing for kiosk in kiosks]}")
    print(f"all level {time.monotonic() - healed_s:.0f} s after the last network came back")
    _tell(seen)
    return [*wrong, *_lost(shop, kiosks), *_unequal(kiosks), *_hot(shop), *_unfound(kiosks[0])]


def _work(seen: Seen, chance: random.Random, pause_s: float, end_s: float, holders: int) -> None:
    """Hands at one kiosk: now a holder, now a place.  Who had to wait for an answer scans the sooner after it."""
    next_s = time.monotonic()
    try:
        while (next_s := next_s + chance.expovariate(1.0 / pause_s)) < end_s:
            time.sleep(max(0.0, next_s - time.monotonic()))
            if time.monotonic() >= end_s:
                return
            text = f"steel-{chance.randrange(holders)}" if chance.random() < 0.5 else f"at-{chance.choice(GOALS)}"
            with seen.lock:
                began_s = time.monotonic()
                answer = seen.kiosk("scan", text)
                seen.took_ms.append((time.monotonic() - began_s) * 1e3)
            seen.outcomes[answer["reason"] or answer["outcome"]] += 1
    except Exception as error:
        seen.failed = f"{type(error).__name__}: {error}"


def _networks(kiosks: list[Seen], chance: random.Random, end_s: float, asked: argparse.Namespace) -> None:
    """Cuts and heals, each kiosk by itself; kills some; looks at their memory."""
    cut_until: dict[int, float] = {}
    down = [0.0] * len(kiosks)
    next_s = [time.monotonic() + chance.uniform(0.0, 30.0) for _ in kiosks]
    kills = sorted(time.monotonic() + chance.uniform(0.2, 0.9) * asked.minutes * 60 for _ in range(asked.kills))
    looked_s = 0.0
    while (now_s := time.monotonic()) < end_s:
        for at, each in enumerate(kiosks):
            network = each.kiosk.network
            if at in cut_until and now_s >= cut_until[at]:
                del cut_until[at]
                network.cut()
                network.heal()
                next_s[at] = now_s + chance.uniform(*APART_S) * (1 - CUT) / CUT
            elif at not in cut_until and now_s >= next_s[at]:
                lasts_s = chance.uniform(*APART_S)
                cut_until[at] = now_s + lasts_s
                down[at] += min(lasts_s, end_s - now_s)
                chance.choice((network.refuse, network.half_open, network.cut_after, network.one_way))()
        if kills and now_s >= kills[0]:
            kills.pop(0)
            each = chance.choice(kiosks[1:])
            with each.lock:
                each.kiosk.send("scan", f"steel-{chance.randrange(asked.holders)}")
                each.kiosk.kill()
                each.kiosk.start()
                each.outcomes["killed"] += 1
        if now_s - looked_s > LOOK_S:
            looked_s = now_s
            for each in kiosks:
                each.memory_mb.append(_memory_mb(each.kiosk.pid))
        time.sleep(0.1)
    print(f"cut off {sum(down) / len(kiosks) / asked.minutes / 60:.2f} of the time")


def _power(shop: Shop, chance: random.Random, end_s: float, asked: argparse.Namespace) -> None:
    """Kills the server in the middle of whatever it does, and starts it again a while later."""
    length_s = end_s - time.monotonic()
    for at in sorted(end_s - chance.uniform(0.1, 0.9) * length_s for _ in range(asked.server_kills)):
        time.sleep(max(0.0, at - time.monotonic()))
        shop.server.kill()
        time.sleep(chance.uniform(0.5, 15.0))
        shop.server.start()
    print(f"the server was killed {asked.server_kills} times")


def _idle_s() -> float:
    """Seconds that this machine's processors had nothing to do, or waited for a disk, since it began."""
    told = Path("/proc/stat").read_text().split()
    return (int(told[4]) + int(told[5])) / os.sysconf("SC_CLK_TCK")


def _memory_mb(pid: int) -> float:
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * 4096 / 1e6


def _tell(kiosks: list[Seen]) -> None:
    outcomes = sum((each.outcomes for each in kiosks), Counter[str]())
    took_ms = sorted(ms for each in kiosks for ms in each.took_ms)
    lines = sum(len(each.kiosk.acknowledged) for each in kiosks)
    print(f"{sum(outcomes.values())} scans, {lines} lines acknowledged: {dict(outcomes.most_common())}")
    slow_ms = took_ms[len(took_ms) * 99 // 100]
    print(f"a scan was answered after {statistics.median(took_ms):.0f} ms (99 %: {slow_ms:.0f} ms)")
    looks = [statistics.fmean(at) for at in zip(*(each.memory_mb for each in kiosks), strict=False)]
    first, last = looks[len(looks) // 4], looks[-1]
    print(f"memory of a kiosk: {first:.1f} MB after a quarter, {last:.1f} MB at the end, {last / first:.3f} times")
    print("  MB every half minute:", *(f"{mb:.1f}" for mb in looks))
    half = looks[len(looks) // 2 :]
    if len(half) > 1:
        minutes = [at * LOOK_S / 60.0 for at in range(len(half))]
        slope = statistics.linear_regression(minutes, half).slope
        print(f"  over the last half it grew by {slope:+.3f} MB a minute")


def _lost(shop: Shop, kiosks: list[KioskProcess]) -> list[str]:
    """Acknowledged lines that are not in the book exactly once; whatever else is wrong with it."""
    wrong = [f"server: {found}" for found in shop.examine()]
    for kiosk in kiosks:
        there = Counter(digest for (digest,) in shop.sql("SELECT digest FROM book.entry WHERE kiosk = %s", kiosk.kiosk))
        for number, digest in kiosk.acknowledged.items():
            if there[digest] != 1:
                wrong.append(f"{kiosk.folder.name}: acknowledged line {number} is there {there[digest]} times")
    return wrong


def _unequal(kiosks: list[KioskProcess]) -> list[str]:
    """Tables that differ, or are not what the lines give from nothing."""
    wrong = []
    tables = {}
    for kiosk in kiosks:
        told = json.dumps(kiosk("tables")["tables"], sort_keys=True)
        tables.setdefault(hashlib.sha256(told.encode()).hexdigest(), []).append(kiosk.folder.name)
        wrong += [f"{kiosk.folder.name}: check: {found}" for found in kiosk("check")["wrong"]]
    return wrong if len(tables) == 1 else [*wrong, f"tables differ: {list(tables.values())}"]


def _hot(shop: Shop) -> list[str]:
    """Steps that let hot steel go though their kiosk had seen the heating: no hold is over within these minutes."""
    wrong = []
    heated: dict[str, tuple[int, str, int]] = {}
    for n, kiosk, seen, body in shop.sql("SELECT n, kiosk, seen, body FROM book.entry ORDER BY n"):
        said: list[Any] = json.loads(body)
        kind, payload = said[6], json.loads(said[7])
        holder = payload.get("holder")
        if kind == "heated":
            heated[holder] = (n, kiosk, seen)
        elif kind == "hold ended":
            wrong.append(f"line {n} ends a hold by {payload['by']}")
        elif kind == "moved" and (payload["goal"] or "").startswith("slot") and holder in heated:
            at, by, _ = heated[holder]
            if by == kiosk or seen >= at:
                wrong.append(f"line {n} puts {holder} away, which line {at} heated")
    return wrong


def _unfound(kiosk: KioskProcess) -> list[str]:
    """A hand changes one line of a kiosk that is closed; its check must say so."""
    kiosk.quit()
    with sqlite3.connect(kiosk.folder / "ledger.db") as ledger:
        ledger.execute(
            "UPDATE line SET utc_s = utc_s + 1 WHERE id = (SELECT MAX(id) / 2 FROM line WHERE id < 1000000000)"
        )
    ledger.close()
    kiosk.start()
    return [] if any("changed" in found for found in kiosk("check")["wrong"]) else ["a changed line was not found"]


if __name__ == "__main__":
    main()
