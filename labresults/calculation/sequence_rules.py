"""Each rule of a run list by itself; `broken_rules` asks them all. What the rules are: `calculation.sequence`."""

from collections.abc import Iterator, Sequence
from itertools import chain

from labresults.calculation.quality_control import is_not_above
from labresults.calculation.run_proposal import OF_A_SAMPLE, Control
from labresults.calculation.sequence import (
    NAMES,
    SAMPLES_FOR_EACH_BATCH_CONTROL,
    BrokenRule,
    Numbered,
    Place,
    Rules,
    blocks,
    in_order,
    numbered,
)
from labresults.terms import CALIBRATING, Role


def broken_rules(places: Sequence[Place], rules: Rules) -> tuple[BrokenRule, ...]:
    """Return every rule that the list breaks: what cannot be planned at all first, then in the order of places."""
    in_blocks = blocks(places)
    return in_order(
        chain(
            _twice(places),
            _lots(places),
            _parents(places),
            _additions(places, rules),
            _batches(places, rules),
            _second_source(places),
            _rinses(places, rules),
            _lengths(places, rules),
            _of_the_method(rules),
            chain.from_iterable(_calibration(block, rules) for block in in_blocks),
            chain.from_iterable(_checks(block, rules) for block in in_blocks),
            chain.from_iterable(_blank_checks(block, rules) for block in in_blocks),
            chain.from_iterable(_recalibration(block, rules) for block in in_blocks),
        )
    )


def _twice(places: Sequence[Place]) -> Iterator[BrokenRule]:
    """A portion stands once in a run: a second reading of it is a repeat made at the instrument, or another run."""
    first: dict[int, int] = {}
    for each in numbered(places):
        if not each.place.is_test_solution:
            continue
        before = first.setdefault(each.place.key.number, each.number)
        if before != each.number:
            words = f"{places[before - 1].label} stands at position {before} already"
            yield BrokenRule(each.number, words, "Take one of the two out.", must=True)


def _lots(places: Sequence[Place]) -> Iterator[BrokenRule]:
    """No lot, no solution; said once for each material."""
    said: set[str] = set()
    for each in numbered(places):
        if each.place.no_lot and each.place.no_lot not in said:
            said.add(each.place.no_lot)
            yield BrokenRule(each.number, each.place.no_lot, "Register one first.", must=True)


def _parents(places: Sequence[Place]) -> Iterator[BrokenRule]:
    """A duplicate, spike or dilution stands after what it is compared with, in the same calibration block."""
    for each in numbered(places):
        place = each.place
        made_here = not place.is_test_solution
        if place.lacks_parent:
            words = f"{place.label}, a {place.role}, stands without the sample that it is compared with"
            yield BrokenRule(each.number, words, "Put the sample before it, or take it out.", must=made_here)
        elif place.parent and place.parent > each.number:
            words = f"{place.label} stands before {places[place.parent - 1].label}, which it is compared with"
            yield BrokenRule(each.number, words, "Move it behind.")
        elif place.parent and places[place.parent - 1].block != place.block:
            words = f"{place.label} stands in another calibration block than {places[place.parent - 1].label}"
            yield BrokenRule(each.number, words, "Move them into one block, so that one curve reads both.")


def _additions(places: Sequence[Place], rules: Rules) -> Iterator[BrokenRule]:
    """Each sample has its standard additions, where the method calibrates by them."""
    wanted = {c.ordinal: c for c in rules.controls if c.role is Role.STANDARD_ADDITION} if rules.by_additions else {}
    held = {(place.parent, place.key.number) for place in places if place.role is Role.STANDARD_ADDITION}
    for each in numbered(places) if wanted else ():
        missing = [ordinal for ordinal in wanted if (each.number, ordinal) not in held]
        if each.place.role is Role.SAMPLE and each.place.is_test_solution and missing:
            words = f"{each.place.label} lacks {len(missing)} of its {len(wanted)} standard additions"
            yield BrokenRule(each.number, words, "Put them in behind it, or it has no value.")


