"""What the frame of every page shows."""

from typing import Any

from django.http import HttpRequest


def ribbon(request: HttpRequest) -> dict[str, Any]:
    """The five stations with what waits at each."""
    return {}
