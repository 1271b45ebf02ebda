"""Each rule of a run list: the list that keeps it says nothing, the one that breaks it is named by its place."""

from dataclasses import replace

import pytest

from labresults.calculation.run_proposal import Control, Key, Solution, propose
from labresults.calculation.sequence import LineNeeds, Place, Rules
from labresults.calculation.sequence_rules import broken_rules
from labresults.terms import Role

CONTROLS = (
    Control(1, Role.INITIAL_VERIFICATION, "ICV-2", at_start=True),
    Control(2, Role.CONTINUING_VERIFICATION, "CCV", at_start=True, every=10, at_end=True),
    Control(3, Role.BLANK_CHECK, "BLANK", at_start=True, every=10, at_end=True),
    Control(4, Role.SERIAL_DILUTION, at_end=True),
)
COPPER = LineNeeds("Cu 324.754", "Cu", quantification_limit=0.05, lowest_standard=0.05)
RULES = Rules(
    standards={1: "STD 0", 2: "STD 1"},
    controls=CONTROLS,
    batch_roles=(Role.METHOD_BLANK, Role.REFERENCE_MATERIAL),
    lines=(COPPER,),
)
ROLES = {control.ordinal: control.role for control in CONTROLS}


def place(key: Key) -> Place:
    """A place as a run of one batch has it: the standards of one lot, the verification of another."""
    if key.kind == "s":
        role = Role.CALIBRATION_BLANK if key.number == 1 else Role.CALIBRATION_STANDARD
        return Place(key, role, f"STD {key.number - 1}", material=f"STD-{key.number}", sources=frozenset({"L-1"}))
    if key.kind == "c":
        sources = {Role.INITIAL_VERIFICATION: frozenset({"L-9"})}.get(ROLES[key.number], frozenset())
        return Place(key, ROLES[key.number], f"c{key.number}", lot="W-9", material=f"C-{key.number}", sources=sources)
    role = {90: Role.METHOD_BLANK, 91: Role.REFERENCE_MATERIAL, 92: Role.DUPLICATE}.get(key.number, Role.SAMPLE)
    return Place(key, role, f"p{key.number}", batch="B1")


def a_list(samples: int = 12) -> list[Place]:
    """As the method proposes it: blank, reference material, samples, a duplicate of the first."""
    solutions = [Solution(90, Role.METHOD_BLANK), Solution(91, Role.REFERENCE_MATERIAL)]
    solutions += [Solution(n, Role.SAMPLE) for n in range(1, samples + 1)]
    solutions += [Solution(92, Role.DUPLICATE, parent=1)]
    places = [place(key) for key in propose([1, 2], CONTROLS, solutions)]
    return joined(places)


def joined(places: list[Place]) -> list[Place]:
    number = {p.key.number: n for n, p in enumerate(places, 1) if p.key.kind == "p"}
    return [
        replace(p, parent=number.get(1 if p.key.number == 92 else p.key.of)) if p.key.number == 92 or p.key.of else p
        for p in places
    ]


def at(places: list[Place], label: str, which: int = 0) -> int:
    return [n for n, p in enumerate(places) if p.label == label][which]


def said(places: list[Place], rules: Rules = RULES) -> list[str]:
    return [str(rule) for rule in broken_rules(places, rules)]


@pytest.mark.parametrize("samples", [1, 7, 8, 12, 20])
def test_what_the_method_proposes_keeps_every_rule(samples: int) -> None:
    assert said(a_list(samples)) == []


def swap(places: list[Place], one: int, other: int) -> list[Place]:
    places[one], places[other] = places[other], places[one]
    return joined(places)


def drop(places: list[Place], *which: int) -> list[Place]:
    return joined([p for n, p in enumerate(places) if n not in which])


