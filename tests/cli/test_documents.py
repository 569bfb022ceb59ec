"""README.md and DEVELOPERS.md promise nothing that is not there."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from kiosk import cli

ROOT = Path(__file__).resolve().parents[2]
DOCUMENTS = ("README.md", "DEVELOPERS.md")
MADE_LATER = (".pictures/", "dist/", ".venv")  # by a run, not by us


def document(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def commands_of_the_kiosk(capsys: pytest.CaptureFixture[str]) -> set[str]:
    with pytest.raises(SystemExit):
        cli.main(["--help"])
    return set(re.findall(r"^    (\w+)\b", capsys.readouterr().out, re.MULTILINE)) - {"COMMAND"}


def test_the_readme_lists_every_command_and_no_other(capsys: pytest.CaptureFixture[str]) -> None:
    listed = re.findall(r"^\| (`.+?) \|", document("README.md"), re.MULTILINE)
    names = {word for cell in listed for word in re.findall(r"`(\w+)[^`]*`", cell)}
    assert names == commands_of_the_kiosk(capsys)


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_command_shown_to_copy_is_one_the_kiosk_takes(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    lines = [
        shlex.split(line, comments=True)
        for block in re.findall(r"```(?:sh|powershell)\n(.*?)```", document(name), re.DOTALL)
        for line in block.replace("\\\n", " ").splitlines()
    ]
    started = [words[words.index("./kiosk/start") + 1 :] for words in lines if "./kiosk/start" in words]
    assert started
    for words in started:
        given = words if words and not words[0].startswith("-") else ["open", *words]
        cli._parser().parse_args(given)
        capsys.readouterr()


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_file_named_in_a_document_exists(name: str) -> None:
    text = document(name)
    linked = [target for target in re.findall(r"\]\(([^)#]+)\)", text) if "://" not in target]
    quoted = re.findall(r"`((?:kiosk|tests|assets|demo_tags|\.ci|\.venv)/[\w./-]*)`", text)
    named = [path for path in (*linked, *quoted) if not path.startswith(MADE_LATER)]
    assert named
    assert [path for path in named if not (ROOT / path).exists()] == []
