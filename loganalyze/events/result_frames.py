"""Results as data frames.

They are made through Arrow, so that pandas is loaded only when a frame is requested.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Any

import pyarrow as pa
from numpy.typing import NDArray

from loganalyze.events.exceedances import Exceedance
from loganalyze.limits.evaluation import STATES
from loganalyze.quantities.quantity_registry import only_speeds

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd

_KINDS = {"int": pa.int64(), "str": pa.string(), "float": pa.float64(), "bool": pa.bool_(),
          "np.datetime64 | None": pa.timestamp("ns")}


def samples(
    time: NDArray[np.float64],
    columns: Mapping[str, NDArray[Any]],
    limit_names: Sequence[str],
) -> pd.DataFrame:
    """Return a frame of one row per sample; states and the governing limit as categories."""
    arrays: dict[str, pa.Array] = {"time_s": pa.array(time)}
    for name, values in columns.items():
        if name == "governing_limit":
            arrays[name] = _words(values, limit_names)
        elif name == "state":
            arrays[name] = _words(values, STATES)
        elif name.startswith("state_"):
            limit = limit_names[int(name.removeprefix("state_"))]
            arrays[f"state_{limit}"] = _words(values, STATES)
        else:
            arrays[name] = pa.array(values)
    frame: pd.DataFrame = pa.table(arrays).to_pandas()
    return frame


def exceedances(found: Sequence[Exceedance]) -> pd.DataFrame:
    """Return a frame of one row per exceedance; all columns also without any."""
    columns = [(field.name, _KINDS[str(field.type)]) for field in fields(Exceedance)
               if field.name != "over"]
    columns.insert(1, ("number", _KINDS["int"]))
    schema = pa.schema(columns)
    rows = [{**asdict(record), "number": number} for number, record in enumerate(found, 1)]
    if not only_speeds():
        schema = schema.append(pa.field("worst_excess", pa.float64())).append(
            pa.field("unit", pa.string()))
        rows = [{**row, "worst_excess": record.worst_excess, "unit": record.unit}
                for row, record in zip(rows, found, strict=True)]
    frame: pd.DataFrame = pa.Table.from_pylist(rows, schema=schema).to_pandas()
    return frame


def _words(codes: NDArray[Any], names: Sequence[str]) -> pa.Array:
    known = pa.array(codes, mask=codes >= len(names))
    return pa.DictionaryArray.from_arrays(known, pa.array(names, pa.string()))
