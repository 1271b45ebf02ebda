"""A second factor beside the password: turned on, turned off, and asked for (RFC 6238; 21 CFR 11.200(a)(1))."""

from datetime import datetime

from labresults.acts import BadInput, Done, NotAuthorised, WrongState, act
from labresults.models import Person, SecondFactor, SecondFactorEnd, UsedCode
from labresults.queries.second_factor import standing_factor, step_of, was_used

WRONG_CODE = "The six digits are not right, or were used already. Wait for the next ones."


@act("turn_on_second_factor")
def turn_on_second_factor(*, by: Person, at: datetime, reason: str, secret: str, code: str) -> Done[SecondFactor]:
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
    return Done(factor, subject=("person", by.username), after={"second factor": "on"})


@act("turn_off_second_factor")
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
    if not by.check_password(password):
        raise NotAuthorised("The password is not right; nothing was changed.")
    if of != by and not by.has_perm("labresults.enrol_person"):
        raise NotAuthorised("Only a laboratory manager turns off the second factor of somebody else.")
    factor = standing_factor(of)
    if factor is None:
        raise WrongState(f"{of} has no second factor that is on.")
    end = SecondFactorEnd.objects.create(factor=factor, reason=reason, made_by=by, made_at=at)
    return Done(end, subject=("person", of.username), before={"second factor": "on"}, after={"second factor": "off"})


@act("sign_in_with_code")
def sign_in_with_code(*, by: Person, at: datetime, reason: str, code: str) -> Done[UsedCode]:
    """Give the second factor's code when signing in. Raises NotAuthorised for a wrong or used one."""
    factor = standing_factor(by)
    if factor is None:
        raise WrongState("No second factor is on.")
    return Done(_take(factor, code, at), subject=("person", by.username), after={"signed in": "with the code"})


def confirm_signature(by: Person, at: datetime, password: str, code: str) -> bool:
    """Whether a second factor was given too, once password and code are right. Part of an act that signs.

    Raises NotAuthorised for a wrong password, or for a missing, wrong or used code where the person's factor is on.
    """
    if not by.check_password(password):
        raise NotAuthorised("The password is not right; nothing was signed.")
    factor = standing_factor(by)
    if factor is None:
        return False
    _take(factor, code, at)
    return True


def _take(factor: SecondFactor, code: str, at: datetime) -> UsedCode:
    """Use up a code: neither it nor an older one is taken again (RFC 6238, 5.2)."""
    step = step_of(factor.secret, code, at)
    if step is None or was_used(factor, step):
        raise NotAuthorised(f"{WRONG_CODE} Nothing was done.")
    return UsedCode.objects.create(factor=factor, step=step)