BROKEN = {
    "a standard is missing": (lambda p: drop(p, 1), "Position 1: calibration block 1 lacks STD 1"),
    "a standard stands later": (
        lambda p: swap(p, 1, at(p, "p3")),
        "STD 1 stands apart from the other calibration solutions. Calibrate first, then measure.",
    ),
    "no initial verification": (
        lambda p: drop(p, at(p, "c1")),
        "no initial calibration verification (ICV-2) stands before the first test solution",
    ),
    "the verification stands after a sample": (
        lambda p: swap(p, at(p, "c1"), at(p, "p4")),
        "no initial calibration verification (ICV-2) stands before the first test solution",
    ),
    "no check in the middle": (
        lambda p: drop(p, at(p, "c2", 1), at(p, "c3", 1)),
        "Position 16: more than 10 test solutions stand without a continuing calibration verification (CCV) among them",
    ),
    "no check at the end": (
        lambda p: drop(p, at(p, "c2", 2)),
        "no continuing calibration verification (CCV) stands after the last test solution",
    ),
    "no serial dilution": (lambda p: drop(p, at(p, "c4")), "no serial dilution stands after the last test solution"),
    "a check without its blank": (
        lambda p: drop(p, at(p, "c3", 1)),
        "no calibration blank check stands between c2 and what comes next",
    ),
    "the last check without its blank": (
        lambda p: drop(p, at(p, "c3", 2)),
        "no calibration blank check stands between c2 and what comes next",
    ),
    "a duplicate before its sample": (
        lambda p: swap(p, at(p, "p92"), at(p, "p1")),
        "Position 8: p92 stands before p1, which it is compared with. Move it behind.",
    ),
    "no method blank": (lambda p: drop(p, at(p, "p90")), "samples of batch B1 are measured without its method blank"),
    "no reference material": (
        lambda p: drop(p, at(p, "p91")),
        "samples of batch B1 are measured without its certified reference material",
    ),
    "a portion twice": (
        lambda p: joined([*p[: at(p, "p3")], p[at(p, "p3")], *p[at(p, "p3") :]]),
        "Position 11: p3 stands at position 10 already. Take one of the two out.",
    ),
}


@pytest.mark.parametrize("what", BROKEN)
def test_a_broken_rule_is_said_with_its_place(what: str) -> None:
    change, words = BROKEN[what]
    found = said(change(a_list()))
    assert any(words in each for each in found), found


def test_twenty_one_samples_on_one_blank() -> None:
    """EPA SW-846, chapter one: one method blank to at most 20 samples of a batch."""
    words = [each for each in said(a_list(21)) if "stand on 1" in each]
    assert [each.partition(": ")[2] for each in words] == [
        f"21 samples of batch B1 stand on 1 {role}: one is for at most 20. Prepare smaller batches."
        for role in ("method blank", "certified reference material")
    ]
    more = replace(RULES, named=(("samples for each batch control", 25),))
    assert said(a_list(21), more) == []


def test_samples_that_were_read_before_need_no_batch_controls() -> None:
    places = drop(a_list(), at(a_list(), "p90"), at(a_list(), "p91"))
    again = [replace(p, is_first=False) for p in places]
    assert not [each for each in said(again) if "batch" in each]


@pytest.mark.parametrize(
    ("verification", "words"),
    [
        ({"material": "STD-2"}, "c1 is of STD-2, which the curve is made with"),
        ({"sources": frozenset({"W-9", "L-1"})}, "c1 (lot W-9) and the standards come from one lot, L-1"),
        ({}, None),
    ],
)
def test_the_initial_verification_comes_from_a_second_source(
    verification: dict[str, object], words: str | None
) -> None:
    places = a_list()
    places[at(places, "c1")] = replace(places[at(places, "c1")], **verification)  # type: ignore[arg-type]
    found = [each for each in said(places) if "second source" in each]
    assert (found == []) if words is None else (words in found[0])


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (
            replace(COPPER, lowest_standard=0.06),
            "The lowest standard holds 0.06 mg/L of Cu, above the quantification limit of Cu 324.754, 0.05 mg/L.",
        ),
        (replace(COPPER, lowest_standard=0.05 * (1 + 1e-13)), None),  # the same figure, but for binary arithmetic
        (replace(COPPER, lowest_standard=None), "No standard holds Cu: Cu 324.754 has no curve."),
        (replace(COPPER, lowest_standard=2.0, is_internal_standard=True), None),
        (
            replace(COPPER, interferents=("Fe",)),
            "Cu 324.754 is corrected for Fe, and the method has no line of Fe. Have a line of it put into the method.",
        ),
        (replace(COPPER, interferents=("Cu",)), None),
    ],
)
def test_lines_that_no_order_can_mend(line: LineNeeds, words: str | None) -> None:
    """EPA Method 6010D (2018), 10.7: the lowest standard is at or below the quantification limit."""
    found = said(a_list(), replace(RULES, lines=(line,)))
    assert (found == []) if words is None else (len(found) == 1 and found[0].startswith(words)), found


