"""What a program is told of a run, ready for JSON."""

from typing import Any

from labresults.models import Run
from labresults.queries.run_imports import plan_of


def run_said(run: Run) -> dict[str, Any]:
    """How a run stands, its run list, the lines that are read and those that are not, and its files; six queries."""
    plan = plan_of(run)
    evaluation = run.evaluations.order_by("-version").values_list("version", flat=True).first()
    files = run.files.order_by("pk").values_list("name", "sha256", "made_at")
    return {
        "run": run.number,
        "method": str(run.method_version),
        "instrument": run.instrument.code,
        "state": _state(is_read=plan.is_read, is_begun=bool(plan.there), evaluation=evaluation),
        "evaluation": evaluation,
        "lines read": sorted(plan.there),
        "lines not read": sorted(set(plan.lines) - plan.there),
        "files": [{"name": name, "sha256": sha256, "taken": at.isoformat()} for name, sha256, at in files],
        "positions": [
            {"position": number, "rack": rack, "cup": cup, "label": label, "role": str(role), "dilution": dilution}
            for number, rack, cup, label, role, dilution in run.positions.order_by("number").values_list(
                "number", "rack", "cup", "label", "role", "dilution"
            )
        ],
    }


def _state(*, is_read: bool, is_begun: bool, evaluation: int | None) -> str:
    if evaluation is not None:
        return "evaluated"
    return "read" if is_read else "partly read" if is_begun else "planned"
