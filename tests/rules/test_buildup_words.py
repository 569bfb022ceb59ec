"""Whatever fits, magazine, setup, offsets and comparison have to say has words, with the values it carries."""

from __future__ import annotations

from dataclasses import replace
from enum import Enum

import pytest

from kiosk import words
from kiosk.rules import compare, offsets
from kiosk.rules.assembly import Assembly, Clamping, Condition, Coupling, Cutter, Holder, Material
from kiosk.rules.fitting import change_plan, fits, magazine, obstacles, setup_sheet
from kiosk.rules.fitting.shrink import ShrinkRules
from kiosk.rules.stock import BookEntry

IDS: tuple[tuple[str, type[Enum]], ...] = (
    ("fits.", fits.FitReason),
    ("remedy.fits.", fits.FitReason),
    ("magazine.", obstacles.ObstacleReason),
    ("remedy.magazine.", obstacles.ObstacleReason),
    ("magazine_note.", obstacles.Note),
    ("term.speed_of_", fits.Source),
    ("plan.", change_plan.Doing),
    ("plan.aim_", change_plan.Aim),
    ("setup.", setup_sheet.Picked),
    ("compare.", compare.Verdict),
)


@pytest.mark.parametrize("language", words.LANGUAGES)
@pytest.mark.parametrize(("prefix", "kind"), IDS)
def test_every_value_has_its_words(language: str, prefix: str, kind: type[Enum]) -> None:
    known = words.catalogue(language).words
    for value in kind:
        key = f"{prefix}{value.value}"
        assert any(name == key or name.startswith(f"{key}.") for name in known), key


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_every_supply_and_every_row_of_the_card_has_its_words(language: str) -> None:
    known = words.catalogue(language).words
    for supply in setup_sheet.Supply:
        assert any(name.startswith(f"setup.{supply.name.lower()}") for name in known), supply
    for symbol in ("POCKET", "T", "NAME", "CODE", "LF", "DC", "R", "RE", "ZEFP", "COOLANT", "RPMX", "LIFE"):
        assert f"offsets.{symbol.lower()}" in known


@pytest.mark.parametrize("language", words.LANGUAGES)
@pytest.mark.parametrize("supply", setup_sheet.Supply)
def test_each_way_to_meet_a_need_fills_its_sentence(language: str, supply: setup_sheet.Supply) -> None:
    catalogue = words.catalogue(language)
    entry = BookEntry("H7K2B4N9RX", HOLDER, place="Rack 1", hot=True, safe_in_s=65.0)
    for there in (entry, replace(entry, safe_in_s=None)):
        met = setup_sheet.Met(setup_sheet.Need(2, "Mill"), 1, supply, there, CUTTER, entry)
        assert "{" not in catalogue.say(met.say.key, **dict(met.say.values))


HOLDER = Holder("h", "steel", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0)
CUTTER = Cutter("c", "mill", 12.0, 12.0, 83.0, lu_mm=40.0)
SHRINK_12 = fits.Question(HOLDER, CUTTER, 36.0)
WEAK = fits.FitRules(shrink=ShrinkRules(unit_max_c=100.0))


