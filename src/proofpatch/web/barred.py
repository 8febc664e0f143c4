"""A page without what the device may not do: those fields can only be read, their buttons are hidden, and it says why.

Which forms these are is asked of the list that refuses them (roles.py), so that page and refusal cannot differ.
"""

from __future__ import annotations

import html
import re
from urllib.parse import urlsplit

from proofpatch.web.roles import may

FORM = re.compile(r"(<form\b([^>]*)>)(.*?)(</form>)", re.S)
ATTRIBUTE = re.compile(r'\b(action|method|id)="([^"]*)"')
# A field that belongs to a form it does not stand in.
ELSEWHERE = re.compile(r'<(?:button|input|select|textarea)\b(?=[^>]*\bform="([^"]*)")')
ANSWER = re.compile(r"</h1>(?:\s*<p class=\"lead[^>]*>.*?</p>)?", re.S)


def barred(page: str, role: str, why: str) -> str:
    """The page as a device of that role is shown it. why: the sentence that says what it cannot do."""
    gone: set[str] = set()
    count = 0

    def shut(found: re.Match[str]) -> str:
        nonlocal count
        said = dict(ATTRIBUTE.findall(found[2]))
        if may(role, said.get("method", "get").upper(), urlsplit(html.unescape(said.get("action", ""))).path):
            return found[0]
        count += 1
        gone.add(said.get("id", ""))
        return f'{found[1]}<fieldset class="barred" disabled>{found[3]}</fieldset>{found[4]}'

    made = FORM.sub(shut, page)
    if not count:
        return page
    made = ELSEWHERE.sub(lambda found: f"{found[0]} disabled" if found[1] in gone else found[0], made)
    return ANSWER.sub(lambda found: f'{found[0]}\n<p class="hint" id="role">{why}</p>', made, count=1)
