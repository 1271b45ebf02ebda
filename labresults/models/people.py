"""The laboratory, its people and what they are authorised to do."""

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import F, Q

from labresults.models.base import Made, one_of, word
from labresults.terms import Task


def full_week() -> list[float]:
    """Monday to Friday."""
    return [1.0, 1.0, 1.0, 1.0, 1.0, 0.0, 0.0]


class Laboratory(models.Model):
    """The laboratory that this database belongs to: one row."""

    name = models.CharField(max_length=200)
    address = models.TextField(help_text="One line of the address a line.")
    place_of_work = models.CharField(max_length=200, help_text="Where the laboratory activities are done.")
    prefix = models.CharField(max_length=4, help_text="Stands before every laboratory number.")
    time_zone = models.CharField(max_length=50, default="UTC")
    invented = models.BooleanField(default=False, help_text="Demonstration data: every document says so.")
    kept_days = models.PositiveSmallIntegerField(
        default=90, help_text="Days that samples are kept after the day on which they are due, unless agreed otherwise."
    )
    acidified_lock_h = models.FloatField(
        default=24.0, help_text="Hours that a water acidified on arrival waits (40 CFR 136.3, table II, note 2)."
    )
    working_week = models.JSONField(
        default=full_week, help_text="Part of each weekday that is worked, Monday first: 1, 0.5 or 0."
    )
    separation_exception = models.TextField(
        blank=True, help_text="Named policy under which a person may review their own work; empty: never."
    )

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(pk=1), name="one_laboratory")]

    def __str__(self) -> str:
        return self.name


class Person(AbstractUser):
    """Somebody who can sign in. A client's person belongs to that client and sees nothing else."""

    client = models.ForeignKey(
        "labresults.Client", null=True, blank=True, on_delete=models.PROTECT, related_name="people"
    )
    session_round = models.PositiveIntegerField(
        default=0, db_default=0, help_text="Counts up when everybody who is signed in with this name must do so anew."
    )
    password_is_given = models.BooleanField(
        default=False, db_default=False, help_text="By somebody else: nothing is done before its owner changed it."
    )

    def __str__(self) -> str:
        return self.get_full_name() or self.username

    def _get_session_auth_hash(self, secret: str | None = None) -> str:
        """What a session must know to stay open: of the password, and of the round. Asked by Django at each request."""
        known: str = super()._get_session_auth_hash(secret)
        return f"{known}.{self.session_round}" if self.session_round else known


class Authorisation(Made):
    """Who may do which task with which method, from when to when (ISO/IEC 17025:2017, 6.2.6)."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="authorisations")
    task = word(Task)
    method = models.ForeignKey(
        "labresults.Method", null=True, blank=True, on_delete=models.PROTECT, help_text="Empty: every method."
    )
    valid_from = models.DateField()
    valid_to = models.DateField(null=True, blank=True)
    reason = models.TextField(blank=True)

    class Meta:
        constraints = [
            one_of("task", Task, "authorisation_task"),
            models.CheckConstraint(
                condition=Q(valid_to__isnull=True) | Q(valid_to__gte=F("valid_from")), name="authorisation_period"
            ),
        ]


class CalendarDay(Made):
    """A day that is worked otherwise than its weekday: closed, half, or open. The newest row of a day stands."""

    day = models.DateField()
    part = models.FloatField(help_text="Part of the day that is worked: 0 closed, 0.5 half, 1 open.")
    name = models.CharField(max_length=100, help_text="Why, as the receipt may say it.")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(part__gte=0, part__lte=1), name="calendar_part"),
            models.CheckConstraint(condition=~Q(name=""), name="calendar_name"),
        ]
        indexes = [models.Index(fields=["day", "-id"], name="calendar_by_day")]


class AccessToken(Made):
    """A word by which a program of a person signs in: its SHA-256 only. It may do what the person may do."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="access_tokens")
    name = models.CharField(max_length=60, help_text="The program that holds it.")
    sha256 = models.CharField(max_length=64, unique=True)
    expires_on = models.DateField()

    def __str__(self) -> str:
        return self.name


class AccessTokenEnd(Made):
    """From now on the word opens nothing."""

    token = models.OneToOneField(AccessToken, on_delete=models.PROTECT, related_name="end")
    reason = models.TextField()


class SecondFactor(Made):
    """A person's second factor (RFC 6238): the newest one that has not ended is asked for when they sign."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="second_factors")
    secret = models.CharField(max_length=64, help_text="Shared secret, base 32; shown once.")


class SecondFactorEnd(Made):
    """From now on this second factor is not asked for."""

    factor = models.OneToOneField(SecondFactor, on_delete=models.PROTECT, related_name="end")
    reason = models.TextField()


class UsedCode(models.Model):
    """A code that was given once and is not taken again (RFC 6238, 5.2)."""

    factor = models.ForeignKey(SecondFactor, on_delete=models.PROTECT, related_name="used")
    step = models.PositiveBigIntegerField(help_text="Count of 30 s since 1970 that the code stood for.")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["factor", "step"], name="code_once")]


class RecoveryCode(Made):
    """A word that stands once for a code of a lost device: its SHA-256 only. The newest issue of a factor stands."""

    factor = models.ForeignKey(SecondFactor, on_delete=models.PROTECT, related_name="recovery_codes")
    issue = models.PositiveSmallIntegerField(help_text="Made together; those of earlier issues are over.")
    sha256 = models.CharField(max_length=64, unique=True)


class UsedRecoveryCode(Made):
    """A recovery code that was given, and is not taken again."""

    code = models.OneToOneField(RecoveryCode, on_delete=models.PROTECT, related_name="use")


class Attempt(models.Model):
    """How often somebody failed to show who they are. No technical record: forgotten after a day."""

    key = models.CharField(max_length=80, unique=True, help_text="What was tried, and a digest of who or from where.")
    failures = models.PositiveSmallIntegerField()
    since = models.DateTimeField(db_index=True)
    stopped_until = models.DateTimeField(null=True)


class NumberSeries(models.Model):
    """The last number given in a series and year. Numbers are never used again."""

    series = models.CharField(max_length=1)
    year = models.PositiveSmallIntegerField()
    last = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["series", "year"], name="one_series_a_year")]
