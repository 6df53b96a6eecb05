"""Every text of the workbook, the GeoPackage and the data package that is no column's own, in English."""

from __future__ import annotations

TABLE_WORDS: dict[str, str] = {
    "meanings": "What each column means",
    "meanings_sheet": "Sheet",
    "meanings_heading": "Heading",
    "meanings_name": "Name in the other files",
    "meanings_kind": "Kind",
    "meanings_unit": "Unit",
    "meanings_meaning": "What it means",
    "meanings_adds": "Adding it up",
    "settings": "Settings",
    "settings_setting": "Setting",
    "settings_value": "Value",
    "settings_unit": "Unit",
    "settings_from": "From",
    "settings_source": "Source",
    "adds_sum": "Add up.",
    "adds_area-weighted mean": "Take the mean, weighted by roof area.",
    "adds_no": "Do not add up.",
    "kind_string": "text",
    "kind_float": "number",
    "kind_integer": "whole number",
    "kind_boolean": "true or false",
    "styles": "Layer styles",
    "styles_meaning": "How the layers may be drawn (OGC SLD).",
    "package_title": "Rain that roofs could catch: {town}",
    "package_meaning": "Roof areas and the volumes of rain that run off them, by roof and by parcel, in SI units. Each "
    "figure's meaning stands with its field.",
    "package_apostrophe": "{meaning} An apostrophe stands before a text that a spreadsheet would otherwise run as a "
    "formula.",
}
