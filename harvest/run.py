"""``harvest run``: everything, from the files to a result folder that is complete or not there."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from harvest import __version__
from harvest.achieved import changed, last_result, reported
from harvest.canvass import canvassed
from harvest.clock import Clock
from harvest.corrected import corrected
from harvest.deliver import delivered
from harvest.errors import ProjectError
from harvest.estimate import Estimate, Inputs, estimate, ranked, totals
from harvest.fields import CHANGES, FINDINGS, PARCELS, PUBLIC, ROOFS, SIDES, TABLES
from harvest.findings import Finding
from harvest.layers import Layer, MonthlyTemperature
from harvest.learned import learned_chances
from harvest.office import read_office
from harvest.outreach import visited
from harvest.place.plane import bounds_wgs84, check_extent, check_together
from harvest.places import with_places
from harvest.plan.money import check_tariff
from harvest.project import Project, Settings, settings_in_force
from harvest.published import published
from harvest.ranges import with_ranges
from harvest.read.context import read_context
from harvest.read.districts import read_districts
from harvest.read.footprints import read_footprints
from harvest.read.gauge import read_gauge
from harvest.read.parcels import read_parcels
from harvest.read.rain import read_rain
from harvest.read.streets import read_streets
from harvest.read.temperature import read_temperature
from harvest.result import RUN_FILE, Result
from harvest.show.brief import write_brief
from harvest.show.datapackage import write_datapackage
from harvest.show.figure import write_figure
from harvest.show.letters import write_letters
from harvest.show.map import write_map
from harvest.show.public import write_public
from harvest.show.rows import findings_frame
from harvest.show.tables import write_tables
from harvest.show.walk import write_walk_lists
from harvest.staging import check_replaceable, staged
from harvest.street_sides import on_streets

PARQUET = {"index": False, "compression": "zstd", "use_dictionary": False}
"""Values stand in the file one by one: few repeat, and compressed that is smaller and sooner written than numbers of
values."""


def read_inputs(project: Project, clock: Clock) -> Inputs:
    """Every input of ``project``, read and compared. Raises an :class:`InputError` for what can't be used."""
    settings, folder = project.settings, project.folder
    parcels: Layer | None = None
    if settings.parcels is not None:
        with clock.step("reading parcels"):
            parcels = read_parcels(
                settings.parcels, folder, settings.limits, settings.exclude, settings.eligibility
            )
    extents = [parcels.extent] if parcels is not None else []
    with clock.step("reading footprints"):
        footprints = read_footprints(settings.footprints, folder, settings.limits, *extents)
    layers = [layer for layer in (footprints, parcels) if layer is not None]
    extents.append(footprints.extent)
    if parcels is not None:
        check_together(extents[1], extents[0])
    bounds = bounds_wgs84(extents)
    with clock.step("reading rainfall"):
        rain = read_rain(settings.rainfall, folder, settings.limits, bounds)
    streets: Layer | None = None
    if settings.streets is not None:
        with clock.step("reading streets"):
            streets = read_streets(settings.streets, folder, settings.limits, *extents)
    districts = None
    if settings.districts is not None:
        districts = read_districts(settings.districts, folder, settings.limits, extents[0])
    context = tuple(read_context(settings.context, folder, settings.limits, extents))
    gauge = temperature = None
    if settings.gauge is not None:
        with clock.step("reading the gauge"):
            gauge = read_gauge(settings.gauge, folder, settings.limits)
    if settings.temperature is not None:
        temperature = read_temperature(settings.temperature, folder, settings.limits)
    season = settings.season
    if not (rain.monthly or season.whole_year or season.monthly_shares):
        raise ProjectError(
            f"{project.path}: the rainfall grid holds whole years only, so it can't say what falls from "
            f"{season.first} to {season.last}. Give 12 monthly bands, or [season] monthly_shares, or leave "
            "[season] out to have figures for the whole year."
        )
    office = read_office(project, clock)
    read = [
        one
        for one in (*layers, rain, gauge, temperature, streets, districts, *context, office)
        if one is not None
    ]
    found = [
        *(told for one in read for told in one.findings),
        *check_extent(bounds),
        *_of_season(project, temperature),
    ]
    if settings.tariff is not None:
        found += check_tariff(settings.tariff)
    return Inputs(
        footprints,
        parcels,
        rain,
        bounds,
        tuple(found),
        gauge,
        temperature,
        streets,
        districts,
        context,
        office,
    )


def _of_season(project: Project, temperature: MonthlyTemperature | None) -> list[Finding]:
    if not project.settings.season.whole_year:
        return []
    frost = temperature is not None and float(temperature.tmin_c.min()) < 0
    cold = (
        " Mean lows below freezing say that there is frost, so figures of barrels are far too high."
        if frost
        else ""
    )
    return [
        Finding(
            "whole year",
            "project file",
            "warning" if frost else "note",
            1,
            f"No season is set, so capturable litres and barrels count the whole year, winter too.{cold}",
            "Set [season] first and last to the days when barrels stand under the downspouts.",
        )
    ]


