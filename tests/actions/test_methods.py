"""Method versions: what they may not promise."""

import pytest

from labresults.acts import BadInput
from labresults.models import MethodVersion
from tests.builders import Laboratory, a_method

LOST = {"Cu": "copper leaves this invented digestion as vapour"}


def test_what_a_dissolution_cannot_tell_is_not_determined_by_it(lab: Laboratory) -> None:
    # given a digestion that loses an element (as silicon leaves an open hydrofluoric digestion: common practice)
    with pytest.raises(BadInput, match="Cu: copper leaves this invented digestion"):
        a_method(lab.people["quality manager"], "HF-1", cannot_tell=LOST)
    assert not MethodVersion.objects.filter(method__code="HF-1").exists()
    # and one that loses another element is entered with what it lost
    version = a_method(lab.people["quality manager"], "HF-1", cannot_tell={"Si": "it leaves as its fluoride"})
    assert version.cannot_tell == {"Si": "it leaves as its fluoride"}
