"""How a GIS may draw the layers: Styled Layer Descriptor documents (OGC SLD 1.0.0).

Classes, colours and words are those of the map. No text from the data stands in them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import numpy as np

from harvest.fields import PARCELS, ROOFS, ROUNDS, SIDES, Table
from harvest.show.classes import class_colours, quantile_breaks
from harvest.show.figures import read_unit
from harvest.show.measures import COLOURED, classes_of
from harvest.show.words.page import WORDS, filled

if TYPE_CHECKING:
    import pandas as pd

SLD = "http://www.opengis.net/sld"
OGC = "http://www.opengis.net/ogc"
DECLARATION = '<?xml version="1.0" encoding="UTF-8"?>\n'

WHITE = "#ffffff"
EDGE = {"stroke": WHITE, "stroke-width": "0.5"}
NOTHING_EDGE = {"stroke": "#a9b1ae", "stroke-width": "0.5"}
MISSING_MARK = {"stroke": "#6b7680", "stroke-width": "1"}
ROOF_FILL = "#f7f3e9"
ROOF_EDGE = {"stroke": "#1d2730", "stroke-width": "0.5"}
MARK_SIZE = "7"

WORTH = "worth_l_min"
"""The figure that colours street sides."""

INK = "#1d2730"
CASING = {"stroke": INK, "stroke-width": "4.5", "stroke-linecap": "butt"}
"""A dark line under a coloured one, so that the lightest class can be seen on white."""

SIDE_WIDTH = "3"
NOTHING_LINE = {"stroke": "#a9b1ae", "stroke-width": "1.5"}
MISSING_LINE = {"stroke": "#6b7680", "stroke-width": "1.5", "stroke-dasharray": "3 3"}
ROUND_LINE = {"stroke": INK, "stroke-width": "2"}


def parcels_sld(parcels: pd.DataFrame, units: str) -> str:
    """Parcels by capturable volume, in the classes of the map (quantiles over ``parcels``, lightest lowest).

    ``parcels`` holds the column that the map colours by; ``units`` ("us" or "metric") are those people read,
    in which the bounds are round and named. The figures of the layer stay in its own unit, so bounds are
    turned back into it. Parcels with nothing to catch are white; where there is no figure, crosses fill them.
    """
    classes = classes_of(parcels, units)
    unit, converted = read_unit(units, PARCELS.field(COLOURED).unit)
    bounds: list[float | None] = [None, *classes.breaks, None]
    rules = [
        _rule(
            _title(low, high, unit),
            [_area(_plain(colour), EDGE)],
            _within(COLOURED, low, high, converted(1.0)),
        )
        for colour, low, high in zip(classes.colours, bounds[:-1], bounds[1:], strict=True)
    ]
    nothing = _rule(
        WORDS["legend_nil"],
        [_area(_plain(WHITE), NOTHING_EDGE)],
        _compared(COLOURED, "IsEqualTo", 0.0),
    )
    missing = _rule(WORDS["legend_missing"], [_area(_crosses(), NOTHING_EDGE)], _property(COLOURED, "IsNull"))
    return _document(PARCELS, [*rules, nothing, missing])


def roofs_sld() -> str:
    """Roofs all alike: light with a dark edge, so that they stand out on every class of parcels."""
    return _document(ROOFS, [_rule(ROOFS.title, [_area(_plain(ROOF_FILL), ROOF_EDGE)], None)])


def sides_sld(sides: pd.DataFrame, units: str) -> str:
    """Street sides by worth a minute, in classes as :func:`parcels_sld` makes them, lightest lowest.

    ``sides`` holds the worth a minute. Sides with nothing to win are grey lines, those without a figure broken ones.
    """
    unit, converted = read_unit(units, SIDES.field(WORTH).unit)
    worth = converted(1.0) * sides[WORTH].to_numpy(dtype=float, na_value=np.nan)
    breaks = quantile_breaks(np.where(worth > 0, worth, np.nan))
    bounds: list[float | None] = [None, *breaks, None]
    rules = [
        _rule(
            _title(low, high, unit),
            [_line(CASING), _line({"stroke": colour, "stroke-width": SIDE_WIDTH})],
            _within(WORTH, low, high, converted(1.0)),
        )
        for colour, low, high in zip(class_colours(len(breaks) + 1), bounds[:-1], bounds[1:], strict=True)
    ]
    nothing = _rule(WORDS["legend_nothing_to_win"], [_line(NOTHING_LINE)], _compared(WORTH, "IsEqualTo", 0.0))
    missing = _rule(WORDS["legend_missing"], [_line(MISSING_LINE)], _property(WORTH, "IsNull"))
    return _document(SIDES, [*rules, nothing, missing])


def rounds_sld() -> str:
    """Rounds all alike: a plain dark line."""
    return _document(ROUNDS, [_rule(ROUNDS.title, [_line(ROUND_LINE)], None)])


def _title(low: float | None, high: float | None, unit: str) -> str:
    """A class from ``low`` to ``high`` (None: open), in the words of the map's legend."""
    if low is None and high is None:
        return WORDS["legend_any"]
    if low is None:
        return filled("legend_under", high=f"{high:,.15g} {unit}")
    if high is None:
        return filled("legend_over", low=f"{low:,.15g} {unit}")
    return filled("legend_between", low=f"{low:,.15g}", high=f"{high:,.15g} {unit}")


