"""Assets and demo shop are found beside the package in a checkout."""

from __future__ import annotations

from pathlib import Path

import pytest

from kiosk import where

ROOT = Path(__file__).resolve().parents[2]


def test_a_checkout_has_its_assets_and_demo_shop_beside_the_package() -> None:
    assert where.assets() == ROOT / "assets"
    assert where.demo_tags() == ROOT / "demo_tags"


def test_an_installation_without_its_files_says_which_folder_is_missing_and_where_it_looked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(where, "_PACKAGE", tmp_path / "kiosk")
    with pytest.raises(where.FilesMissing, match=str(tmp_path)) as missing:
        where.assets()
    assert missing.value.folder == "assets"


def test_a_folder_of_that_name_beside_an_installed_package_is_not_ours(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "assets").mkdir()
    monkeypatch.setattr(where, "_PACKAGE", tmp_path / "kiosk")
    with pytest.raises(where.FilesMissing):
        where.assets()
