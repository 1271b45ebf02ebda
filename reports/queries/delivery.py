"""What a client gets, and who of it. Each function says how many database queries it makes."""

from typing import TYPE_CHECKING

from labresults.queries.people import people_of_client
from reports.delivery import DeliveryLayout
from reports.models import Certificate, Recipient
from reports.models import DeliveryLayout as LayoutRow

if TYPE_CHECKING:
    from labresults.models import Client, Person


def recipients_of(client: "Client") -> list[Recipient]:
    """Who of a client gets documents: the newest row of each address, where it is active; one query."""
    newest = {row.email.lower(): row for row in client.recipients.order_by("pk")}
    return [row for row in newest.values() if row.is_active]


def people_of(client: "Client") -> list["Person"]:
    """The client's people who can sign in; one query."""
    return list(people_of_client(client.pk))


def layouts_of(client: "Client") -> list[LayoutRow]:
    """The layouts agreed with a client: the newest row of each name, where it is active; one query."""
    newest = {row.name: row for row in client.delivery_layouts.order_by("pk")}
    return [row for row in newest.values() if row.is_active]


def layout_of(client: "Client", name: str) -> DeliveryLayout:
    """One layout by its name; one query. Raises DeliveryLayout.DoesNotExist (of the models)."""
    found = next((row for row in layouts_of(client) if row.name == name), None)
    if found is None:
        raise LayoutRow.DoesNotExist(f"No layout “{name}” is agreed with {client}.")
    return DeliveryLayout.from_json(found.specification)


def newest_certificate(client: "Client") -> Certificate | None:
    """The client's newest certificate, to show what a layout makes of it; one query."""
    return Certificate.objects.filter(submission__client=client).order_by("-pk").first()
