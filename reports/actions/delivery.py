"""What a client gets, how it is laid out, and who of it gets it."""

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from labresults.acts import BadInput, Done, act
from reports.delivery import DeliveryLayout
from reports.models import FILE_KINDS, Recipient
from reports.models import DeliveryLayout as LayoutRow
from reports.queries.delivery import layouts_of

if TYPE_CHECKING:
    from labresults.models import Client, Person


@act("save_delivery_layout")
def save_delivery_layout(
    *,
    by: "Person",
    at: datetime,
    reason: str,
    client: "Client",
    layout: DeliveryLayout,
    agreed: str = "",
    is_active: bool = True,
) -> Done[LayoutRow]:
    """Save how a client wants its files laid out; the newest one of a name stands.

    agreed: the written request, by its date or letter. Raises BadInput where the layout hides what was printed and no
    written request is named.
    """
    unusual = layout.needs_agreement
    if unusual and not agreed.strip() and is_active:
        raise BadInput(f"Only by written request: {'; '.join(unusual)}. Name the request, with its date.")
    row = LayoutRow.objects.create(
        client=client,
        name=layout.name,
        specification=layout.to_json(),
        agreed=agreed.strip(),
        is_active=is_active,
        made_by=by,
        made_at=at,
    )
    after = {"layout": layout.name, "specification": row.specification, "agreed": row.agreed, "active": is_active}
    return Done(row, subject=("client", client.code), after=after)


@act("register_recipient")
def register_recipient(
    *,
    by: "Person",
    at: datetime,
    reason: str,
    client: "Client",
    name: str,
    email: str,
    documents: Sequence[str] = (),
    is_active: bool = True,
) -> Done[Recipient]:
    """Enter who of a client is told of its certificates, and of which files; the newest row of an address stands.

    documents: kinds of files and names of the client's layouts; none: all files. Raises BadInput for one that is not
    known, or without a name.
    """
    if not name.strip():
        raise BadInput("Say who it is.")
    known = {*FILE_KINDS, *(row.name for row in layouts_of(client))}
    if unknown := sorted(set(documents) - known):
        raise BadInput(f"There is no file or layout {', '.join(unknown)} for {client}: {', '.join(sorted(known))}.")
    row = Recipient.objects.create(
        client=client,
        name=name.strip(),
        email=email.strip(),
        documents=list(documents),
        is_active=is_active,
        made_by=by,
        made_at=at,
    )
    after = {"recipient": row.name, "email": row.email, "documents": row.documents, "active": is_active}
    return Done(row, subject=("client", client.code), after=after)
