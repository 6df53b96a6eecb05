"""``harvest check``: every input read and compared, nothing computed and nothing written."""

from __future__ import annotations

from dataclasses import dataclass

from harvest.clock import Clock
from harvest.findings import Account, Finding
from harvest.place.plane import bounds_text, bounds_wgs84
from harvest.project import Project, settings_in_force
from harvest.run import read_inputs


@dataclass(frozen=True)
class CheckReport:
    """Lines to print, and the findings of the readers."""

    lines: tuple[str, ...]
    findings: tuple[Finding, ...]


def check(project: Project, clock: Clock) -> CheckReport:
    """Read the inputs of ``project``; raises an :class:`InputError` for what would stop a run."""
    inputs = read_inputs(project, clock)
    lines = [f"{project.settings.town.name}: the project file and all inputs can be used."]
    for name, layer in (("footprints", inputs.footprints), ("parcels", inputs.parcels)):
        if layer is None:
            lines.append(f"{name}: none; each roof stands for itself.")
            continue
        lines.append(f"{name}: {_rows(layer.account)}, {bounds_text(bounds_wgs84([layer.extent]))}.")
    bands, rows, columns = inputs.rain.depth_mm.shape
    lines.append(
        f"rainfall: {'12 months' if bands == 12 else 'whole years'}, {rows} × {columns} cells over the town."
    )
    if inputs.office is not None:
        lines += [f"{one.table}: {_rows(one)}." for one in inputs.office.accounts]
    left = [one["setting"] for one in settings_in_force(project.settings) if one["from"] == "default"]
    lines.append(
        f"{len(left)} settings stand at their defaults, among them the runoff coefficient and the storm."
        if "losses.coefficient" in left
        else f"{len(left)} settings stand at their defaults."
    )
    lines.append(f"Findings: {len(inputs.findings)}")
    return CheckReport(tuple(lines), inputs.findings)


def _rows(account: Account) -> str:
    reasons = "".join(f", {count:,} dropped ({reason})" for reason, count in account.dropped.items())
    return f"{account.rows_in:,} rows{reasons}"
