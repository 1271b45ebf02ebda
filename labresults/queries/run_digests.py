"""What an evaluation was given and what it gave, each as one digest; by the edition of the rules that it was made by.

By the first edition everything is written out as text. Later ones take the bits of the arrays as they are.
"""

import platform
from hashlib import sha256
from typing import Any

import numpy as np
from numpy.typing import NDArray

from labresults.calculation.result_table import ResultTable
from labresults.calculation.run import Evaluation
from labresults.chain import digest_rows
from labresults.queries.run_tables import LoadedRun


def inputs_digest(loaded: LoadedRun) -> str:
    """SHA-256 [hex] of everything that the evaluation was given."""
    table = loaded.table
    arrays = (table.signal, table.spread, table.count, table.saturated)
    if loaded.method.rules == 1:
        given = [array.tolist() for array in arrays]
        return digest_rows([[repr(loaded.method)], [repr(table.positions), table.line_keys], given])
    pieces = (sorted(table.left_out), sorted(table.replicates.items()), table.times_s)
    return digest_rows([[loaded.method], table.positions, table.line_keys, map(_digest_array, arrays), pieces])


def outputs_digest(evaluated: Evaluation) -> str:
    """SHA-256 [hex] of everything that the evaluation gave, to the last bit."""
    arrays = (evaluated.concentration, evaluated.u_concentration)
    said = [evaluated.curves, evaluated.outcomes, evaluated.proposals]
    if evaluated.rules == 1:
        return digest_rows([[array.tolist() for array in arrays], *said, evaluated.results])
    more = (evaluated.qualities, evaluated.repeats, evaluated.disagreements, sorted(evaluated.counted.items()))
    return digest_rows([map(_digest_array, arrays), *said, *more, _of_results(evaluated.results)])


def _of_results(table: ResultTable) -> list[object]:
    """What results are made of, column by column."""
    arrays = (table.kept, table.value, table.detection_limit, table.quantification_limit, table.upper_limit)
    more = (table.u, table.u_reading, table.solution, table.marks)
    return [*map(_digest_array, (*arrays, *more)), table.determinations, sorted(table.why.items())]


def _digest_array(array: NDArray[Any]) -> str:
    """SHA-256 [hex] of the shape and of the bits of an array; one kind of NaN stands for all."""
    if array.dtype.kind == "f":
        array = np.where(np.isnan(array), np.nan, array)
    written = np.ascontiguousarray(array, dtype=array.dtype.newbyteorder("<"))
    return sha256(f"{array.shape} {written.dtype.str} ".encode() + written.tobytes()).hexdigest()


def this_platform() -> str:
    """Where numbers are the same bit for bit: processor, interpreter and numpy."""
    return f"{platform.system()} {platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}"
