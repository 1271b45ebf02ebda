"""Remarks beside a result: for whoever reviews or traces it, never printed."""

from datetime import datetime

from labresults.acts import BadInput, Done, act
from labresults.models import Person, Result, ResultComment


@act("comment_result")
def comment_result(*, by: Person, at: datetime, reason: str, result: Result, text: str) -> Done[ResultComment]:
    """Remark something beside a result. It changes nothing, and stays. Raises BadInput without words."""
    words = text.strip()
    if not words:
        raise BadInput("Write what is to be remarked.")
    row = ResultComment.objects.create(result=result, text=words, made_by=by, made_at=at)
    where = result.sample.number if result.sample else result.position.label
    return Done(
        row, subject=("sample", where), after={"result": result.pk, "element": result.element_id, "comment": words}
    )
