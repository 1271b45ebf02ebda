"""Doubts that one value alone does not show: told on the review page, and never approved with the rest."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from labresults.actions.delivery import receive_samples
from labresults.actions.evaluation import evaluate_run
from labresults.actions.limits import LimitRow, register_limits
from labresults.actions.mass_losses import Heated
from labresults.actions.methods import add_method_version
from labresults.actions.plausibility import register_plausibility
from labresults.actions.review import approve_results
from labresults.acts import Refusal
from labresults.models import LimitSet, MethodVersion, Submission
from labresults.queries.results import newest_selections, waiting_for_review
from labresults.readers.delivery import DeliveredSample
from labresults.terms import MassLossKind, PlausibilityKind
from tests.actions.test_mass_losses import LEAF, record
from tests.builders import (
    AQUA_REGIA,
    CRITERIA,
    NOW,
    PASSWORD,
    STANDARDS,
    Laboratory,
    a_batch,
    a_line,
    a_reading_file,
    a_run,
    an_imported_file,
)
from tests.web.test_review import sent, shown

AsRole = Callable[[str], Client]
Asking = set[tuple[int, str, str]]
"""Place in the submission, method, element."""


def a_rule(lab: Laboratory, kind: PlausibilityKind, *elements: str, **bounds: float) -> None:
    register_plausibility(
        by=lab.people["quality manager"], at=lab.later(), name="fits", kind=kind, elements=elements,
        source="common practice, no source", **bounds,
    )  # fmt: skip


def as_oxides(lab: Laboratory) -> MethodVersion:
    """The same solution, reported as oxides in %."""
    return add_method_version(
        by=lab.people["quality manager"], at=NOW, code="OX-1", title="Oxides", area="geochemistry",
        valid_from=date(2026, 1, 1), version=AQUA_REGIA, matrices=["soil"],
        lines=[a_line("Cu", "324.754"), a_line("Pb", "220.353")], criteria=CRITERIA, standards=list(STANDARDS),
        determinations=[
            {"element": "Cu", "reported_as": "CuO", "unit": "%"}, {"element": "Pb", "reported_as": "PbO", "unit": "%"}
        ],
        controls=[],
    )  # fmt: skip


def delivered(
    lab: Laboratory, *rows: Mapping[str, object], methods: Sequence[MethodVersion] = (), limits: LimitSet | None = None
) -> Submission:
    """One sample a row, of one place and hour."""
    samples = [
        DeliveredSample(place, str(row.get("name", f"core {place}")), "soil", "30", sampled="2026-11-15T09:00",
                        field_filtered=str(row.get("filtered", "")), methods=tuple(row.get("by", ())))  # type: ignore[arg-type]
        for place, row in enumerate(rows, start=1)
    ]  # fmt: skip
    return receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, rows=samples, limit_set=limits,
        methods=[version.method for version in methods or [lab.version]],
    )  # fmt: skip


def measured(
    lab: Laboratory, submission: Submission, version: MethodVersion, copper: Mapping[int, float], **differing: object
) -> None:
    """Those samples that `copper` names by their place, read with so much of it, mg/kg, and 35 mg/kg of lead."""
    samples = list(submission.samples.filter(ordinal__in=copper).order_by("ordinal"))
    usual, lab.version = lab.version, version
    run = a_run(lab, a_batch(lab, version, samples))
    contents = {sample.number: {"Cu": copper[sample.ordinal], "Pb": 35.0} for sample in samples}
    an_imported_file(lab, run, a_reading_file(run, contents=contents, **differing))  # type: ignore[arg-type]
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    lab.version = usual


def dissolved_above_total(lab: Laboratory) -> tuple[Submission, str, Asking]:
    a_rule(lab, PlausibilityKind.DISSOLVED_AND_TOTAL)
    submission = delivered(
        lab, {"name": "weir, total", "filtered": "no"}, {"name": "weir, dissolved", "filtered": "yes"}
    )
    measured(lab, submission, lab.version, {1: 100.0, 2: 150.0})
    words = "Cu dissolved is 150 ± 6 mg/kg, above the total of 100 ± 4 mg/kg, beyond both U."
    return submission, words, {(1, "AR-7", "Cu"), (2, "AR-7", "Cu")}


def dissolved_by_another_method(lab: Laboratory) -> tuple[Submission, str, Asking]:
    """The total is digested, the dissolved part is not: 0.015 % of CuO are 120 mg/kg of Cu."""
    a_rule(lab, PlausibilityKind.DISSOLVED_AND_TOTAL, "Cu")
    oxides = as_oxides(lab)
    submission = delivered(
        lab, {"name": "weir, total", "filtered": "no"}, {"name": "weir, dissolved", "filtered": "yes", "by": ["OX-1"]}
    )
    measured(lab, submission, lab.version, {1: 100.0})
    measured(lab, submission, oxides, {2: 150.0})
    words = "Cu dissolved is 0.01878 ± 0.00075 %, above the total of 0.01252 ± 0.00051 %, beyond both U."
    return submission, words, {(1, "AR-7", "Cu"), (2, "OX-1", "Cu")}


def below_a_limit_that_nobody_sees(lab: Laboratory) -> tuple[Submission, str, Asking]:
    """0.2 mg/kg is below the detection limit of 1 mg/kg, and so is the limit of 0.1 mg/kg."""
    limits = register_limits(
        by=lab.people["quality manager"], at=lab.later(), name="Strict", edition="2026", source="invented",
        limits=[LimitRow("Cu", 0.1, "mg/kg")],
    )  # fmt: skip
    submission = delivered(lab, {}, {}, limits=limits)
    measured(lab, submission, lab.version, {1: 0.2, 2: 120.0})
    words = "Below its detection limit, 1 mg/kg, and the limit of Strict, 2026 is 0.1 mg/kg: it cannot be decided."
    return submission, words, {(1, "AR-7", "Cu")}


def oxides_with_ignition(lab: Laboratory) -> tuple[Submission, str, Asking]:
    """A loss of 3.8333 g of 5.1745 g is 74.08 %; the two oxides are some 0.02 % beside it."""
    a_rule(lab, PlausibilityKind.OXIDE_TOTAL, "Cu", "Pb", low=98.0, high=102.0)
    oxides = as_oxides(lab)
    submission = delivered(lab, {}, methods=[oxides])
    record(lab, Heated(submission.samples.get().number, **LEAF), kind=MassLossKind.IGNITION)
    measured(lab, submission, oxides, {1: 150.0})
    return submission, "2 oxides with 74.08 % loss on ignition add up to 74.1 ± ", {(1, "OX-1", "Cu")}


def duplicates_apart(lab: Laboratory) -> tuple[Submission, str, Asking]:
    """12 % more is within what the method allows of a duplicate, 20 %, and not within this rule's 5 %."""
    a_rule(lab, PlausibilityKind.DUPLICATES, high=5.0)
    submission = delivered(lab, {})
    doubled = f"{submission.samples.get().number} D"
    measured(lab, submission, lab.version, {1: 120.0}, factors={(doubled, "Cu"): 1.12})
    return submission, "in its duplicate: 11.3 % apart.", {(1, "AR-7", "Cu")}