def _within(name: str, low: float | None, high: float | None, per_unit: float) -> ET.Element:
    """The filter for figures ``name`` above 0, from ``low`` (included) to ``high`` (not included)."""
    least = (
        _compared(name, "IsGreaterThan", 0.0)
        if low is None
        else _compared(name, "IsGreaterThanOrEqualTo", low / per_unit)
    )
    if high is None:
        return least
    both = ET.Element(f"{{{OGC}}}And")
    both.extend([least, _compared(name, "IsLessThan", high / per_unit)])
    return both


def _property(name: str, test: str) -> ET.Element:
    """The filter ``test`` on the figure ``name``."""
    element = ET.Element(f"{{{OGC}}}Property{test}")
    ET.SubElement(element, f"{{{OGC}}}PropertyName").text = name
    return element


def _compared(name: str, test: str, bound: float) -> ET.Element:
    element = _property(name, test)
    ET.SubElement(element, f"{{{OGC}}}Literal").text = f"{bound:.15g}"
    return element


def _plain(colour: str) -> ET.Element:
    return _painted("Fill", {"fill": colour})


def _crosses() -> ET.Element:
    fill = ET.Element(f"{{{SLD}}}Fill")
    graphic = ET.SubElement(ET.SubElement(fill, f"{{{SLD}}}GraphicFill"), f"{{{SLD}}}Graphic")
    mark = ET.SubElement(graphic, f"{{{SLD}}}Mark")
    ET.SubElement(mark, f"{{{SLD}}}WellKnownName").text = "x"
    mark.append(_painted("Stroke", MISSING_MARK))
    ET.SubElement(graphic, f"{{{SLD}}}Size").text = MARK_SIZE
    return fill


def _painted(tag: str, parameters: dict[str, str]) -> ET.Element:
    element = ET.Element(f"{{{SLD}}}{tag}")
    for name, value in parameters.items():
        ET.SubElement(element, f"{{{SLD}}}CssParameter", name=name).text = value
    return element


def _area(fill: ET.Element, edge: dict[str, str]) -> ET.Element:
    drawn = ET.Element(f"{{{SLD}}}PolygonSymbolizer")
    drawn.extend([fill, _painted("Stroke", edge)])
    return drawn


def _line(stroke: dict[str, str]) -> ET.Element:
    drawn = ET.Element(f"{{{SLD}}}LineSymbolizer")
    drawn.append(_painted("Stroke", stroke))
    return drawn


def _rule(title: str, drawn: Sequence[ET.Element], test: ET.Element | None) -> ET.Element:
    rule = ET.Element(f"{{{SLD}}}Rule")
    ET.SubElement(rule, f"{{{SLD}}}Name").text = title
    ET.SubElement(rule, f"{{{SLD}}}Title").text = title
    if test is not None:
        ET.SubElement(rule, f"{{{OGC}}}Filter").append(test)
    rule.extend(drawn)
    return rule


def _document(table: Table, rules: Sequence[ET.Element]) -> str:
    root = ET.Element(f"{{{SLD}}}StyledLayerDescriptor", version="1.0.0")
    layer = ET.SubElement(root, f"{{{SLD}}}NamedLayer")
    ET.SubElement(layer, f"{{{SLD}}}Name").text = table.name
    style = ET.SubElement(layer, f"{{{SLD}}}UserStyle")
    ET.SubElement(style, f"{{{SLD}}}Title").text = table.title
    ET.SubElement(style, f"{{{SLD}}}IsDefault").text = "1"
    ET.SubElement(style, f"{{{SLD}}}FeatureTypeStyle").extend(rules)
    ET.register_namespace("sld", SLD)
    ET.register_namespace("ogc", OGC)
    ET.indent(root)
    return DECLARATION + ET.tostring(root, encoding="unicode") + "\n"