def questions() -> list[tuple[fits.Question, fits.FitRules]]:
    usual = fits.FitRules()
    held = {clamping: replace(HOLDER, clamping=clamping, nose_mm=24.0, insert_min_mm=40.0) for clamping in Clamping}
    odd = replace(CUTTER, dmm_mm=9.0, coolant=True)
    shrink = held[Clamping.SHRINK_FIT]
    found = [(fits.Question(holder, odd, 70.0, rpm=1e6), usual) for holder in held.values()]
    found += [(fits.Question(holder, CUTTER, 10.0), usual) for holder in held.values()]
    stocked = fits.FitRules(sleeves=frozenset({fits.Sleeve(12.0, 9.0)}))
    found += [(fits.Question(held[Clamping.PRESS_FIT], odd), stocked), (SHRINK_12, WEAK), (SHRINK_12, usual)]
    found += [
        (fits.Question(replace(shrink, rpm_max=8000.0), CUTTER, 36.0, rpm=9000.0, heats_used=1999), usual),
        (fits.Question(replace(shrink, insert_max_mm=20.0), CUTTER, 36.0, heats_used=9999), usual),
        (fits.Question(shrink, CUTTER, 36.0, bore_um=5.0, coolant_wanted=True), usual),
        (fits.Question(shrink, CUTTER, 36.0, bore_um=-5.0), usual),
        (fits.Question(replace(shrink, nose_mm=12.5), CUTTER, 36.0, bore_um=-90.0, shank_um=0.0), usual),
        (fits.Question(replace(shrink, nose_mm=11.0), CUTTER, 36.0, shank_um=3.0), usual),
        (fits.Question(shrink, replace(CUTTER, shank_h6=False, flat=True), 36.0), usual),
        (fits.Question(replace(shrink, bore_mm=60.0), replace(CUTTER, dmm_mm=60.0), 36.0), usual),
        (fits.Question(replace(shrink, nose_mm=11.0), CUTTER, 36.0), usual),
        (fits.Question(replace(shrink, coupling=Coupling.parse("A40")), CUTTER, coolant_wanted=True), usual),
        (fits.Question(replace(shrink, coolant=True), CUTTER, coolant_wanted=True), usual),
        (fits.Question(shrink, replace(CUTTER, material=Material.HSS), 36.0), usual),
        (fits.Question(shrink, CUTTER, 36.0, came_out=Condition.BROKEN), usual),
        (fits.Question(shrink, CUTTER, 36.0, came_out=Condition.WORN), usual),
        (SHRINK_12, fits.FitRules(shrink=ShrinkRules(unit_max_c=220.0))),
        (SHRINK_12, fits.FitRules(shrink=ShrinkRules(release_share=2.0))),
    ]
    return found


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_findings_fill_their_sentences(language: str) -> None:
    catalogue = words.catalogue(language)
    none = magazine.Machine("m", magazine.Magazine(magazine.MagazineKind.CHAIN, 3, 80.0, mass_max_kg=0.1))
    heard = set()
    for question, rules in questions():
        for finding in fits.fit(question, rules, [none]).findings:
            assert "{" not in catalogue.say(finding.message_id, **finding.values)
            assert catalogue.say(finding.remedy_id, **finding.values)
            heard.add(finding.reason)
    assert heard == set(fits.FitReason)


@pytest.mark.parametrize("language", words.LANGUAGES)
@pytest.mark.parametrize("reason", obstacles.ObstacleReason)
def test_obstacles_fill_their_sentences(language: str, reason: obstacles.ObstacleReason) -> None:
    texts = reason in (obstacles.ObstacleReason.COUPLING, obstacles.ObstacleReason.KNOB)
    full = obstacles.Obstacle(reason, 7, "Mill", 12.5, 10.0, "A40" if texts else "", "A50" if texts else "")
    assert "{" not in words.catalogue(language).say(full.message_id, **full.values)
    unknown = obstacles.Obstacle(obstacles.ObstacleReason.KNOB, allowed_text="AD")
    assert "AD" in words.catalogue(language).say(unknown.message_id, **unknown.values)


@pytest.mark.parametrize("language", words.LANGUAGES)
@pytest.mark.parametrize("verdict", compare.Verdict)
def test_comparisons_fill_their_sentences(language: str, verdict: compare.Verdict) -> None:
    catalogue = words.catalogue(language)
    listed = compare.Listed(2, "Mill", None, 7, False, 100.0, 12.0)
    entry = BookEntry("H7K2B4N9RX", HOLDER, Assembly("a", "Mill", HOLDER, CUTTER), "Mill 1 · 08", pocket=8)
    for line in (compare.Compared((verdict,), listed, entry), compare.Compared((verdict,), listed, None, "Tap")):
        for message in (*line.verdict_words, *line.remedies):
            assert "{" not in catalogue.say(message.key, **dict(message.values))


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_what_keeps_a_card_back_fills_its_sentence(language: str) -> None:
    catalogue = words.catalogue(language)
    built = Assembly("a", "Mill", HOLDER, CUTTER, condition=Condition.WORN)
    with pytest.raises(offsets.CardFault) as caught:
        offsets.card(BookEntry("H7K2B4N9RX", HOLDER, built))
    assert catalogue.say(caught.value.reason.key, **dict(caught.value.reason.values))
    assert catalogue.say(caught.value.remedy.key)
    worn = catalogue.say("offsets.condition", name="Mill", condition="term.worn")
    assert "term." not in worn
