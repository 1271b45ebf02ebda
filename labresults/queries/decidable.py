"""What may be decided of results: those that stand, that nobody said anything of meanwhile, with nothing in the way.

Each function raises WrongState, in words that say of which result, why, and what to do.
"""

from collections.abc import Collection, Mapping, Sequence

from labresults.acts import WrongState
from labresults.models import Result
from labresults.queries.issued import in_force_with
from labresults.queries.nonconforming import held
from labresults.queries.review_facts import Facts, key_of
from labresults.queries.shared_rows import in_parts
from labresults.terms import Decision, Mark

MOST_NAMED = 5


def refuse_unfit(rows: Sequence[Result], facts: Facts) -> None:
    """Refuse to approve what is held, does not stand, was decided of, has no value, or is touched by an open failure.

    The queries of `held`.
    """
    holding = held(row.pk for row in rows)
    for row in rows:
        name = _name(row)
        if row.pk in holding:
            by = ", ".join(holding[row.pk])
            raise WrongState(f"{name}: {by} holds it. Release that first, or prepare and measure it anew.")
        refuse_not_standing([row], facts)
        refuse_decided([row], facts)
        if row.value is None and Mark.OVER_RANGE not in row.marks:
            raise WrongState(f"{name} has no value: {row.why_no_value} Measure again, or give a result in words.")
        if facts.failures[row.pk]["open"]:
            why = facts.failures[row.pk]["open"][0].why
            raise WrongState(f"{name}: {why} Measure again, or accept it by name first.")


def refuse_unseen(rows: Sequence[Result], looks: Mapping[int, list[str]], looked_at: Collection[int]) -> None:
    """Refuse to approve in bulk what has an open doubt. looks: why each asks for a look; no query."""
    accepted = set(looked_at)
    unseen = [row for row in rows if looks[row.pk] and row.pk not in accepted]
    if unseen:
        named = "; ".join(f"{_name(row)}: {looks[row.pk][0]}" for row in unseen[:MOST_NAMED])
        more = f"; and {len(unseen) - MOST_NAMED} more" if len(unseen) > MOST_NAMED else ""
        asks = "1 result asks" if len(unseen) == 1 else f"{len(unseen)} results ask"
        raise WrongState(f"{asks} for a look: accept each of them by itself. {named}{more}")


def refuse_not_standing(rows: Sequence[Result], facts: Facts) -> None:
    """Refuse results that are not the ones that stand; no query."""
    for row in rows:
        selection = facts.selections.get(key_of(row))
        if selection is None or selection.result_id != row.pk:
            raise WrongState(f"{_name(row)}: this result is not the one that stands. Look at the newest evaluation.")


def refuse_decided(rows: Sequence[Result], facts: Facts, over: Collection[int] = ()) -> None:
    """Refuse to decide over what was said already; no query.

    over: keys of the reviews that whoever decides has seen, and goes against.
    """
    for row in rows:
        decided = facts.decisions.get(row.pk)
        if decided is None or decided.review_id in over:
            continue
        review = decided.review
        why = f": {review.reason.rstrip('.')}" if review.reason else ""
        stands = "" if review.decision == Decision.APPROVE else " If it is to stand, measure or evaluate it again."
        raise WrongState(f"{_name(row)} was {review.decision} by {review.made_by} already{why}. Look again.{stands}")


def refuse_printed(rows: Sequence[Result]) -> None:
    """Refuse to turn down what a certificate in force prints, or prints something derived from; two queries for as
    many results as one takes.
    """
    asked = (Result.objects.filter(pk__in=some) for some in in_parts(row.pk for row in rows))
    printed = {key: issues for some in asked for key, issues in in_force_with(some).items()}
    for row in rows:
        if row.pk in printed:
            raise WrongState(
                f"{_name(row)} is printed on {', '.join(printed[row.pk])}. Withdraw that first: what a client holds is"
                " not turned down behind it."
            )


def _name(row: Result) -> str:
    return f"{row.element_id} in {row.sample}"
