"""How much a file may hold. What is larger is refused in words before it can fill a machine's memory."""

LARGEST_FILE_BYTES = 100_000_000
"""Five times a run of 10,000 positions, 40 lines and 3 replicates as text."""

MOST_ROWS = 1_048_576
"""As many as a sheet of a workbook has in common programs, 2 to the 20th (common practice, no source)."""

MOST_COLUMNS = 2_000
"""A wide table of 100 lines with ten replicates, and as much again for means, spreads and concentrations."""

LONGEST_CELL = 131_072
"""Letters in one cell, as the csv module of the language bounds them; more is a quotation mark that never closes."""

LONGEST_HEADING = 200
"""Letters of a heading in which a line, a unit or a plain word is looked for."""

MOST_SHEETS = 200
MOST_PARTS = 2_000
"""Files packed in a workbook: a few a sheet, and pictures."""

LARGEST_UNPACKED_BYTES = 400_000_000
"""All parts of a workbook together: more than a hundred of the largest runs, less than a machine's memory."""

LARGEST_RATIO = 250
"""Unpacked to packed, of a part above one megabyte: sheets of numbers reach some 30, a part of one letter 1,000."""

RATIO_FROM_BYTES = 1_000_000