def _batches(places: Sequence[Place], rules: Rules) -> Iterator[BrokenRule]:
    """Samples are measured with the method blank and the reference material of their batch (SW-846 chapter one)."""
    values = rules.values("samples for each batch control")
    most = int(values[0]) if values else SAMPLES_FOR_EACH_BATCH_CONTROL
    of_batch: dict[str, list[Numbered]] = {}
    for each in numbered(places):
        if each.place.is_test_solution and each.place.batch:
            of_batch.setdefault(each.place.batch, []).append(each)
    for batch, members in of_batch.items():
        samples = [each for each in members if each.place.role is Role.SAMPLE and each.place.is_first]
        for role in rules.batch_roles if samples else ():
            count = sum(each.place.role is role for each in members)
            if not count:
                words = f"samples of batch {batch} are measured without its {role}"
                yield BrokenRule(samples[0].number, words, "Put it into the same run.")
            elif len(samples) > most * count:
                words = f"{len(samples)} samples of batch {batch} stand on {count} {role}: one is for at most {most}"
                yield BrokenRule(samples[most * count].number, words, "Prepare smaller batches.")


def _second_source(places: Sequence[Place]) -> Iterator[BrokenRule]:
    """The initial verification comes from a second source: else it says nothing of the standards themselves."""
    standards = [place for place in places if place.role is Role.CALIBRATION_STANDARD]
    materials = {place.material for place in standards if place.material}
    sources = frozenset().union(*(place.sources for place in standards)) if standards else frozenset()
    for each in numbered(places):
        place = each.place
        if place.role is not Role.INITIAL_VERIFICATION or not place.lot:
            continue
        shared = sorted(place.sources & sources)
        if place.material in materials:
            words = f"{place.label} is of {place.material}, which the curve is made with"
        elif shared:
            words = f"{place.label} (lot {place.lot}) and the standards come from one lot, {shared[0]}"
        else:
            continue
        yield BrokenRule(each.number, words, "The initial verification needs a second source: take another lot.")


def _rinses(places: Sequence[Place], rules: Rules) -> Iterator[BrokenRule]:
    roles = {str(value) for value in rules.values("rinse after")}
    for each, after in zip(numbered(places), [*places[1:], None], strict=True):
        if str(each.place.role) in roles and (after is None or after.role is not Role.RINSE):
            words = f"no rinse stands after {each.place.label}, a {each.place.role}"
            yield BrokenRule(each.number, words, "Put a rinse next to it.")


def _lengths(places: Sequence[Place], rules: Rules) -> Iterator[BrokenRule]:
    """More than the tray holds, or than the method lets stand in one run."""
    solutions = sum(place.is_test_solution for place in places)
    limits: list[tuple[float, int, str]] = [
        (float(v), len(places), "positions") for v in rules.values("at most positions")
    ]
    limits += [(float(v), solutions, "test solutions") for v in rules.values("at most test solutions")]
    for most, count, what in limits:
        if count > most:
            yield BrokenRule(None, f"{count} {what} stand in the run, the method lets {most:g}", "Plan two runs.")
    if rules.tray_places is not None and len(places) > rules.tray_places:
        words = f"the tray holds {rules.tray_places} of {len(places)} positions: from here on there is no cup"
        yield BrokenRule(rules.tray_places + 1, words, "Plan two runs, or say who fills the tray again.")


def _of_the_method(rules: Rules) -> Iterator[BrokenRule]:
    """What no order of the list can mend: lines that are missing, a curve that begins too high, a rule not known."""
    there = {line.element for line in rules.lines}
    for line in rules.lines:
        for element in (element for element in line.interferents if element not in there):
            words = f"{line.line} is corrected for {element}, and the method has no line of {element}"
            yield BrokenRule(None, words, "Have a line of it put into the method.")
        if not rules.standards or line.is_internal_standard:
            continue
        if line.lowest_standard is None:
            yield BrokenRule(None, f"no standard holds {line.element}: {line.line} has no curve", "Take other lots.")
        elif not is_not_above(line.lowest_standard, line.quantification_limit):
            words = (
                f"the lowest standard holds {line.lowest_standard:g} {rules.solution_unit} of {line.element}, above "
                f"the quantification limit of {line.line}, {line.quantification_limit:g} {rules.solution_unit}"
            )
            yield BrokenRule(None, words, "Take a lower standard (EPA 6010D, 10.7).")
    for name in sorted({name for name, _ in rules.named} - NAMES):
        yield BrokenRule(None, f"the method names a rule that is not known here: “{name}”", "Keep it by eye.")


