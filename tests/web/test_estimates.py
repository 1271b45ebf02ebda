"""Limits, interferences and precision of a method: looked at, estimated, taken up into the next version."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from labresults.actions.evaluation import evaluate_run
from labresults.models import InterferenceEstimate, LimitEstimate, MethodVersion
from labresults.terms import Role
from tests.builders import (
    Laboratory,
    a_reading_file,
    a_run,
    a_run_with_copper_alone,
    a_submission,
    a_weighed_batch,
    an_imported_file,
)

AsRole = Callable[[str], Client]


def test_a_limit_is_set_by_hand_and_taken_up(lab: Laboratory, as_role: AsRole) -> None:
    page = reverse("method-limits", args=["AR-7"])
    browser = as_role("quality manager")
    # when a limit is set by hand without a reason, it is refused in words
    asked = f"{page}?line=Cu 324.754"
    answer = browser.post(asked, {"procedure": "set by hand", "detection": "0.02"}, follow=True)
    assert "needs a reason" in answer.content.decode()
    # with one it stands on the page, and the method is what it was
    browser.post(asked, {"procedure": "set by hand", "detection": "0.02", "reason": "validated"})
    row = LimitEstimate.objects.get()
    assert "0.02" in browser.get(page).content.decode()
    assert lab.version.lines.get(line__element="Cu").detection_limit == 0.01
    # when it is taken up, the next version has it
    line = lab.version.lines.get(line__element="Cu").pk
    browser.post(
        reverse("take-up-limits", args=["AR-7"]),
        {"valid_from": "2026-12-01", "reason": "limits of November", f"detection_limit-{line}": str(row.pk)},
    )
    newest = MethodVersion.objects.latest("version")
    assert (newest.version, newest.lines.get(line__element="Cu").detection_limit) == (2, 0.02)


def test_duplicates_and_reference_materials_say_how_good_a_line_is(lab: Laboratory, as_role: AsRole) -> None:
    # given six runs, in which the reference material is found at 98 to 103 % for copper
    for number, found in enumerate((0.98, 1.00, 1.01, 0.99, 1.03, 1.02)):
        run = a_run(lab, a_weighed_batch(lab, a_submission(lab, 1, names=[f"sample {number}"])))
        material = run.positions.get(role=Role.REFERENCE_MATERIAL).label
        an_imported_file(lab, run, a_reading_file(run, factors={(material, "Cu"): found}))
        evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    browser = as_role("quality manager")
    words = browser.get(reverse("method-precision", args=["AR-7"])).content.decode().replace("\u00a0", " ")
    # then the page gives their mean, 100.5 %, and their spread, 1.87 % (of these six numbers)
    assert "GC-17, 6 values of 6 runs: found 100.5 %, spread 1.87 %" in words
    # and the next version takes the spread up as its precision
    line = lab.version.lines.get(line__element="Cu").pk
    browser.post(
        reverse("take-up-precision", args=["AR-7"]),
        {"valid_from": "2026-12-01", "reason": "six runs", f"u_precision-{line}": "on"},
    )
    newest = MethodVersion.objects.latest("version")
    assert newest.lines.get(line__element="Cu").u_precision == pytest.approx(0.018708, rel=1e-3)
    assert newest.lines.get(line__element="Pb").u_precision is None


def test_a_solution_of_one_element_gives_coefficients(lab: Laboratory, as_role: AsRole) -> None:
    evaluation = a_run_with_copper_alone(lab)
    page = reverse("method-interferences", args=["AR-7"])
    browser = as_role("quality manager")
    assert f"Determine from {evaluation.run}" in browser.get(page).content.decode()
    browser.post(reverse("determine-interferences", args=["AR-7"]), {"evaluation": evaluation.pk})
    # copper alone, 8 mg/L, reads as 0.04 mg/L of lead: 0.005 for each mg/L
    row = InterferenceEstimate.objects.get(line__element="Pb")
    assert (row.element_id, row.apparent) == ("Cu", pytest.approx(0.005, rel=1e-6))
    # when it is asked for twice there is nothing more to determine
    browser.post(reverse("determine-interferences", args=["AR-7"]), {"evaluation": evaluation.pk})
    assert InterferenceEstimate.objects.count() == 1
    browser.post(
        reverse("take-up-interferences", args=["AR-7"]),
        {"valid_from": "2026-12-01", "reason": "found", f"take-{row.pk}": "on"},
    )
    newest = MethodVersion.objects.latest("version")
    assert newest.lines.get(line__element="Pb").interferences == {"Cu": pytest.approx(0.005, rel=1e-6)}
