"""A page as the fuzz reads it: its forms and where it leads."""

from __future__ import annotations

import collections
import html.parser
from typing import Any


class Page(html.parser.HTMLParser):
    """The forms of a page, each with its fields as they stand, and the addresses it leads to."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.forms: list[dict[str, Any]] = []
        self.links: list[str] = []
        self._area: list[Any] | None = None
        self._chosen: str | None = None
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Notes a form, a field or a link."""
        said = {name: value or "" for name, value in attrs}
        if tag == "a" and said.get("href", "").startswith("/"):
            self.links.append(said["href"].partition("#")[0])
        elif tag == "form":
            self.forms.append({**said, "fields": [], "choices": collections.defaultdict(list)})
        elif self.forms and tag in ("input", "button") and said.get("name"):
            self._field(said)
        elif self.forms and tag == "textarea":
            self._area = [said.get("name", ""), ""]
        elif self.forms and tag == "select":
            self._chosen = said.get("name", "")
        elif self.forms and tag == "option" and self._chosen:
            self.forms[-1]["choices"][self._chosen].append(said.get("value", ""))

    def _field(self, said: dict[str, str]) -> None:
        kind = said.get("type", "text")
        if kind in ("radio", "checkbox", "submit"):
            self.forms[-1]["choices"][said["name"]].append(said.get("value", "on"))
        else:
            self.forms[-1]["fields"].append([said["name"], said.get("value", ""), kind])

    def handle_data(self, data: str) -> None:
        """What stands in a large field."""
        if self._area:
            self._area[1] += data

    def handle_endtag(self, tag: str) -> None:
        """Closes a large field or a choice."""
        if tag == "textarea" and self._area and self.forms:
            self.forms[-1]["fields"].append([*self._area, "textarea"])
            self._area = None
        elif tag == "select":
            self._chosen = None
