"""Runs that tests plan, and what the record says of them."""

import json

from labresults.actions.runs import plan_run
from labresults.models import AuditEvent, PreparationBatch, Run, TestPortion
from tests.builders import (
    Laboratory,
    a_run,
    a_submission,
    a_weighed_batch,
)


def a_planned_run(lab: Laboratory, count: int = 3) -> Run:
    return a_run(lab, a_weighed_batch(lab, a_submission(lab, count)))


def portions_of(batch: PreparationBatch) -> list[TestPortion]:
    return list(batch.portions.order_by("tube"))


def planned(lab: Laboratory, portions: list[TestPortion], **given: object) -> Run:
    return plan_run(
        **{
            "by": lab.people["analyst"], "at": lab.later(), "method_version": lab.version, "portions": portions,
            "instrument": lab.spectrometer,
        }
        | given
    )  # fmt: skip


def labels(run: Run) -> list[str]:
    return list(run.positions.order_by("number").values_list("label", flat=True))


def record_of(run: Run) -> dict[str, object]:
    return event_of(run)["after"]  # type: ignore[return-value]


def event_of(run: Run) -> dict[str, object]:
    return dict(json.loads(AuditEvent.objects.get(act="plan_run", subject=run.number).content))