def _calibration(block: Sequence[Numbered], rules: Rules) -> Iterator[BrokenRule]:
    """Each block begins with the whole calibration."""
    if not rules.standards:
        return
    first, here = block[0], [each for each in block if each.place.role in CALIBRATING]
    held = [each.place.key.number for each in here]
    missing = [label for ordinal, label in rules.standards.items() if ordinal not in held]
    if missing:
        words = f"calibration block {first.place.block} lacks {', '.join(missing)}"
        yield BrokenRule(first.number, words, "Put the calibration solutions together, at the start of the block.")
    is_measuring = False
    for each in block:
        if is_measuring and each.place.role in CALIBRATING:
            words = f"{each.place.label} stands apart from the other calibration solutions"
            yield BrokenRule(each.number, words, "Calibrate first, then measure.")
        is_measuring |= each.place.role not in {*CALIBRATING, Role.RINSE}
    if sorted(set(held)) != sorted(held):
        yield BrokenRule(first.number, "a calibration solution stands twice in the block", "Take one of the two out.")


def _checks(block: Sequence[Numbered], rules: Rules) -> Iterator[BrokenRule]:
    """Checks at the start, after every so many test solutions, and at the end of a block."""
    solutions = [each.number for each in block if each.place.is_test_solution]
    has_sample = any(each.place.role is Role.SAMPLE and each.place.is_test_solution for each in block)
    for control in rules.controls:
        if not solutions or (control.role in OF_A_SAMPLE and not has_sample):
            continue
        if rules.by_additions and control.role is Role.STANDARD_ADDITION:
            continue  # of each sample: `_additions`
        at = [each.number for each in block if each.place.key.kind == "c" and each.place.key.number == control.ordinal]
        name = f"{control.role}" + (f" ({control.name})" if control.name else "")
        if control.at_start and control.role not in OF_A_SAMPLE and not any(n < solutions[0] for n in at):
            words = f"no {name} stands before the first test solution of the block"
            yield BrokenRule(solutions[0], words, "Put one in before it.")
        if control.at_end and not any(n > solutions[-1] for n in at):
            words = f"no {name} stands after the last test solution of the block"
            yield BrokenRule(solutions[-1], words, "Put one in behind it.")
        yield from _often_enough(block, control, name)


def _often_enough(block: Sequence[Numbered], control: Control, name: str) -> Iterator[BrokenRule]:
    since = 0
    for each in block if control.every else ():
        if each.place.key.kind == "c" and each.place.key.number == control.ordinal:
            since = 0
        since += each.place.is_test_solution
        if control.every and since == control.every + 1 and each.place.is_test_solution:
            words = f"more than {control.every} test solutions stand without a {name} among them"
            yield BrokenRule(each.number, words, "Put one in before it.")


def _blank_checks(block: Sequence[Numbered], rules: Rules) -> Iterator[BrokenRule]:
    """A blank check follows each continuing check, where the method has blank checks among the solutions."""
    if not any(control.role is Role.BLANK_CHECK and control.every for control in rules.controls):
        return
    check: Numbered | None = None
    measured = False
    for each in block:
        if check and each.place.is_test_solution:
            yield _no_blank(check)
            check = None
        measured |= each.place.is_test_solution
        if each.place.role is Role.CONTINUING_VERIFICATION and measured:
            check = each
        elif each.place.role is Role.BLANK_CHECK:
            check = None
    if check:
        yield _no_blank(check)


def _no_blank(check: Numbered) -> BrokenRule:
    words = f"no {Role.BLANK_CHECK} stands between {check.place.label} and what comes next"
    return BrokenRule(check.number, words, "Put one in behind it.")


def _recalibration(block: Sequence[Numbered], rules: Rules) -> Iterator[BrokenRule]:
    solutions = [each.number for each in block if each.place.is_test_solution]
    if rules.recalibrate_every and len(solutions) > rules.recalibrate_every:
        words = f"more than {rules.recalibrate_every} test solutions stand on one calibration"
        yield BrokenRule(solutions[rules.recalibrate_every], words, "Put the standards in again before it.")
