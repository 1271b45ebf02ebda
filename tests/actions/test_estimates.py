"""Limits are estimated from evaluated runs; the method changes only by its next version."""

from datetime import date
from statistics import stdev

import pytest

from labresults.actions.estimates import estimate_limit
from labresults.actions.evaluation import evaluate_run
from labresults.actions.revisions import revise_method_version
from labresults.acts import BadInput, WrongState
from labresults.models import AuditEvent, LimitEstimate, MethodVersion
from labresults.queries.estimates import BLANKS, found_values
from labresults.terms import LimitProcedure, LimitQuantity, Role
from tests.builders import (
    Laboratory,
    a_reading_file,
    a_run,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    an_imported_file,
)

BLANK_CONTENTS = (0.009, 0.012, 0.007, 0.010, 0.011, 0.008, 0.013, 0.010, 0.006, 0.014)
"""Copper in ten invented method blanks, mg/L; mean 0.010."""


def ten_blanks(lab: Laboratory) -> None:
    """Ten runs, each with one method blank that holds a little copper."""
    for content in BLANK_CONTENTS:
        run = a_run(lab, a_weighed_batch(lab, a_submission(lab, 1, names=[f"beside {content}"])))
        blank = run.positions.get(role=Role.METHOD_BLANK).label
        an_imported_file(lab, run, a_reading_file(run, contents={blank: {"Cu": content, "Pb": 0.0}}))
        evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)


def copper(lab: Laboratory) -> object:
    return lab.version.lines.get(line__element="Cu").line


def test_a_limit_by_hand_needs_a_reason_and_says_which_quantity_it_is(lab: Laboratory) -> None:
    given = {
        "by": lab.people["quality manager"], "version": lab.version, "line": copper(lab),
        "procedure": LimitProcedure.BY_HAND, "by_hand": {LimitQuantity.DETECTION: 0.02},
    }  # fmt: skip
    with pytest.raises(BadInput, match="needs a reason"):
        estimate_limit(at=lab.later(), **given)
    (row,) = estimate_limit(at=lab.later(), reason="agreed in the validation report", **given)
    assert (row.quantity, row.value, row.unit, row.count) == (LimitQuantity.DETECTION, 0.02, "mg/L", 0)
    assert AuditEvent.objects.latest("seq").act == "estimate_limit"


def test_ten_blanks_of_ten_runs_give_limits_that_name_what_they_stand_on(lab: Laboratory) -> None:
    ten_blanks(lab)
    blanks = [each.key for each in found_values(lab.version, copper(lab).pk, BLANKS)]
    given = {"by": lab.people["analyst"], "version": lab.version, "procedure": LimitProcedure.BLANKS}
    # when nine are chosen, they are too few, and nothing is stored
    with pytest.raises(BadInput, match="9 blanks were chosen"):
        estimate_limit(at=lab.later(), line=copper(lab), blanks=blanks[:9], **given)
    assert not LimitEstimate.objects.exists()
    # when all ten are, three and ten standard deviations are stored, with what they stand on
    detection, quantification = estimate_limit(at=lab.later(), line=copper(lab), blanks=blanks, **given)
    s = stdev(BLANK_CONTENTS)
    assert detection.value == pytest.approx(3 * s, rel=1e-6)
    assert (quantification.value, quantification.count) == (pytest.approx(10 * s, rel=1e-6), 10)
    assert sorted(found for _, _, found in detection.inputs) == pytest.approx(sorted(BLANK_CONTENTS), rel=1e-6)
    # and lead, which no blank holds, has no limit of this kind
    lead = lab.version.lines.get(line__element="Pb").line
    of_lead = [each.key for each in found_values(lab.version, lead.pk, BLANKS)]
    with pytest.raises(BadInput, match="do not differ"):
        estimate_limit(at=lab.later(), line=lead, blanks=of_lead, **given)


def test_the_curve_of_a_run_gives_three_limits(lab: Laboratory) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab, 1), factors={("STD 1", "Cu"): 1.02, ("STD 2", "Cu"): 0.99})
    curve = evaluation.calibrations.get(line=copper(lab))
    rows = estimate_limit(
        by=lab.people["analyst"], at=lab.later(), version=lab.version, line=copper(lab),
        procedure=LimitProcedure.CALIBRATION, calibration=curve,
    )  # fmt: skip
    assert [row.quantity for row in rows] == list(LimitQuantity)
    assert rows[0].inputs == [[evaluation.run.number, point[1], point[2]] for point in curve.points if point[1]]


def test_the_next_version_is_a_copy_with_only_what_changes(lab: Laboratory) -> None:
    old = lab.version
    new = revise_method_version(
        by=lab.people["quality manager"], at=lab.later(), reason="limits of November", version=old,
        valid_from=date(2026, 12, 1), line_changes={"Cu 324.754": {"detection_limit": 0.02}},
    )  # fmt: skip
    assert (new.version, new.valid_from) == (old.version + 1, date(2026, 12, 1))
    assert new.lines.get(line__element="Cu").detection_limit == 0.02
    assert new.lines.get(line__element="Pb").detection_limit == old.lines.get(line__element="Pb").detection_limit
    assert MethodVersion.objects.get(pk=old.pk).lines.get(line__element="Cu").detection_limit == 0.01
    for related in ("determinations", "criteria", "standards", "controls", "matrices"):
        assert getattr(new, related).count() == getattr(old, related).count()
    event = AuditEvent.objects.latest("seq")
    assert '"detection_limit":0.01' in event.content
    assert '"detection_limit":0.02' in event.content


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"line_changes": {"Cu 327.393": {"detection_limit": 0.02}}}, "has no line Cu 327.393"),
        ({"line_changes": {"Cu 324.754": {"colour": 1}}}, "colour cannot be changed"),
        ({"line_changes": {"Cu 324.754": {"detection_limit": 0.06}}}, "not in order"),
        ({"line_changes": {"Cu 324.754": {"detection_limit": float("nan")}}}, "not in order"),
        ({"version_changes": {"version": 9}}, "version cannot be changed"),
        ({}, "Nothing changes"),
        ({"valid_from": date(2026, 1, 1), "version_changes": {"coverage_factor": 3.0}}, "must begin later"),
        ({"reason": "", "version_changes": {"coverage_factor": 3.0}}, "Say why"),
    ],
)
def test_a_version_that_cannot_be_is_refused_in_words(lab: Laboratory, changes: dict[str, object], words: str) -> None:
    given = {"reason": "try", "valid_from": date(2026, 12, 1)} | changes
    with pytest.raises(BadInput, match=words):
        revise_method_version(by=lab.people["quality manager"], at=lab.later(), version=lab.version, **given)
    assert lab.method.versions.count() == 1


def test_only_the_newest_version_is_revised(lab: Laboratory) -> None:
    given = {"by": lab.people["quality manager"], "reason": "k", "version_changes": {"coverage_factor": 3.0}}
    revise_method_version(at=lab.later(), version=lab.version, valid_from=date(2026, 12, 1), **given)
    with pytest.raises(WrongState, match="came after AR-7 v1 already"):
        revise_method_version(at=lab.later(), version=lab.version, valid_from=date(2026, 12, 2), **given)
