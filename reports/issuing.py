"""What follows when a certificate is frozen: it is drawn beside the pages, its client is told; and many are amended.

Frozen and not drawn is the queue itself: nothing else is stored, so that nothing is lost when a process ends. Each
function takes `clock`, since only pages and commands read the clock.
"""

import errno
import logging
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import TYPE_CHECKING

from django.conf import settings
from django.core.cache import caches
from django.db import DatabaseError, close_old_connections, connections

from labresults.acts import NotAuthorised, Refusal
from labresults.terms import NoticeKind
from reports.actions.certificates import amend_certificate, publish_certificate
from reports.actions.notices import notify_client
from reports.models import Certificate
from reports.queries.pages import by_key, is_over, undrawn
from reports.queries.recipients import Addressee, addressees, not_told

if TYPE_CHECKING:
    from labresults.models import NonconformingWork, Person

Clock = Callable[[], datetime]

WAITS_S, DRAWS_S, TROUBLE_S = 600, 180, 86_400
"""How long it is believed that a drawing waits, goes on, or has failed, when nothing more is heard of it."""

_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Progress:
    """How far the drawing of a certificate has come."""

    word: str  # "nobody", "waits", "draws" or "failed"
    done: int = 0
    parts: int = 0
    trouble: str = ""

    @property
    def goes_on(self) -> bool:
        """Whether it is worth asking again soon."""
        return self.word in {"waits", "draws"}


@dataclass(frozen=True)
class Amended:
    """What came of amending one certificate of many."""

    certificate: Certificate
    new: Certificate | None
    refusal: str


def progress_of(key: int) -> Progress:
    """How far the drawing of a certificate (by key) has come, in whatever process it goes on; no query."""
    return Progress(**caches["progress"].get(_name(key), {"word": "nobody"}))


def draw_soon(certificate: Certificate, by: "Person", clock: Clock) -> None:
    """Have a frozen certificate drawn by this person: by a thread, a command or at once, as `settings.DRAWING` says."""
    if settings.DRAWING == "at once":
        draw(certificate.pk, by, clock)
        return
    _note(certificate.pk, WAITS_S, word="waits")
    if settings.DRAWING == "thread":
        _thread().submit(_draw_in_thread, certificate.pk, by, clock)


def draw(key: int, by: "Person | None", clock: Clock) -> str:
    """Draw a frozen certificate, make it public and tell its client; "" or what went wrong, in words.

    by: who makes it public; None: whoever issued it. Nothing is kept of a drawing that failed: it begins anew.
    """
    with suppress(OSError):  # a full disk takes no lock either, and two drawings of one certificate do no harm
        if not caches["progress"].add(f"{_name(key)}-taken", 1, DRAWS_S):
            return ""
    trouble, is_kept = "", True
    try:
        row = by_key(key)
        by = by or row.made_by
        publish_certificate(by=by, at=clock(), certificate=row, progress=_noting(key))
    except NotAuthorised as refusal:
        trouble, is_kept = str(refusal), False  # of whoever asked: somebody else may draw it
    except Refusal as refusal:
        trouble, is_kept = str(refusal), not row.files.exists()  # or it is drawn already
    except Exception as fault:  # a renderer may fail in any way: the page must say so, and the thread must go on
        _log.exception("Certificate %s could not be drawn.", key)
        trouble = f"It could not be drawn: {type(fault).__name__}: {fault}. What is frozen is whole: draw it again."
        if means_no_room(fault):
            trouble = f"It could not be kept: {fault}. Make room, then draw it again."
    else:
        trouble, is_kept = _tell_what_stands(key, by, clock), False
    finally:
        with suppress(OSError):
            caches["progress"].delete(f"{_name(key)}-taken")
    if trouble and is_kept:
        _note(key, TROUBLE_S, word="failed", trouble=trouble)
    else:
        with suppress(OSError):
            caches["progress"].delete(_name(key))
    return trouble


def draw_waiting(clock: Clock, but_failed: bool = False) -> Iterator[tuple[Certificate, str]]:
    """Draw every certificate that is frozen and not drawn, by whoever issued it; each with what went wrong.

    but_failed: leave those that failed until a person asks for them again.
    """
    for row in undrawn():
        if not (but_failed and progress_of(row.pk).word == "failed"):
            yield row, draw(row.pk, None, clock)