def run(project: Project, out: Path | None = None, clock: Clock | None = None) -> Result:
    """Read, estimate, and write the result folder; returns it. On any fault the last good result stays."""
    clock = clock or Clock()
    folder = project.out_folder(out)
    check_replaceable(folder)
    inputs = read_inputs(project, clock)
    found, told = worked_out(inputs, project.settings, clock)
    moved = changed(last_result(folder), found.more.get(SIDES.name))
    if moved is not None:
        found = replace(found, more={**found.more, CHANGES.name: moved})
    findings = [*inputs.findings, *found.findings]
    with staged(folder) as stage:
        with clock.step("writing result tables"):
            result = write_core(stage, project, inputs, found, findings, told)
        _show(result, project, findings, clock)
        _write_json(stage / "timing.json", {name: round(s, 3) for name, s in clock.seconds.items()})
        _list_files(stage)
    return Result.at(folder)


def worked_out(inputs: Inputs, settings: Settings, clock: Clock) -> tuple[Estimate, dict[str, Any]]:
    """Everything for one area, from layers to ranked tables, and what joins ``run.json`` of it."""
    found = corrected(estimate(inputs, settings, clock), inputs, settings)
    found, barrels = delivered(found, inputs, settings, clock)
    found, ranges = with_ranges(found, barrels, settings, clock)
    found, placed = on_streets(with_places(found, inputs, clock), inputs, settings, clock)
    found = learned_chances(visited(found, inputs, settings), settings)
    found, rounds = canvassed(ranked(found, settings, clock), placed, settings, clock)
    found = published(reported(found, settings), settings, clock)
    told = {
        "weather": found.weather.as_dict() if found.weather else None,
        "barrels": barrels.record if barrels else None,
        "ranges": ranges,
        "rounds": rounds,
        **found.told,
    }
    return found, told


def write_core(
    stage: Path,
    project: Project,
    inputs: Inputs,
    found: Estimate,
    findings: Sequence[Finding],
    told: Mapping[str, Any],
) -> Result:
    """The GeoParquet tables and ``run.json``: all that later stages read. ``told`` joins ``run.json`` as it is."""
    frames = {PARCELS.name: found.parcels, ROOFS.name: found.roofs, **found.more}
    for name, frame in frames.items():
        table = TABLES[name]
        ready = table.checked(table.filled(frame)[list(table.names)])
        mapped = {"schema_version": "1.1.0", "write_covering_bbox": True} if "geometry" in ready else {}
        ready.to_parquet(stage / f"{name}.parquet", **mapped, **PARQUET)
    _write_findings(stage, findings)
    _write_json(stage / RUN_FILE, _run_record(project, inputs, found) | dict(told) | {"files": []})
    return Result.at(stage)


def _show(result: Result, project: Project, findings: list[Finding], clock: Clock) -> None:
    """What people open. What a writer has to say joins the findings, and so what is written after it."""
    settings, folder = project.settings, result.folder
    outputs = settings.outputs
    if outputs.figure:
        with clock.step("drawing the figure"):
            findings += write_figure(result, folder)
    if outputs.walk_lists:
        with clock.step("walk lists and letters"):
            findings += [*write_walk_lists(result, folder), *write_letters(result, folder)]
    _write_findings(folder, findings)
    with clock.step("drawing the map"):
        findings += write_map(result, folder, outputs.map_most_parcels, outputs.map_best, settings.basemap)
    if outputs.brief:
        with clock.step("typesetting the brief"):
            findings += write_brief(result, folder)
    if result.has(PUBLIC.name):
        with clock.step("the public edition"):
            write_public(result, folder, outputs.figure)
    _write_findings(folder, findings)
    with clock.step("writing tables"):
        findings += write_tables(result, folder, outputs.formats, outputs.xlsx_most_rows)
        write_datapackage(result, folder)
    _write_findings(folder, findings)


def _write_findings(stage: Path, findings: Sequence[Finding]) -> None:
    kinds = {one.name: "int64" if one.dtype == "integer" else "str" for one in FINDINGS.fields}
    table = findings_frame(findings).astype(kinds)
    FINDINGS.checked(table).to_parquet(stage / "findings.parquet", **PARQUET)


def _run_record(project: Project, inputs: Inputs, found: Estimate) -> dict[str, Any]:
    settings = project.settings
    parcels = inputs.parcels.sources if inputs.parcels is not None else ()
    others = [
        one.sources
        for one in (
            inputs.rain,
            inputs.gauge,
            inputs.temperature,
            inputs.streets,
            inputs.districts,
            *inputs.context,
            inputs.office,
        )
        if one is not None
    ]
    sources = [*inputs.footprints.sources, *parcels, *(one for of_layer in others for one in of_layer)]
    return {
        "program": "harvest-mapper",
        "version": __version__,
        "town": settings.town.name,
        "units": settings.town.units,
        "settings": list(settings_in_force(settings)),
        "inputs": [
            {
                "role": one.role,
                "file": one.path.name,
                "sha256": one.sha256,
                "bytes": one.bytes,
                "rows": one.rows,
                "crs": one.crs,
            }
            for one in sources
        ],
        "rainfall": inputs.rain.as_dict(),
        "ledger": {account.table: account.as_dict() for account in found.accounts},
        "plane": found.plane.srs,
        "offset": found.offset.as_dict() if found.offset else None,
        "roofs_across_grid_cells": found.straddling_cells,
        "totals": totals(found),
    }


def _write_json(path: Path, values: dict[str, Any]) -> None:
    text = json.dumps(values, indent=1, ensure_ascii=False, default=str, allow_nan=False)
    path.write_text(text + "\n", encoding="utf-8")


def _list_files(stage: Path) -> None:
    """Write the names of everything the run made into its ``run.json``."""
    run = Result.at(stage).run
    run["files"] = sorted(entry.name for entry in stage.iterdir())
    _write_json(stage / RUN_FILE, run)
