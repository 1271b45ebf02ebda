"""Results as a table for further work: unrounded, one row a sample, one column an analyte with its unit."""

from typing import TYPE_CHECKING

from labresults.models import Submission
from labresults.queries.results import newest_decisions, newest_selections

if TYPE_CHECKING:
    from pandas import DataFrame


def results_frame(submission: Submission) -> "DataFrame":
    """Selected results of a submission, unrounded: index (laboratory number, client's own), four queries.

    Columns are (method, "Cu, mg/kg", what) with what of value, detection limit, U and state; a value below its
    detection limit stands as measured, its limit beside it: this table is for work, a certificate is for clients.
    """
    import pandas as pd  # noqa: PLC0415  (most of a second, for those who ask for a table only)

    samples = {sample.pk: sample for sample in submission.samples.filter(struck_at=None).order_by("ordinal")}
    selections = newest_selections(sample_ids=list(samples))
    decided = newest_decisions([selection.result_id for selection in selections.values()])
    rows = [
        {
            "number": samples[sample].number,
            "own": samples[sample].client_identification,
            "method": selection.result.evaluation.run.method_version.method.code,
            "analyte": f"{selection.result.reported_as}, {selection.result.unit}",
            "value": selection.result.value,
            "detection limit": selection.result.detection_limit,
            "U": selection.result.expanded_u,
            "state": decided[selection.result_id].review.decision if selection.result_id in decided else "not reviewed",
        }
        for (sample, _, _), selection in selections.items()
    ]
    long = pd.DataFrame(rows, columns=["number", "own", "method", "analyte", "value", "detection limit", "U", "state"])
    wide = long.pivot(
        index=["number", "own"], columns=["method", "analyte"], values=["value", "detection limit", "U", "state"]
    )
    return wide.reorder_levels([1, 2, 0], axis="columns").sort_index(axis="columns").sort_index()
