"""The result of a run: a folder, read through one small type. It is complete or it is not there.

A run is made in a folder of its own and takes the place of the last one in one step; ``run.json`` lists
every file of it, and a folder without it is not a result.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from harvest.errors import ResultError

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

RUN_FILE = "run.json"


@dataclass(frozen=True)
class Result:
    """A complete result folder."""

    folder: Path
    run: dict[str, Any]

    @classmethod
    def at(cls, folder: Path) -> Result:
        """The result in ``folder``. Raises :class:`ResultError` when there is none."""
        try:
            run = json.loads((folder / RUN_FILE).read_text(encoding="utf-8"))
        except FileNotFoundError:
            raise ResultError(
                f"There is no result in {folder}; make one first: harvest run PROJECT"
            ) from None
        except (OSError, ValueError) as error:
            raise ResultError(f"{folder / RUN_FILE} can't be read ({error}); run again.") from None
        if not isinstance(run, dict) or "version" not in run:
            raise ResultError(f"{folder / RUN_FILE} was not written by harvest run; choose another folder.")
        return cls(folder, run)

    def table(self, name: str, columns: Sequence[str] | None = None) -> gpd.GeoDataFrame | pd.DataFrame:
        """Table ``name`` (all of it, or some ``columns``); a GeoDataFrame when geometry is among them."""
        import geopandas as gpd
        import pandas as pd
        import pyarrow.parquet as pq

        path = self._file(name)
        wanted = list(columns) if columns is not None else [*pq.read_schema(path).names]
        if "geometry" in wanted:
            return gpd.read_parquet(path, columns=None if columns is None else wanted)
        return pd.read_parquet(path, columns=wanted)

    def rows(self, name: str) -> int:
        """How many rows table ``name`` has."""
        import pyarrow.parquet as pq

        return int(pq.ParquetFile(self._file(name)).metadata.num_rows)

    def batches(self, name: str, columns: Sequence[str], rows: int = 50_000) -> Iterator[pd.DataFrame]:
        """Table ``name`` in pieces of at most ``rows`` rows, without geometry, in the file's order."""
        import pyarrow.parquet as pq

        for batch in pq.ParquetFile(self._file(name)).iter_batches(rows, columns=list(columns)):
            yield batch.to_pandas(types_mapper=_nullable().get)

    def has(self, name: str) -> bool:
        """Whether the result holds table ``name``; those of streets, outreach and surroundings are optional."""
        return (self.folder / f"{name}.parquet").exists()

    def empty_columns(self, name: str) -> frozenset[str]:
        """The columns of table ``name`` that no row has a value in, by what its file says of itself."""
        import pyarrow.parquet as pq

        about = pq.ParquetFile(self._file(name)).metadata
        groups = [about.row_group(number) for number in range(about.num_row_groups)]
        chunks = [group.column(place) for group in groups for place in range(about.num_columns)]
        filled = {
            chunk.path_in_schema
            for chunk in chunks
            if not chunk.is_stats_set or chunk.statistics.null_count < chunk.num_values
        }
        return frozenset(about.schema.column(place).path for place in range(about.num_columns)) - filled

    def _file(self, name: str) -> Path:
        path = self.folder / f"{name}.parquet"
        if not path.exists():
            raise ResultError(f"{path} is missing; the result is incomplete, so run again.")
        return path


def _nullable() -> dict[Any, Any]:
    """Pandas types that keep a missing figure missing, by Arrow type."""
    import pandas as pd
    import pyarrow as pa

    return {
        pa.int64(): pd.Int64Dtype(),
        pa.float64(): pd.Float64Dtype(),
        pa.bool_(): pd.BooleanDtype(),
        pa.string(): pd.StringDtype(),
        pa.large_string(): pd.StringDtype(),
    }
