"""A small invented town in a folder: fifty homes, twelve months of rain, six years of days; for tests that spoil or
change something."""

from __future__ import annotations

import functools
import json
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
import town_weather
from make_town import build_town, write_town

from harvest.clock import Clock
from harvest.estimate import Estimate
from harvest.project import read_project
from harvest.run import read_inputs, worked_out

YEARS = ("2004", "2009")
SECTIONS: dict[str, dict[str, Any]] = {
    "town": {"name": "Smallwick"},
    "footprints": {"file": "footprints.gpkg", "id": "bldg_no"},
    "parcels": {"file": "parcels.zip", "id": "parcel_id", "address": "address", "land_use": "land_use"},
    "rainfall": {"file": "rain_monthly.tif"},
    "gauge": {"file": "gauge.csv"},
    "temperature": {"file": "temperature.csv"},
    "season": {"first": "04-15", "last": "10-31"},
    "doubt": {"draws": 60},
    "outputs": {"folder": "results", "formats": ["csv"]},
}
