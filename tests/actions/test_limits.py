"""Limits that results are compared with: what is printed of them must be there."""

import pytest

from labresults.actions.limits import register_limits
from labresults.acts import BadInput
from labresults.models import LimitSet
from tests.builders import Laboratory

GIVEN = {"name": "Consent", "edition": "2026", "source": "invented, table 1"}


@pytest.mark.parametrize("empty", GIVEN)
def test_name_edition_and_source_are_needed(empty: str, lab: Laboratory) -> None:
    with pytest.raises(BadInput, match="Limits need a name, their edition and their source"):
        entered(lab, **{empty: " "})
    assert not LimitSet.objects.exists()


def test_blanks_around_them_are_no_other_edition(lab: Laboratory) -> None:
    entered(lab)
    with pytest.raises(BadInput, match="is there already"):
        entered(lab, edition=" 2026 ")


def entered(lab: Laboratory, **changes: str) -> LimitSet:
    given = GIVEN | changes
    return register_limits(by=lab.people["quality manager"], at=lab.later(), limits=[("Pb", 250.0, "mg/kg")], **given)
