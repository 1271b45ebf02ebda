"""The command that defines derived results from files."""

from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from labresults.models import DerivedDefinition
from tests.builders import Laboratory

pytestmark = pytest.mark.django_db
SHIPPED = Path(__file__).resolve().parents[2] / "fixtures" / "derived"


def define(*files: Path) -> None:
    call_command("define_derived", *map(str, files), by="quality-manager", at="2026-11-16T09:00:00+00:00")


def test_every_shipped_definition_that_names_no_method_is_entered(lab: Laboratory) -> None:
    files = [path for path in sorted(SHIPPED.glob("*.toml")) if "by =" not in path.read_text(encoding="utf-8")]
    define(*files)
    assert set(DerivedDefinition.objects.values_list("code", flat=True)) == {path.stem for path in files}
    assert {"hardness", "sar", "oxides", "cec", "base-saturation", "dry-cu", "grade-au"} == {p.stem for p in files}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("code = ", "cannot be read"),
        ('form = "sum of terms"\nweight = 2', "weight is no setting of a definition"),
        ('form = "product"', "Its form is one of: sum of terms"),
    ],
)
def test_a_file_that_is_none_is_refused_in_words(text: str, words: str, lab: Laboratory, tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(CommandError, match=words):
        define(path)


def test_a_definition_of_a_method_that_is_not_there_is_refused(lab: Laboratory) -> None:
    with pytest.raises(CommandError, match=r"row 1, column by: There is no method FD-4, AR-7\.|no method FD-4"):
        define(SHIPPED / "grade-cu.toml")
