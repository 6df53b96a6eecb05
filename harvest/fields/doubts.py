"""The findings table: named doubts about the data, shipped with every result."""

from __future__ import annotations

from harvest.fields.register import Field, Table

FINDINGS = Table(
    "findings",
    "Findings",
    "What the run noticed about the data and what to do about it.",
    (),
    (
        Field("check", "string", "Check", "Name of the check."),
        Field("layer", "string", "Layer", "The layer it looked at."),
        Field(
            "severity",
            "string",
            "Severity",
            "note: worth knowing; warning: figures are affected a little; serious: look before you publish.",
            allowed=("note", "warning", "serious"),
        ),
        Field("count", "integer", "Count", "How many rows or cells are concerned.", unit="1", minimum=0),
        Field("message", "string", "What", "What was found and what the program did about it."),
        Field("remedy", "string", "Remedy", "What a person can do."),
        Field("first", "string", "First", "The first few ids concerned.", nullable=True),
    ),
)
