"""A person's second factor (RFC 6238), read. Each function says how many database queries it makes."""

import re
from datetime import datetime
from hashlib import sha256
from hmac import compare_digest

import pyotp

from labresults.models import Person, RecoveryCode, SecondFactor, UsedCode

STEP_S = 30
DRIFT_STEPS = 1
"""A code is taken one step early or late as well (RFC 6238, 5.2 and 6): clocks of telephones drift."""


def standing_factor(person: Person) -> SecondFactor | None:
    """The second factor that is asked for when somebody signs; one query. None where they have none."""
    return SecondFactor.objects.filter(person=person, end__isnull=True).order_by("-pk").first()


def new_secret() -> str:
    """A secret that was never used, 160 bits in base 32 (RFC 4226, 4: recommended); no query."""
    return str(pyotp.random_base32(32))


def address_of(secret: str, person: Person, laboratory: str) -> str:
    """What the two-dimensional code holds that a telephone reads; no query."""
    return str(pyotp.TOTP(secret, interval=STEP_S).provisioning_uri(name=person.username, issuer_name=laboratory))


def step_of(secret: str, code: str, at: datetime) -> int | None:
    """Which step of 30 s since 1970 a code of six digits stands for, at most one from now; None: none of them."""
    written = "".join(code.split())
    now = int(at.timestamp()) // STEP_S
    totp = pyotp.TOTP(secret, interval=STEP_S)
    steps = range(max(0, now - DRIFT_STEPS), now + DRIFT_STEPS + 1)
    return next((step for step in steps if compare_digest(totp.at(step * STEP_S).encode(), written.encode())), None)


def was_used(factor: SecondFactor, step: int) -> bool:
    """Whether the code of a step, or of a later one, was taken before: it is not taken again; one query."""
    return UsedCode.objects.filter(factor=factor, step__gte=step).exists()


def has_second_factor(person: Person) -> bool:
    """Whether a code is asked for when somebody signs; one query, none of who has just come in by a session."""
    known: bool | None = getattr(person, "has_code", None)
    return known if known is not None else SecondFactor.objects.filter(person=person, end__isnull=True).exists()


def is_recovery_code(written: str) -> bool:
    """Whether what somebody typed is meant as a recovery code, and not as six digits; no query."""
    return len(_plain(written)) > 8


def digest_of(code: str) -> str:
    """SHA-256 [hex] of a recovery code, however it was typed; no query."""
    return sha256(_plain(code).encode()).hexdigest()


def unused_code(factor: SecondFactor, code: str) -> RecoveryCode | None:
    """The recovery code of the factor's newest issue that was typed, if it was not used; one query."""
    standing = factor.recovery_codes.order_by("-issue").values("issue")[:1]
    return factor.recovery_codes.filter(sha256=digest_of(code), issue=standing, use__isnull=True).first()


def codes_left(factor: SecondFactor) -> int:
    """How many recovery codes of the newest issue were not used yet; one query."""
    standing = factor.recovery_codes.order_by("-issue").values("issue")[:1]
    return factor.recovery_codes.filter(issue=standing, use__isnull=True).count()


def _plain(written: str) -> str:
    """Letters and digits alone, in capitals."""
    return re.sub(r"[^A-Z0-9]", "", written.upper())
