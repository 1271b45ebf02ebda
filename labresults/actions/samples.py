"""What reception and the quality manager enter once: clients, matrices; and results in words."""

from collections.abc import Sequence
from datetime import datetime

from labresults.acts import BadInput, Done, act
from labresults.models import (
    Client,
    Element,
    Matrix,
    Method,
    NotMeasuredResult,
    Person,
    Sample,
)
from labresults.terms import NotMeasured


@act("register_client")
def register_client(
    *,
    by: Person,
    at: datetime,
    reason: str,
    code: str,
    name: str,
    address: str = "",
    contact: str = "",
    email: str = "",
    ore_grade_consent: str = "",
) -> Done[Client]:
    """Enter a client. ore_grade_consent: who agreed, for good, to the ore-grade method where a sample needs it.

    Raises BadInput when the code or name is taken.
    """
    if Client.objects.filter(code=code).exists() or Client.objects.filter(name=name).exists():
        raise BadInput(f"There is a client {code} or {name} already.")
    client = Client.objects.create(
        code=code, name=name, address=address, contact=contact, email=email, ore_grade_consent=ore_grade_consent
    )
    after = {"name": name, "address": address, "contact": contact, "ore-grade consent": ore_grade_consent}
    return Done(client, subject=("client", code), after=after)


@act("register_matrices")
def register_matrices(*, by: Person, at: datetime, reason: str, area: str, names: Sequence[str]) -> Done[list[Matrix]]:
    """Enter the words for what is delivered in one area of work; words that are known stay as they are."""
    known = set(Matrix.objects.filter(name__in=names).values_list("name", flat=True))
    new = [name for name in names if name not in known]
    Matrix.objects.bulk_create(Matrix(name=name, area=area) for name in new)
    return Done(list(Matrix.objects.filter(name__in=names)), subject=("matrices", area), after={"new": new})


@act("state_not_measured")
def state_not_measured(
    *,
    by: Person,
    at: datetime,
    reason: str,
    sample: Sample,
    method: Method,
    word: NotMeasured,
    element: Element | None = None,
) -> Done[NotMeasuredResult]:
    """Give a result in words for a method (or one element of it). Raises BadInput without a reason."""
    if not reason:
        raise BadInput(f"“{word}” needs a reason that a client can read.")
    row = NotMeasuredResult.objects.create(
        sample=sample, method=method, element=element, word=word, reason=reason, made_by=by, made_at=at
    )
    return Done(
        row,
        subject=("sample", sample.number),
        after={"method": method.code, "element": element.pk if element else "all", "word": str(word)},
    )
