"""The project file, one module a section."""

from __future__ import annotations

from harvest.project.file import Project, Settings, json_schema, read_project, settings_in_force

__all__ = ["Project", "Settings", "json_schema", "read_project", "settings_in_force"]
