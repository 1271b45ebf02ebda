"""Who tries to sign in, from where and in which browser: what their failures count as (labresults.actions.attempts).

Known and unknown names are treated alike, so that nobody learns who works here. A stranger's failures count for the
name from the stranger's own address, for the address, and for the name in all. A browser in which somebody signed in
before counts by itself, so that no stranger can keep that person out, however long they go on.
"""

import secrets
from hashlib import sha256
from ipaddress import ip_address

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse

from labresults.actions.attempts import Limit, TooMany, limit

MOST_FAILURES, MOST_OF_ALL = 10, 50
"""Of a name from one address or in one browser; of a name, and of an address, in all (common practice, no source)."""
STOPPED = (
    "Too many attempts with this name, or from this place. Try again at {when}. A browser in which you signed in"
    " before is not stopped by what others try."
)
COOKIE, COOKIE_DAYS, MOST_NAMES = "known-browser", 180, 30


def limits_of(request: HttpRequest, name: str) -> list[Limit]:
    """What a wrong password for this name, in this request, counts as."""
    device = device_of(request, name)
    if device:
        return [limit("browser", f"{device} {_plain(name)}", MOST_FAILURES)]
    place = address_of(request)
    limits = [
        limit("name from address", f"{_plain(name)} {place}", MOST_FAILURES),
        limit("name", _plain(name), MOST_OF_ALL, is_shared=True),
    ]
    if not _is_loopback(place):  # which stands for everybody where a proxy is not told of
        limits.append(limit("address", place, MOST_OF_ALL, is_shared=True))
    return limits


def stopped(many: TooMany) -> str:
    """What somebody reads who may not try now: the same for names that are known and for those that are not."""
    return STOPPED.format(when=many.when)


def address_of(request: HttpRequest) -> str:
    """Where a request comes from: behind so many proxies of our own as the settings say; of IPv6 its network."""
    found = request.META.get("REMOTE_ADDR", "")
    passed_on = [part.strip() for part in request.META.get("HTTP_X_FORWARDED_FOR", "").split(",") if part.strip()]
    if 0 < settings.PROXIES <= len(passed_on):
        found = passed_on[-settings.PROXIES]  # what stands further left, anybody may have written
    try:
        address = ip_address(found)
    except ValueError:
        return found[:60]
    if address.version == 6 and address.ipv4_mapped:
        return str(address.ipv4_mapped)
    return f"{address.exploded[:19]}::/64" if address.version == 6 else str(address)


def device_of(request: HttpRequest, name: str) -> str:
    """The mark of a browser in which this name signed in before; "" for any other browser."""
    mark, names = _known(request)
    return mark if _digest(name) in names else ""


def remember(request: HttpRequest, response: HttpResponse, name: str) -> None:
    """Mark the browser as one in which this name signed in."""
    mark, names = _known(request)
    names = [*(known for known in names if known != _digest(name)), _digest(name)][-MOST_NAMES:]
    value = signing.dumps([mark or secrets.token_hex(16), names], salt=COOKIE)
    response.set_cookie(
        COOKIE, value, max_age=COOKIE_DAYS * 86_400, path="/sign-in", secure=settings.SESSION_COOKIE_SECURE,
        httponly=True, samesite="Lax",
    )  # fmt: skip


def _known(request: HttpRequest) -> tuple[str, list[str]]:
    try:
        mark, names = signing.loads(request.COOKIES.get(COOKIE, ""), salt=COOKIE, max_age=COOKIE_DAYS * 86_400)
    except signing.BadSignature:  # none, another one, or an old one
        return "", []
    return mark, names


def _is_loopback(place: str) -> bool:
    try:
        return ip_address(place).is_loopback
    except ValueError:
        return place.startswith("0000:0000:0000:0000") or not place


def _plain(name: str) -> str:
    return name.strip().lower()


def _digest(name: str) -> str:
    return sha256(_plain(name).encode()).hexdigest()[:16]
