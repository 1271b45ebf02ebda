"""The locked requirements: every package pinned with hashes; no option, address or path that ties them to a place."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PINNED = re.compile(r"^[a-z0-9][a-z0-9._-]*(\[[a-z0-9,-]+\])?==[^ ]+( ; [^\\]+)? \\$")
HASH = re.compile(r"^    --hash=sha256:[0-9a-f]{64}( \\)?$")
SAID = re.compile(r"^    # ")


@pytest.mark.parametrize("name", ["requirements.txt", "requirements-dev.txt"])
def test_every_line_is_a_pin_a_hash_or_a_remark(name: str) -> None:
    lines = (ROOT / name).read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if not (PINNED.match(line) or HASH.match(line) or SAID.match(line))] == []
    assert [line for line in lines if "://" in line or "file:" in line] == []


def test_the_test_extras_stand_on_the_same_pins() -> None:
    def pins(name: str) -> dict[str, str]:
        lines = (ROOT / name).read_text(encoding="utf-8").splitlines()
        return dict(line.split(" ")[0].split("==") for line in lines if "==" in line and not line.startswith(" "))

    run, test = pins("requirements.txt"), pins("requirements-dev.txt")
    assert {package: test.get(package) for package in run} == run


def test_the_top_level_holds_nothing_else() -> None:
    allowed = {
        "README.md", "DEVELOPERS.md", "LICENSE", "manage.py", "pyproject.toml", "requirements.txt",
        "requirements-dev.txt", "labresults", "reports", "fixtures", "tests", "var", "staticfiles",
    }  # fmt: skip
    assert {path.name for path in ROOT.iterdir() if not path.name.startswith(".")} - allowed == set()


def test_the_bootstrap_stays_small() -> None:
    assert len((ROOT / "manage.py").read_text(encoding="utf-8").splitlines()) < 60
