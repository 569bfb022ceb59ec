"""Where clocks are put back in the middle of a shift, times stay in order and say which of two hours they mean."""

from __future__ import annotations

import re
import subprocess
import sys
from datetime import UTC, datetime

from kiosk import words

AN_HOUR_BEFORE = datetime(2026, 10, 25, 0, 0, tzinfo=UTC).timestamp()  # 02:00 CEST; at 01:00 UTC it is 02:00 CET

CODE = """
import time, sys
time.tzset()
from kiosk import words
from kiosk.exchange.report_page import moment
from kiosk.exchange.shop_out import utc_text
for each in sys.argv[1:]:
    told = float(each)
    print(words.catalogue("en").figure("since_at", told), "|", moment(told), "|", utc_text(told))
"""


def said(*moments: float) -> list[list[str]]:
    done = subprocess.run(
        [sys.executable, "-c", CODE, *map(str, moments)],
        capture_output=True, text=True, check=True, env={"TZ": "Europe/Berlin", "PATH": "/usr/bin:/bin"}, timeout=60,
    )  # fmt: skip
    return [line.split(" | ") for line in done.stdout.splitlines()]


def test_the_hour_that_comes_twice_says_which_one_it_is_and_no_other_hour_does() -> None:
    found = said(*(AN_HOUR_BEFORE + 1800.0 * step for step in range(-2, 6)))
    assert [screen for screen, *_ in found] == [
        "01:00", "01:30", "02:00 CEST", "02:30 CEST", "02:00 CET", "02:30 CET", "03:00", "03:30",
    ]  # fmt: skip


def test_what_stands_on_paper_and_in_files_says_its_zone_and_can_be_put_in_order() -> None:
    moments = [AN_HOUR_BEFORE + 1200.0 * step for step in range(-6, 18)]
    found = said(*moments)
    papers = [datetime.fromisoformat(re.sub(" (?=[+-])", "", paper)) for _, paper, _ in found]
    files = [datetime.fromisoformat(file) for *_, file in found]
    assert papers == sorted(papers) and [each.timestamp() for each in papers] == moments
    assert files == sorted(files) and all(file.endswith("Z") for *_, file in found)
    assert len({paper for _, paper, _ in found}) == len(moments)


def test_a_zone_is_said_in_no_hour_of_a_place_without_clock_changes() -> None:
    at = datetime.fromtimestamp(AN_HOUR_BEFORE, UTC).replace(tzinfo=None)
    if datetime.fromtimestamp(AN_HOUR_BEFORE).astimezone().tzname() == "UTC":
        assert words.zone_if_twice(at) == ""
