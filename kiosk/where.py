"""Where the files that are not code lie: assets (fonts, icons, sounds, translations) and the demo shop.

A checkout keeps them beside the package, a wheel carries them inside it; nobody else has to know which of the
two this is.  Never the shop's own data, which lives where its settings say.  The mapping is the one that
pyproject.toml gives the build (`force-include`).
"""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


class FilesMissing(FileNotFoundError):
    """A folder that every installation has is not there.  `folder` is its name."""

    def __init__(self, folder: str) -> None:
        super().__init__(
            f"the kiosk's folder {folder!r} is neither in {_PACKAGE.parent} nor in {_PACKAGE}: install it again"
        )
        self.folder = folder


def _folder(name: str) -> Path:
    inside = _PACKAGE / name
    if inside.is_dir():
        return inside
    beside = _PACKAGE.parent / name
    if (_PACKAGE.parent / "pyproject.toml").is_file() and beside.is_dir():
        return beside
    raise FilesMissing(name)


def assets() -> Path:
    """Folder of fonts, icons, sounds and translations.  Raises FilesMissing."""
    return _folder("assets")


def demo_tags() -> Path:
    """Folder of the demo shop: shop.toml, its CSV files, labels and the rehearsed shift.  Raises FilesMissing."""
    return _folder("demo_tags")
