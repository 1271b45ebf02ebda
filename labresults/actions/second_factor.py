"""A second factor beside the password: turned on, turned off, and asked for (RFC 6238; 21 CFR 11.200(a)(1)).

Turning it on or off ends every session of the person: whoever came in by what was asked for before comes in anew.
"""

import secrets
from dataclasses import dataclass
from datetime import datetime

from django.db.models import F, Max

from labresults.actions.signatures import NotShown, counted_code, counted_signature
from labresults.acts import BadInput, Done, NotAuthorised, WrongState, act
from labresults.models import Person, RecoveryCode, SecondFactor, SecondFactorEnd, UsedCode, UsedRecoveryCode
from labresults.queries.second_factor import (
    digest_of,
    is_recovery_code,
    standing_factor,
    step_of,
    unused_code,
    was_used,
)

WRONG_CODE = "The six digits are not right, or were used already. Wait for the next ones."
CODES, FOURS = 8, 4
"""Recovery codes made together, and groups of four letters in each: 80 bits, which need no slow digest."""
_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"  # none that look alike


@dataclass(frozen=True)
class TurnedOn:
    """A second factor and its recovery codes. The codes are nowhere else, and cannot be shown again."""

    factor: SecondFactor
    codes: tuple[str, ...]


@act("turn_on_second_factor")
def turn_on_second_factor(*, by: Person, at: datetime, reason: str, secret: str, code: str) -> Done[TurnedOn]:
    """Turn on the second factor of whoever asks; a code shows that their device holds the secret.

    Raises BadInput for a wrong code, WrongState where one is on already. The secret is on no event.
    """
    if standing_factor(by):
        raise WrongState("Your second factor is on already. Turn it off first, then on with the new device.")
    step = step_of(secret, code, at)
    if step is None:
        raise BadInput(f"{WRONG_CODE} The clock of the device must be right to half a minute.")
    factor = SecondFactor.objects.create(person=by, secret=secret, made_by=by, made_at=at)
    UsedCode.objects.create(factor=factor, step=step)
    _end_sessions(by)
    codes = _recovery_codes(factor, by, at)
    said = {"second factor": "on", "recovery codes": len(codes)}
    return Done(TurnedOn(factor, codes), subject=("person", by.username), after=said)


@act("make_recovery_codes", around=counted_signature)
def make_recovery_codes(*, by: Person, at: datetime, reason: str, password: str) -> Done[tuple[str, ...]]:
    """Make recovery codes anew; those from before are taken no more. Whoever lost the device gives one instead.

    Raises NotAuthorised for a wrong password, WrongState where no second factor is on.
    """
    confirm_password(by, password, "nothing was changed")
    factor = standing_factor(by)
    if factor is None:
        raise WrongState("No second factor is on. Turn it on first.")
    codes = _recovery_codes(factor, by, at)
    return Done(codes, subject=("person", by.username), after={"recovery codes": len(codes)})


@act("turn_off_second_factor", around=counted_signature)
def turn_off_second_factor(
    *, by: Person, at: datetime, reason: str, password: str, person: Person | None = None
) -> Done[SecondFactorEnd]:
    """Turn off one's own second factor, or, for a laboratory manager, that of somebody who lost the device.

    Raises BadInput without a reason, NotAuthorised for a wrong password or another's factor, WrongState where none
    is on.
    """
    of = person or by
    if not reason:
        raise BadInput("Say why it is turned off.")
    confirm_password(by, password, "nothing was changed")
    if of != by and not by.has_perm("labresults.enrol_person"):
        raise NotAuthorised("Only a laboratory manager turns off the second factor of somebody else.")
    end = end_factor(of, by, at, reason)
    return Done(end, subject=("person", of.username), before={"second factor": "on"}, after={"second factor": "off"})


@act("sign_in_with_code", around=counted_code)
def sign_in_with_code(
    *, by: Person, at: datetime, reason: str, code: str, device: str = ""
) -> Done[UsedCode | UsedRecoveryCode]:
    """Give the second factor's code when signing in, or a recovery code in its place.

    device: a browser that was let in before, whose failures count by themselves. Raises NotAuthorised for a wrong or
    used code, and after too many.
    """
    factor = standing_factor(by)
    if factor is None:
        raise WrongState("No second factor is on.")
    if is_recovery_code(code):
        used, how = _take_recovery(factor, code, by, at), "with a recovery code"
        left = {"recovery codes left": factor.recovery_codes.filter(issue=used.code.issue, use=None).count()}
        return Done(used, subject=("person", by.username), after={"signed in": how} | left)
    return Done(_take(factor, code, at), subject=("person", by.username), after={"signed in": "with the code"})


def end_factor(of: Person, by: Person, at: datetime, reason: str) -> SecondFactorEnd:
    """Turn somebody's second factor off, and end their sessions. Part of acts. Raises WrongState where none is on."""
    factor = standing_factor(of)
    if factor is None:
        raise WrongState(f"{of} has no second factor that is on.")
    end = SecondFactorEnd.objects.create(factor=factor, reason=reason, made_by=by, made_at=at)
    _end_sessions(of)
    return end


def confirm_signature(by: Person, at: datetime, password: str, code: str) -> bool:
    """Whether a second factor was given too, once password and code are right. Part of an act that signs.

    Raises NotAuthorised for a wrong password, or for a missing, wrong or used code where the person's factor is on.
    """
    confirm_password(by, password, "nothing was signed")
    factor = standing_factor(by)
    if factor is None:
        return False
    if not code.strip():
        raise NotAuthorised("Give the six digits of your second factor too; nothing was signed.")
    _take(factor, code, at)
    return True


def confirm_password(by: Person, password: str, so: str) -> None:
    """Refuse unless the password is right. Part of acts that ask for it again; so: what follows, in words.

    Raises NotAuthorised; only a password that was given counts as a try.
    """
    if not password:
        raise NotAuthorised(f"Give your password again; {so}.")
    if not by.check_password(password):
        raise NotShown("password", f"The password is not right; {so}.")


def _take(factor: SecondFactor, code: str, at: datetime) -> UsedCode:
    """Use up a code: neither it nor an older one is taken again (RFC 6238, 5.2)."""
    step = step_of(factor.secret, code, at)
    if step is None or was_used(factor, step):
        raise NotShown("code", f"{WRONG_CODE} Nothing was done.")
    return UsedCode.objects.create(factor=factor, step=step)


def _take_recovery(factor: SecondFactor, code: str, by: Person, at: datetime) -> UsedRecoveryCode:
    row = unused_code(factor, code)
    if row is None:
        raise NotShown("recovery code", "This recovery code is not right, or was used already. Nothing was done.")
    return UsedRecoveryCode.objects.create(code=row, made_by=by, made_at=at)


def _recovery_codes(factor: SecondFactor, by: Person, at: datetime) -> tuple[str, ...]:
    """New ones, of which the database keeps a digest only."""
    issue = (factor.recovery_codes.aggregate(last=Max("issue"))["last"] or 0) + 1
    codes = tuple(
        "-".join("".join(secrets.choice(_LETTERS) for _ in range(4)) for _ in range(FOURS)) for _ in range(CODES)
    )
    RecoveryCode.objects.bulk_create(
        RecoveryCode(factor=factor, issue=issue, sha256=digest_of(code), made_by=by, made_at=at) for code in codes
    )
    return codes


def _end_sessions(person: Person) -> None:
    """Whoever is signed in with this name must sign in anew."""
    Person.objects.filter(pk=person.pk).update(session_round=F("session_round") + 1)
    person.refresh_from_db(fields=["session_round"])
