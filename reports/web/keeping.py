"""An act whose bytes may find no room: what is said then."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.db import DatabaseError
from django.http import HttpRequest

from labresults.web.acting import attempt
from reports.issuing import means_no_room


def attempt_to_keep(request: HttpRequest, act: Callable[[], Any], said: str) -> Any:
    """As `attempt`; a full disk is said in words too: nothing was kept, and no number was used.

    What the database refuses for another cause is a fault of the program, and is no matter of room.
    """
    try:
        return attempt(request, act, said)
    except (OSError, DatabaseError) as fault:
        if not means_no_room(fault):
            raise
        messages.error(request, f"It could not be kept: {fault}. Nothing was done; make room, and try again.")
        return None
