"""Wherever a screen asks for a scan, a key opens a list with a search that answers the same; or the reason is here.

Found by the sentences screens say, so that a new one that asks for a scan is asked for its list too.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from kiosk import where
from kiosk.filing import toml_values
from kiosk.screens import pages

SCREENS = Path(pages.__file__).parent
ASKS = re.compile(r"\bscan (a|an|the|what|where|another|each|it|on|your|them)\b", re.IGNORECASE)
SAID = re.compile(r"""\bt\(f?["']([a-z_.]+)["']""")
LIST = re.compile(r"go\('choose', what='(holder|place|any)'\)")

# What a screen asks for in words, and the layout whose key opens the list.
LISTED = {
    "build_up.scan": "bench/build.kv",
    "correct.scan": "shop/correct.kv",
    "correct.scan_pocket": "shop/correct.kv",
    "labels.scan": "labels/labels.kv",
    "measuring.scan": "bench/measure.kv",
    "register.stands": "shop/register.kv",
    "scan.holder": "scan/scan.kv",
    "scan.idle": "scan/scan.kv",
    "scan.still_holder": "scan/scan.kv",
    "scan.still_place": "scan/scan.kv",
    "setup_sheet.into_pockets": "job/setup.kv",
    "tear_down.scan": "bench/teardown.kv",
}
# What needs none, and why.
ELSEWHERE = {
    "adopt.scan": "the screen's own keys look for the holder",
    "adopt.no_holder": "the screen's own keys look for the holder",
    "auditing.which": "the screen is a list of places",
    "auditing.scan_on": "an audit counts what was seen, and nobody sees a row of a list",
    "photo.not_read_said": "an audit counts what was seen, and nobody sees a row of a list",
    "photo.unread": "an audit counts what was seen, and nobody sees a row of a list",
    "labels.scan_new": "the first scan shows that the new label is on its steel",
    "labels.scan_new_hot": "the first scan shows that the new label is on its steel",
    "correct.print_next": "the first scan shows that the new label is on its steel",
    "register.label_next": "the first scan shows that the new label is on its steel",
    "register.not_free": "a mark on the steel that no list knows",
    "phones.none_remedy": "a badge says who somebody is, and a list would let anybody be anybody",
    "remedy.supervisor_first": "a badge says who somebody is, and a list would let anybody be anybody",
    "history_filter.or_scan": "a card, found by a list, has its own history",
    "heat.first": "said of what was scanned; the scan screen follows",
    "apart.alarm_remedy": "done on the scan screen",
    "apart.by_scan": "done on the scan screen",
    "holder.no_history_remedy": "done on the scan screen",
    "build_up.next_measure": "done on the scan screen",
    "build_up.next_shrink": "done on the scan screen",
    "tear_down.hot": "done on the scan screen",
    "audits.none_remedy": "done on the audit screen",
}


def _sentences() -> dict[str, str]:
    """English words by their name; of one with forms, the first."""
    found: dict[str, str] = {}

    def walk(before: str, table: dict[str, object]) -> None:
        for name, value in table.items():
            if isinstance(value, dict):
                walk(f"{before}{name}.", value)
            else:
                found[before + name] = str(value)
                found.setdefault(before.removesuffix("."), str(value))

    for file in (where.assets() / "translations").glob("en*.toml"):
        walk("", toml_values(file.read_text("utf-8")))
    return found


def test_no_screen_asks_for_a_scan_without_a_list_or_a_reason() -> None:
    sentences = _sentences()
    files = [file for file in SCREENS.rglob("*.*") if file.suffix in (".py", ".kv")]
    said = {key for file in files for key in SAID.findall(file.read_text("utf-8"))}
    asking = {key for key in said if ASKS.search(sentences.get(key, ""))}
    assert asking == LISTED.keys() | ELSEWHERE.keys()


@pytest.mark.parametrize("layout", sorted(set(LISTED.values())))
def test_the_layout_that_asks_has_the_key(layout: str) -> None:
    assert LIST.search((SCREENS / layout).read_text("utf-8"))


def test_a_key_to_a_list_wears_the_sign_of_a_list_and_never_that_of_find() -> None:
    keys = [
        (path.name, key)
        for path in sorted(SCREENS.rglob("*.kv"))
        for key in re.split(r"\n *(?=\w+:\n)", path.read_text())
        if LIST.search(key) or "t('choose.from_list')" in key
    ]
    icons = [(name, re.findall(r"icon: '(\w+)'", key)) for name, key in keys]
    assert len(icons) >= 7
    assert [name for name, found in icons if "find" in found] == []
