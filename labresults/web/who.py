"""Who is asking: the person of a session, read together with what every page needs to know of them."""

from typing import Any

from django.contrib.auth.backends import ModelBackend

from labresults.models import Person
from labresults.queries.people import person_signed_in


class WithRoles(ModelBackend):
    """Django's own, but for one query where it would take one more for the roles, and one for the second factor."""

    def get_user(self, user_id: Any) -> Person | None:
        """The person of a session, while they may sign in; one query."""
        person = person_signed_in(user_id)
        return person if person is not None and self.user_can_authenticate(person) else None
