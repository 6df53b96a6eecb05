"""``[basemap]``: background images from a web server, off unless this section is there."""

from __future__ import annotations

import re

from pydantic import field_validator

from harvest.project.setting import Section, required, setting


class Basemap(Section):
    """Background images from a web server. A map that has one asks that one host for images, and no other."""

    url: str = required(
        "Template of the images, such as https://host/path/{z}/{x}/{y}.png, the host written out."
    )
    attribution: str = required("The credit that the server asks for, as plain text.")
    max_zoom: int = setting(19, "The deepest zoom that the server has.", unit="1", ge=1, le=24)

    @field_validator("url")
    @classmethod
    def _template(cls, url: str) -> str:
        if not re.fullmatch(r"https?://[\w.-]+(:\d+)?/[^\s'\"<>;]*", url) or not all(
            part in url for part in ("{z}", "{x}", "{y}")
        ):
            raise ValueError(
                f"{url!r} is no template for images; write it as https://host/path/{{z}}/{{x}}/{{y}}.png with "
                "the host's name in full"
            )
        return url

    @property
    def host(self) -> str:
        """Scheme and host, as a content security policy names them."""
        scheme, rest = self.url.split("://", 1)
        return f"{scheme}://{rest.split('/', 1)[0]}"
