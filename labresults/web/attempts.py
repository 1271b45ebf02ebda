"""How often somebody may try to sign in: ten failures of a name in 15 minutes, then none for 15 minutes.

Known and unknown names are treated alike, so that nobody learns who works here. Counted in the cache of the site.
"""

from datetime import datetime, timedelta
from hashlib import sha256

from django.core.cache import cache

MOST_FAILURES = 10
WINDOW = timedelta(minutes=15)
TOO_MANY = "Too many attempts with this name. Wait 15 minutes, then try again."


def is_stopped(name: str, at: datetime) -> bool:
    """Whether a name may not be tried now."""
    return len(_recent(name, at)) >= MOST_FAILURES


def failed(name: str, at: datetime) -> None:
    """Count a failure of a name; the tenth in 15 minutes stops it for as long."""
    recent = [*_recent(name, at), at]
    if len(recent) >= MOST_FAILURES:
        recent = [at] * MOST_FAILURES  # 15 minutes from the last one
    cache.set(_key(name), recent, 2 * WINDOW.total_seconds())


def succeeded(name: str) -> None:
    """Forget the failures of a name."""
    cache.delete(_key(name))


def _recent(name: str, at: datetime) -> list[datetime]:
    found: list[datetime] = cache.get(_key(name), [])
    return [one for one in found if at - one < WINDOW]


def _key(name: str) -> str:
    return f"attempts-{sha256(name.strip().lower().encode()).hexdigest()}"
