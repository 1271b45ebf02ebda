"""Without a fault nothing is found: what the other nights find is of their faults."""

import pytest

from tests.builders import Laboratory
from tests.journeys.faults.instrument import CONTENTS
from tests.journeys.faults.night import a_night


def test_a_night_in_which_nothing_goes_wrong_gives_the_true_contents_and_is_signed(lab: Laboratory) -> None:
    night = a_night(lab)
    assert not night.findings, night.findings
    for element in ("Cu", "Pb", "Fe"):
        true = {label: content[element] for label, content in CONTENTS.items()}
        assert night.values(element) == pytest.approx(true, rel=1e-5)
