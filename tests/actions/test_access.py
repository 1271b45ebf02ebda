"""Words by which programs sign in: shown once, kept as a digest, never more than their person."""

import hashlib
from datetime import date, timedelta

import pytest

from labresults.actions.access import IssuedToken, end_access_token, issue_access_token
from labresults.acts import BadInput, NotAuthorised, WrongState
from labresults.models import AccessToken, AuditEvent
from labresults.queries.access import token_of, tokens_shown_to
from tests.builders import NOW, Laboratory

LAST = date(2026, 12, 31)


def issued(lab: Laboratory, role: str = "analyst", **changed: object) -> IssuedToken:
    given = {"name": "P1, night", "expires_on": LAST} | changed
    return issue_access_token(by=lab.people[role], at=lab.later(), **given)


def test_the_word_is_kept_nowhere_and_opens_all_the_same(lab: Laboratory) -> None:
    token, word = (made := issued(lab)).token, made.word
    assert token.sha256 == hashlib.sha256(word.encode()).hexdigest()
    assert word not in AuditEvent.objects.latest("seq").content
    assert token_of(word, NOW.date()) == token
    assert token_of(word, LAST) == token, "the last day counts"


@pytest.mark.parametrize("day", [LAST + timedelta(days=1), LAST + timedelta(days=400)])
def test_a_word_past_its_last_day_opens_nothing(lab: Laboratory, day: date) -> None:
    assert token_of(issued(lab).word, day) is None


@pytest.mark.parametrize("word", ["", "labresults-guess", "x" * 10_000, "\u0000"])
def test_another_word_opens_nothing(lab: Laboratory, word: str) -> None:
    issued(lab)
    assert token_of(word, NOW.date()) is None


def test_a_word_that_was_ended_opens_nothing_and_ends_once(lab: Laboratory) -> None:
    made = issued(lab)
    given = {"by": lab.people["analyst"], "reason": "the machine is sold", "token": made.token}
    end_access_token(at=lab.later(), **given)
    assert token_of(made.word, NOW.date()) is None
    with pytest.raises(WrongState, match="ended already"):
        end_access_token(at=lab.later(), **given)


def test_the_word_of_somebody_who_left_opens_nothing(lab: Laboratory) -> None:
    made = issued(lab)
    lab.people["analyst"].is_active = False
    lab.people["analyst"].save()
    assert token_of(made.word, NOW.date()) is None


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"name": " "}, "Say which program holds it"),
        ({"expires_on": date(2026, 11, 15)}, "The last day must be from 2026-11-16"),
        ({"expires_on": date(2027, 11, 18)}, "to 2027-11-17"),
    ],
)
def test_a_word_that_cannot_be_made_is_told_why(lab: Laboratory, changed: dict[str, object], says: str) -> None:
    with pytest.raises(BadInput, match=says):
        issued(lab, **changed)
    assert not AccessToken.objects.exists()


def test_one_word_a_program_until_it_is_ended(lab: Laboratory) -> None:
    first = issued(lab)
    with pytest.raises(BadInput, match="You have a word for P1, night already"):
        issued(lab)
    issued(lab, "quality manager")  # another person's program may have the same name
    end_access_token(by=lab.people["analyst"], at=lab.later(), reason="lost", token=first.token)
    assert issued(lab).word != first.word


def test_others_words_are_seen_and_ended_by_who_authorises_people_only(lab: Laboratory) -> None:
    ours, theirs = issued(lab).token, issued(lab, "quality manager").token
    assert list(tokens_shown_to(lab.people["analyst"])) == [ours]
    assert set(tokens_shown_to(lab.people["laboratory manager"])) == {ours, theirs}
    with pytest.raises(NotAuthorised, match="Who authorises people may end it too"):
        end_access_token(by=lab.people["analyst"], at=lab.later(), reason="x", token=theirs)
    end_access_token(by=lab.people["laboratory manager"], at=lab.later(), reason="left the laboratory", token=ours)


def test_who_loads_nothing_needs_no_word(lab: Laboratory) -> None:
    with pytest.raises(NotAuthorised):
        issued(lab, "auditor")