def element_and_oxide(lab: Laboratory) -> tuple[Submission, str, Asking]:
    a_rule(lab, PlausibilityKind.SAME_BY_TWO)
    oxides = as_oxides(lab)
    submission = delivered(lab, {}, {}, methods=[lab.version, oxides])
    measured(lab, submission, lab.version, {1: 120.0, 2: 120.0})
    measured(lab, submission, oxides, {1: 150.0, 2: 120.0})
    words = "Cu by AR-7 is 120 ± 4.8 mg/kg and by OX-1 150 ± 6 mg/kg: farther apart than both U allow."
    return submission, words, {(1, "AR-7", "Cu"), (1, "OX-1", "Cu")}


CASES = (
    dissolved_above_total, dissolved_by_another_method, below_a_limit_that_nobody_sees, oxides_with_ignition,
    duplicates_apart, element_and_oxide,
)  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.__name__.replace("_", " "))
def test_a_doubt_is_told_and_is_not_approved_with_the_rest(
    case: Callable[[Laboratory], tuple[Submission, str, Asking]], lab: Laboratory, as_role: AsRole
) -> None:
    # given results of which some do not fit together, though each stands by itself
    submission, words, asking = case(lab)
    waiting = waiting_for_review(submission)
    # then the page says why
    browser = as_role("reviewer")
    assert words in shown(browser, submission)
    # and all of it together is approved by no act, while nobody looked at those
    with pytest.raises(Refusal, match="look"):
        approve_results(
            by=lab.people["reviewer"], at=lab.later(), results=waiting, looked_at=[], password=PASSWORD
        )  # fmt: skip
    # and the page, asked for everything at once, approves what fits and leaves exactly those
    sent(browser, "approve", submission, password=PASSWORD)
    assert still_waiting(submission) == asking
    sent(
        browser,
        "approve",
        submission,
        password=PASSWORD,
        **{f"d-{key}": "accept" for key in waiting_for_review(submission)},
    )
    assert not waiting_for_review(submission)


def still_waiting(submission: Submission) -> Asking:
    left = set(waiting_for_review(submission))
    chosen = newest_selections(sample_ids=list(submission.samples.values_list("pk", flat=True)))
    return {
        (row.sample.ordinal, row.method.code, row.element_id) for row in chosen.values() if row.result_id in left
    }  # fmt: skip


def test_what_fits_asks_for_nothing(lab: Laboratory, as_role: AsRole) -> None:
    """The same rules over samples that fit: an oxide that holds the element, a bottle that holds less when filtered."""
    for kind in (PlausibilityKind.SAME_BY_TWO, PlausibilityKind.DISSOLVED_AND_TOTAL):
        register_plausibility(
            by=lab.people["quality manager"], at=lab.later(), name=str(kind), kind=kind, source="invented"
        )  # fmt: skip
    oxides = as_oxides(lab)
    submission = delivered(
        lab, {"name": "weir, total", "filtered": "no"}, {"name": "weir, dissolved", "filtered": "yes"},
        methods=[lab.version, oxides],
    )  # fmt: skip
    measured(lab, submission, lab.version, {1: 120.0, 2: 90.0})
    measured(lab, submission, oxides, {1: 120.0, 2: 90.0})
    assert "results wait. Nothing stands against them." in shown(as_role("reviewer"), submission)
    assert reverse("review", args=[submission.number])
