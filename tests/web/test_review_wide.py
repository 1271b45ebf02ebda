"""Review of many elements and of two methods: few queries whatever the size, and a signature under one method."""

import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace
from datetime import date

from django.test import Client
from django.urls import reverse

from labresults.actions.batches import begin_batch
from labresults.actions.delivery import receive_samples
from labresults.actions.evaluation import evaluate_run
from labresults.actions.materials import register_lot, register_material
from labresults.actions.methods import add_method_version
from labresults.actions.runs import plan_run
from labresults.actions.weighings import Weighed, record_weighings
from labresults.models import MethodVersion, Result, Run, Submission
from labresults.queries.results import waiting_for_review
from labresults.readers.delivery import DeliveredSample
from labresults.terms import BlankRule, Curve, MaterialKind, SolutionKind, Weighting
from tests.builders import NOW, PASSWORD, Laboratory, a_method, an_evaluated_run, an_imported_file

AsRole = Callable[[str], Client]

ELEVEN = ("Al", "As", "Cd", "Cr", "Cu", "Fe", "Mn", "Ni", "Pb", "Sb", "Zn")

LEVELS = {"MIX-0": 0.0, "MIX-1": 0.05, "MIX-2": 10.0}
"""mg/L of each of the eleven."""


def a_method_of_eleven(lab: Laboratory) -> MethodVersion:
    """Eleven elements, three standards, no control samples."""
    quality = lab.people["quality manager"]
    for code, level in LEVELS.items():
        material = register_material(by=quality, at=NOW, code=code, name=code, kind=MaterialKind.STANDARD)
        register_lot(
            by=quality, at=NOW, number=f"L-{code}", material=material, received_on=date(2026, 1, 5),
            expires_on=date(2027, 1, 5), contents=[{"element": e, "value": level, "unit": "mg/L"} for e in ELEVEN],
        )  # fmt: skip
    line = {
        "label": "1", "rank": 1, "curve": Curve.LINE, "weighting": Weighting.INVERSE_X2, "range_top": 10.0,
        "detection_limit": 0.01, "quantification_limit": 0.05, "u_floor": 0.003, "u_relative": 0.02,
    }  # fmt: skip
    version = {
        "what_was_done": "acid, to 50 mL", "dissolution": "acid", "solution_kind": SolutionKind.MASS_IN_VOLUME,
        "solution_unit": "mg/L", "blank_rule": BlankRule.JUDGE, "mass_low_g": 0.45, "mass_high_g": 0.55,
        "volume_mL": 50.0, "batch_size": 80, "weights_edition": "CIAAW 2024", "uncertainty_basis": "invented",
    }  # fmt: skip
    return add_method_version(
        by=quality, at=NOW, code="WIDE-11", title="Eleven", area="geochemistry", valid_from=date(2026, 1, 1),
        version=version, matrices=["soil"], lines=[{"element": e, **line} for e in ELEVEN],
        determinations=[{"element": e, "unit": "mg/kg"} for e in ELEVEN], criteria=[], standards=list(LEVELS),
        controls=[],
    )  # fmt: skip


def sixty_samples_of_eleven(lab: Laboratory) -> Submission:
    """Prepared, measured and evaluated, nobody has said anything of them."""
    version, people = a_method_of_eleven(lab), lab.people
    rows = [DeliveredSample(row, f"hole {row}", "soil", "30") for row in range(1, 61)]
    submission = receive_samples(
        by=people["reception"], at=lab.later(), client=lab.client, rows=rows, methods=[version.method]
    )
    samples = list(submission.samples.order_by("ordinal"))
    batch = begin_batch(
        by=people["preparer"], at=lab.later(), method_version=version, samples=samples, caution_read=True
    )
    portions = list(batch.portions.order_by("tube"))
    weighed = [Weighed(portion.label, mass_g=0.5, volume_mL=50.0) for portion in portions]
    record_weighings(by=people["preparer"], at=lab.later(), batch=batch, balance=lab.balance, rows=weighed)
    run = plan_run(
        by=people["analyst"], at=lab.later(), method_version=version, portions=portions, instrument=lab.spectrometer
    )
    an_imported_file(lab, run, eleven_readings(run))
    evaluate_run(by=people["analyst"], at=lab.later(), run=run)
    return submission


def eleven_readings(run: Run) -> bytes:
    """1000 counts/s for each mg/L; samples hold 2 mg/L of everything."""
    lines = ["position,label,line,reading 1,reading 2"]
    for position in run.positions.select_related("lot__material").order_by("number"):
        level = LEVELS[position.lot.material.code] if position.lot else 2.0
        for element in ELEVEN:
            lines.append(f"{position.number},{position.label},{element} 1,{1000 * level},{1000 * level + 2}")
    return "\n".join(lines).encode()


def test_sixty_samples_of_eleven_elements_take_few_queries(
    lab: Laboratory, as_role: AsRole, django_assert_max_num_queries: Callable[..., AbstractContextManager[object]]
) -> None:
    submission = sixty_samples_of_eleven(lab)
    browser, address = as_role("reviewer"), reverse("review", args=[submission.number])
    with django_assert_max_num_queries(30):
        page = browser.get(address).content.decode()
    keys = re.findall(r'<a class="n" [^>]*hx-get="\?cell=(\d+)"', page)
    assert len(set(keys)) == 660
    with django_assert_max_num_queries(30):
        alone = browser.get(address, {"cell": keys[-1]}, headers={"HX-Request": "true"})
    assert "Zn in" in alone.content.decode()


def test_one_method_is_signed_and_the_other_waits(lab: Laboratory, as_role: AsRole) -> None:
    second = a_method(lab.people["quality manager"], "AR-8")
    rows = [DeliveredSample(1, "hole 1", "soil", "30")]
    methods = [lab.method, second.method]
    submission = receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, rows=rows, methods=methods
    )
    for version in (lab.version, second):
        an_evaluated_run(replace(lab, method=version.method, version=version), submission)
    browser = as_role("reviewer")
    page = browser.get(reverse("review", args=[submission.number])).content.decode()
    assert [method in page for method in ("only by AR-7", "only by AR-8")] == [True, True]

    given = {"password": PASSWORD, "meaning": "Reviewed and approved", "method": "AR-8"}
    given["seen"] = re.findall(r'name="seen" value="(\w+)"', page)[0]
    browser.post(reverse("approve", args=[submission.number]), given)
    left = Result.objects.filter(pk__in=waiting_for_review(submission))
    codes = left.values_list("evaluation__run__method_version__method__code", "element").order_by("element")
    assert list(codes) == [("AR-7", "Cu"), ("AR-7", "Pb")]
