"""An act whose bytes may find no room: what is said then."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.db import OperationalError
from django.http import HttpRequest

from labresults.web.acting import attempt


def attempt_to_keep(request: HttpRequest, act: Callable[[], Any], said: str) -> Any:
    """As `attempt`; a database that cannot keep it is said in words too: nothing was kept, and no number was used.

    What the database refuses for another cause than room or a lost connection is a fault of the program, and is no
    matter of room.
    """
    try:
        return attempt(request, act, said)
    except (OSError, OperationalError) as fault:
        messages.error(request, f"It could not be kept: {fault}. Nothing was done; make room, and try again.")
        return None
