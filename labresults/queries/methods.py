"""Methods and their versions, read. Each function says how many database queries it makes."""

from datetime import date

from labresults.models import MethodVersion


def current_versions(on: date) -> dict[str, MethodVersion]:
    """The version of each method that is valid on a day, by the method's code; one query."""
    rows = MethodVersion.objects.filter(valid_from__lte=on).select_related("method").order_by("version")
    return {row.method.code: row for row in rows if row.valid_to is None or row.valid_to >= on}