def means_no_room(fault: BaseException) -> bool:
    """Whether a disk, or somebody's share of it, is full: whoever made room may try again. Anything else is a fault.

    SQLite's code 13, SQLITE_FULL; PostgreSQL's 53100, disk_full (PostgreSQL, Appendix A).
    """
    if isinstance(fault, OSError):
        return fault.errno in {errno.ENOSPC, errno.EDQUOT}
    if not isinstance(fault, DatabaseError):
        return False
    cause = fault.__cause__
    codes = {getattr(cause, "sqlite_errorcode", None), getattr(cause, "sqlstate", None)}
    return bool(codes & {sqlite3.SQLITE_FULL, "53100"})


def _tell_what_stands(key: int, by: "Person", clock: Clock) -> str:
    """Tell of an issue that has just been drawn, as it is by now: of one that was replaced meanwhile nobody needs to
    hear, and one that was withdrawn is told of as that. "" or the fault that kept it from being told, in words: it is
    drawn all the same, and the thread must go on.
    """
    row = by_key(key)
    try:
        if not is_over(row):
            tell(row, by, clock)
        elif hasattr(row, "withdrawal"):
            tell(row, by, clock, NoticeKind.WITHDRAWN)
    except Exception as fault:
        _log.exception("The client of %s could not be told.", row)
        return f"It is drawn, but its client was not told: {type(fault).__name__}: {fault}. Send it from its page."
    return ""


def tell(row: Certificate, by: "Person", clock: Clock, kind: NoticeKind | None = None) -> str:
    """Tell the client of an issue, or of its withdrawal; "" or why not, in words. What failed can be sent again.

    Raises whatever is no refusal and no lack of room: a fault of the program.
    """
    kind = kind or (NoticeKind.AMENDED if row.issue > 1 else NoticeKind.ISSUED)
    try:
        notify_client(by=by, at=clock(), certificate=row, kind=kind, to=addressees(row, kind))
    except Refusal as refusal:
        return str(refusal)
    except (OSError, DatabaseError) as fault:
        if not means_no_room(fault):
            raise
        _log.exception("The client of %s could not be told.", row)
        return f"The client could not be told: {fault}. Send it again from the page of the certificate."
    return ""


def tell_again(row: Certificate, by: "Person", clock: Clock) -> list[str]:
    """Send each letter of an issue that did not go once more; what went wrong, in words.

    An issue of which nobody was told at all is told of. Raises Refusal as `notify_client`.
    """
    if not row.notices.exists():
        return [trouble for trouble in [tell(row, by, clock)] if trouble]
    together: dict[tuple[NoticeKind, NonconformingWork | None, str], list[Addressee]] = {}
    for letter in not_told(row):
        together.setdefault((letter.kind, letter.work, letter.words), []).append(letter.to)
    troubles = []
    for (kind, work, words), to in together.items():
        of = {"work": work, "words": words}
        rows = notify_client(by=by, at=clock(), reason="sent again", certificate=row, kind=kind, to=to, **of)
        troubles += [f"{notice.email}: {notice.trouble}" for notice in rows if notice.trouble]
    return troubles


def amend_many(certificates: Iterable[Certificate], reason: str, by: "Person", clock: Clock) -> list[Amended]:
    """Amend each certificate for one reason, by its own rules, one act each: one that is refused keeps none back."""
    came = []
    for row in certificates:
        try:
            new = amend_certificate(
                by=by, at=clock(), reason=reason, certificate=row, rule_set=row.rule_set, preliminary=row.preliminary
            )
        except Refusal as refusal:
            came.append(Amended(row, None, str(refusal)))
            continue
        came.append(Amended(row, new, ""))
        draw_soon(new, by, clock)
    return came


@cache
def _thread() -> ThreadPoolExecutor:
    """One drawing at a time: each takes all that the machine has. Made when it is first needed, after any fork."""
    return ThreadPoolExecutor(max_workers=1, thread_name_prefix="drawing")


def _draw_in_thread(key: int, by: "Person", clock: Clock) -> None:
    close_old_connections()
    try:
        draw(key, by, clock)
    finally:
        connections.close_all()


def _noting(key: int) -> Callable[[int, int], None]:
    def noted(done: int, parts: int) -> None:
        _note(key, DRAWS_S, word="draws", done=done, parts=parts)
        with suppress(OSError):
            caches["progress"].touch(f"{_name(key)}-taken", DRAWS_S)

    noted(0, 0)
    return noted


def _note(key: int, seconds: int, **said: object) -> None:
    with suppress(OSError):  # a full disk: the drawing itself will say so
        caches["progress"].set(_name(key), said, seconds)


def _name(key: int) -> str:
    return f"drawing-{key}"
