"""The same readings, written in every shape that a file can have, are read as the same."""

from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.readers.layout import FIXED, Blocks, Layout, Shape
from labresults.readers.read import read
from tests.readers.files import LONG, WIDE

LINES = ("Cu 324.754", "Cu 327.396", "Y 371.029")
REPLICATES = 3
Run = list[list[list[str]]]
"""By position, line and replicate."""

LONG_ONE = replace(LONG, replicates=("Reading",), repeated_rows=True)
NUMBERED = replace(WIDE, line_template="{element} {wavelength} #{n}", unit="mg/L")
BY_BLOCK = Layout(
    "a block a position", 1, Shape.LONG, "mg/L", line="Line", replicates=("R{n}",), heading_row=3,
    above=(("Position", "position"), ("Name", "label")), blocks=Blocks.POSITION,
)  # fmt: skip


def written(rows: list[list[str]], sign: str = ";") -> str:
    return "\n".join(sign.join(row) for row in rows) + "\n"


def place(number: int) -> list[str]:
    return [str(number + 1), f"S{number + 1}"]


def as_long(run: Run) -> str:
    head = ["Position", "Name", "Line", *(f"Reading {n + 1}" for n in range(REPLICATES))]
    rows = [[*place(p), line, *run[p][at]] for p in range(len(run)) for at, line in enumerate(LINES)]
    return written([head, *rows], ",")


def as_long_rows(run: Run) -> str:
    rows = [
        [*place(p), line, run[p][at][n]]
        for at, line in enumerate(LINES)
        for p in range(len(run))
        for n in range(REPLICATES)
    ]
    return written([["Position", "Name", "Line", "Reading"], *rows], ",")


def as_wide_rows(run: Run) -> str:
    rows = [[*place(p), *(of[n] for of in run[p])] for p in range(len(run)) for n in range(REPLICATES)]
    return written([["Position", "Name", *LINES], *rows])


def as_wide_columns(run: Run) -> str:
    head = ["Position", "Name", *(f"{line} #{n + 1}" for n in reversed(range(REPLICATES)) for line in LINES)]
    rows = [[*place(p), *(of[n] for n in reversed(range(REPLICATES)) for of in run[p])] for p in range(len(run))]
    return written([head, *rows])


def as_wide_twice_headed(run: Run) -> str:
    head = ["Position", "Name", *(line for line in LINES for _ in range(REPLICATES))]
    return written([head, *([*place(p), *(text for of in run[p] for text in of)] for p in range(len(run)))])


def as_blocks_of_positions(run: Run) -> str:
    blocks = []
    for p in range(len(run)):
        number, name = place(p)
        rows = [[line, *run[p][at]] for at, line in enumerate(LINES)]
        blocks.append(f"Position: {number}\nName;{name}\n" + written([["Line", "R1", "R2", "R3"], *rows]))
    return "\n".join(blocks)


def as_blocks_of_replicates(run: Run) -> str:
    head = ["Position", "Name", *LINES]
    return "\nround\n\n".join(
        written([head, *([*place(p), *(of[n] for of in run[p])] for p in range(len(run)))]) for n in range(REPLICATES)
    )


def as_blocks_of_lines(run: Run) -> str:
    return "\n".join(
        written(
            [
                ["Position", "Name", f"{line} #1", f"{line} #2", f"{line} #3"],
                *([*place(p), *run[p][at]] for p in range(len(run))),
            ]
        )
        for at, line in enumerate(LINES)
    )


def as_fixed_width(run: Run) -> str:
    rows = [["Position", "Name", *LINES]]
    rows += [[*place(p), *(of[n] for of in run[p])] for p in range(len(run)) for n in range(REPLICATES)]
    return "\n".join("".join(f"{cell:<28}" for cell in row).rstrip() for row in rows) + "\n"


def in_order(run: Run) -> str:
    return written(
        [
            ["Name", *LINES],
            *([place(p)[1], *(of[n] for of in run[p])] for p in range(len(run)) for n in range(REPLICATES)),
        ]
    )


@pytest.mark.parametrize(
    ("write", "layout"),
    [
        (as_long, replace(LONG, unit="mg/L")),
        (as_long_rows, LONG_ONE),
        (as_wide_rows, replace(WIDE, repeated_rows=True)),
        (as_wide_columns, NUMBERED),
        (as_wide_twice_headed, replace(WIDE, repeated_columns=True)),
        (as_blocks_of_positions, BY_BLOCK),
        (as_blocks_of_replicates, replace(WIDE, blocks=Blocks.REPLICATE)),
        (as_blocks_of_lines, replace(NUMBERED, blocks=Blocks.MORE)),
        (as_fixed_width, replace(WIDE, delimiter=FIXED, column_starts=(1, 29, 57, 85, 113), repeated_rows=True)),
        (in_order, replace(WIDE, position="", position_from_order=True, repeated_rows=True)),
    ],
    ids=lambda of: getattr(of, "__name__", ""),
)
@given(run=st.lists(st.tuples(*[st.tuples(*[st.floats(-1e9, 1e9)] * REPLICATES)] * len(LINES)), min_size=1, max_size=5))
def test_every_shape_says_the_same(
    write: Callable[[Run], str], layout: Layout, run: list[tuple[tuple[float, ...], ...]]
) -> None:
    # given a run written in one of the shapes
    texts = [[[repr(value) for value in of] for of in lines] for lines in run]
    # when it is read
    found = read(write(texts).encode(), "x", layout)
    # then every replicate is at its position and line, in its order
    assert found.problems == ()
    assert {(r.position, r.label, r.line): r.replicates for r in found.readings} == {
        (p + 1, f"S{p + 1}", line): tuple(texts[p][at]) for p in range(len(run)) for at, line in enumerate(LINES)
    }
    assert len(found.readings) == len(run) * len(LINES)
