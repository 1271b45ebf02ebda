"""What the plan of a run offers: test solutions that stand, each with its age where that is too much."""

from collections.abc import Callable

from django.test import Client
from django.urls import reverse

from labresults.actions.batches import discard_portion
from tests.builders import Laboratory, a_method, a_submission, a_weighed_batch


def test_an_old_test_solution_is_marked_and_a_discarded_one_not_offered(
    lab: Laboratory, as_role: Callable[[str], Client]
) -> None:
    # given a method whose test solutions last 12 h, a batch made up at 10:00 the day before, and one tube spilled
    lab.version = a_method(lab.people["quality manager"], "AR-8", digest_life_h=12.0)
    batch = a_weighed_batch(lab, a_submission(lab))
    discard_portion(
        by=lab.people["preparer"], at=lab.later(), reason="spilled", portion=batch.portions.get(label="KF26-00002")
    )
    # when a run is planned at 8:00
    page = as_role("analyst").get(reverse("plan-run"), {"method": "AR-8"}).content.decode()
    # then each of the five that stand says how old it is, and the spilled one is not there
    assert page.count("made up 21 h ago: AR-8 v1 keeps it for 12 h") == 5
    assert "KF26-00001" in page
    assert "KF26-00002" not in page
