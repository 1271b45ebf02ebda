"""The picture of all readings: a mark for what says something, told apart by shape, small however large the run is."""

import random

import pytest

from labresults.plots.matrix import MOST_LINKS, Matrix, State, counted, mark_of, matrix_plot, parted
from tests.plots.test_drawings import SVG, marks, parsed

HELD, BELOW, FAILED, TOUCHED, OVER = State.HELD, State.BELOW, State.FAILED, State.TOUCHED, State.OVER_RANGE


def drawn(*rows: list[State], **more: object) -> str:
    lines = tuple(f"Cu {324 + n}.754" for n in range(len(rows)))
    positions = tuple(range(1, len(rows[0]) + 1))
    return matrix_plot(Matrix(lines, positions, rows, position_address="/runs/R26-0001?at={0}#p{0}", **more))


def linked(drawing: str) -> list[tuple[str, str]]:
    """Address and title of each link that has a title."""
    return [
        (a.get("href") or "", a.findtext(f"{SVG}title") or "")
        for a in parsed(drawing).iter(f"{SVG}a")
        if a.find(f"{SVG}title") is not None
    ]


def test_what_says_something_leads_to_its_position() -> None:
    assert linked(drawn([HELD, OVER, HELD, FAILED])) == [
        ("/runs/R26-0001?at=2#p2", "Cu 324.754, position 2: over range"),
        ("/runs/R26-0001?at=4#p4", "Cu 324.754, position 4: control sample outside"),
    ]


@pytest.mark.parametrize(("count", "bands"), [(1, 1), (50, 1), (1000, 5)])
def test_a_large_run_is_parted_into_bands_that_hold_every_position_once(count: int, bands: int) -> None:
    whole = Matrix(("Cu 324.754",), tuple(range(1, count + 1)), [[HELD] * (count - 1) + [FAILED]], blocks=(1,) * count)
    parts = parted(whole)
    assert len(parts) == bands
    assert tuple(number for part in parts for number in part.positions) == whole.positions
    assert [state for part in parts for state in part.states[0]] == whole.states[0]
    # then each is one band of the whole drawing: no part is as tall as two
    assert len({parsed(matrix_plot(part)).get("viewBox", "").split()[3] for part in parts}) == 1


def test_equal_neighbours_are_one_mark() -> None:
    assert linked(drawn([HELD, TOUCHED, TOUCHED, TOUCHED])) == [
        ("/runs/R26-0001?at=2#p2", "Cu 324.754, positions 2 to 4: stands on a failed control sample")
    ]


def test_every_state_but_one_that_holds_has_a_mark_of_its_own_shape() -> None:
    shapes = {state: mark_of(state).replace('class="', "").partition("m-mark")[2] for state in State if state != HELD}
    assert len(set(shapes.values())) == len(State) - 1
    kinds = {state: [e.tag for e in parsed(mark_of(state))][1:] for state in State}
    assert kinds[HELD] == []
    assert all(kinds[state] for state in State if state != HELD)


def test_the_finding_is_said_in_words() -> None:
    drawing = drawn([HELD, BELOW], [FAILED, HELD])
    assert parsed(drawing).findtext(f"{SVG}title") == (
        "4 readings of 2 positions at 2 lines: 1 control sample outside, 1 below detection limit, 2 holds"
    )
    assert counted(Matrix(("Cu",), (1, 2), [[HELD, BELOW]])) == {BELOW: 1, HELD: 1}


def test_another_calibration_block_is_parted_by_a_stroke() -> None:
    assert len(marks(drawn([HELD] * 4, blocks=(1, 1, 2, 2)), "p-dash", "path")) == 1
    assert not marks(drawn([HELD] * 4, blocks=(1, 1, 1, 1)), "p-dash", "path")


def test_lines_lead_to_their_curve() -> None:
    drawing = drawn([HELD], line_addresses={"Cu 324.754": "?line=Cu#cal"})
    assert 'href="?line=Cu#cal"' in drawing


@pytest.mark.parametrize("share_below", [0.0, 0.3, 0.9])
def test_a_night_of_forty_thousand_readings_stays_a_small_file(share_below: float) -> None:
    """Given 1,000 positions at 40 lines without any order, many of them failing; then it is under 600 kB."""
    chance = random.Random(26)

    def state() -> State:
        if chance.random() < share_below:
            return BELOW
        return chance.choice([TOUCHED, OVER, FAILED]) if chance.random() < 0.1 else HELD

    drawing = drawn(*([state() for _ in range(1_000)] for _ in range(40)))
    assert len(drawing.encode()) < 600_000
    assert len(linked(drawing)) <= MOST_LINKS


def test_very_many_marks_are_no_stops_of_the_tabulator_key() -> None:
    few, many = drawn([OVER, HELD] * 5), drawn(*([OVER, HELD] * 40 for _ in range(3)))
    assert 'tabindex="-1"' not in few
    assert many.count('tabindex="-1"') == 120