@pytest.mark.parametrize(
    ("named", "words"),
    [
        (("at most positions", 20), "25 positions stand in the run, the method lets 20. Plan two runs."),
        (("at most test solutions", 14), "15 test solutions stand in the run, the method lets 14. Plan two runs."),
        (("rinse after", "serial dilution"), "no rinse stands after c4, a serial dilution. Put a rinse next to it."),
        (("never on Mondays", 1), "names a rule that is not known here: “never on Mondays”. Keep it by eye."),
    ],
)
def test_rules_that_the_method_version_names(named: tuple[str, str | int], words: str) -> None:
    (found,) = said(a_list(), replace(RULES, named=(named,)))
    assert words in found


def test_more_than_the_tray_holds() -> None:
    (found,) = said(a_list(), replace(RULES, tray_places=24))
    assert found.startswith("Position 25: the tray holds 24 of 25 positions: from here on there is no cup.")
    assert said(a_list(), replace(RULES, tray_places=25)) == []


def test_a_calibration_serves_so_many_test_solutions() -> None:
    (found,) = said(a_list(), replace(RULES, recalibrate_every=14))
    assert "more than 14 test solutions stand on one calibration. Put the standards in again before it." in found


def test_a_duplicate_in_another_block_is_read_by_another_curve() -> None:
    places = a_list()
    last = at(places, "p92")
    places[last] = replace(places[last], block=2)
    assert any("p92 stands in another calibration block than p1" in each for each in said(places))


@pytest.mark.parametrize(
    ("change", "must"),
    [
        ({"no_lot": "No lot of CCV is valid on 2026-11-16: invented"}, True),
        ({"lacks_parent": True}, True),  # made at the instrument: of what?
    ],
)
def test_what_cannot_be_planned_at_all_stands_first(change: dict[str, object], must: bool) -> None:
    places = a_list()
    places[at(places, "c4")] = replace(places[at(places, "c4")], **change)  # type: ignore[arg-type]
    rules = broken_rules(drop(places, at(places, "c1")), RULES)
    assert [rule.must for rule in rules] == [must, False]


def test_a_run_without_standards_has_no_calibration_to_keep() -> None:
    places = [p for p in a_list() if p.key.kind != "s"]
    assert said(joined(places), replace(RULES, standards={}, lines=(replace(COPPER, lowest_standard=None),))) == []


def test_a_sample_without_its_standard_additions_has_no_value() -> None:
    additions = (Control(5, Role.STANDARD_ADDITION, "ADD", every=1), Control(6, Role.STANDARD_ADDITION, "ADD", every=1))
    rules = Rules(controls=additions, by_additions=True)
    sample = Place(Key("p", 1), Role.SAMPLE, "p1")
    one, other = (Place(Key("c", n, 1), Role.STANDARD_ADDITION, f"p1 ADD {n}", parent=1) for n in (5, 6))
    assert said([sample, one, other], rules) == []
    assert said([sample, one], rules) == [
        "Position 1: p1 lacks 1 of its 2 standard additions. Put them in behind it, or it has no value."
    ]
