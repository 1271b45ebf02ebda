"""The audit chain names the first event that was changed, removed, put elsewhere or slipped in."""

from dataclasses import replace

import pytest

from labresults.chain import FIRST, Link, canonical, digest, first_break


def a_chain(length: int = 5) -> list[Link]:
    links: list[Link] = []
    previous = FIRST
    for seq in range(1, length + 1):
        content = canonical({"act": "count", "value": seq})
        links.append(Link(seq, content, previous, digest(seq, content, previous)))
        previous = links[-1].sha256
    return links


def remade(link: Link, content: str) -> Link:
    return replace(link, content=content, sha256=digest(link.seq, content, link.previous))


def test_an_untouched_chain_holds() -> None:
    assert first_break(a_chain()) is None
    assert first_break([]) is None


@pytest.mark.parametrize(
    ("tamper", "seq", "says"),
    [
        pytest.param(lambda c: [*c[:2], replace(c[2], content="{}"), *c[3:]], 3, "was changed", id="changed"),
        pytest.param(lambda c: [*c[:2], remade(c[2], "{}"), *c[3:]], 4, "does not follow", id="changed and rehashed"),
        pytest.param(lambda c: [*c[:2], *c[3:]], 3, "is missing", id="removed"),
        pytest.param(lambda c: c[1:], 1, "is missing", id="first removed"),
        pytest.param(lambda c: [*c[:1], c[2], c[1], *c[3:]], 2, "is missing", id="reordered rows"),
        pytest.param(
            lambda c: [c[0], replace(c[2], seq=2), replace(c[1], seq=3), *c[3:]], 2, "was changed", id="renumbered"
        ),
        pytest.param(lambda c: [*c[:3], c[2], *c[3:]], 3, "slipped in", id="slipped in"),
    ],
)
def test_the_first_break_is_named(tamper: object, seq: int, says: str) -> None:
    found = first_break(tamper(a_chain()))  # type: ignore[operator]
    assert found is not None
    assert found.seq == seq
    assert says in found.what


def test_what_has_no_canonical_text_is_refused() -> None:
    with pytest.raises(ValueError, match="JSON compliant"):
        canonical({"value": float("nan")})


def test_the_text_does_not_depend_on_the_order_of_keys() -> None:
    assert canonical({"b": 1, "a": "µ"}) == canonical({"a": "µ", "b": 1}) == '{"a":"µ","b":1}'
