"""Every address of the shop, as its own router has it."""

import re

from starlette.routing import Mount, Route

from proofpatch.web.api import Interface

KEY, DIGEST = "0" * 32, "0" * 64
PARTS = {"digest": DIGEST, "scan": DIGEST, "kind": "note", "name": "oak", "shape": "board", "step": "A1",
         "which": "before",
         "what": "before", "number": "0", "zone": "0", "zone:int": "0", "at": "0"}  # fmt: skip


def routes_of(app, before=""):
    """(method, path with something in each of its holes) of every route, those of the interface too."""
    for one in app.routes:
        if isinstance(one, Route):
            path = re.sub(r"\{([^}]+)\}", lambda hole: PARTS.get(hole[1], KEY), one.path)
            yield from ((method, before + path) for method in one.methods - {"HEAD", "OPTIONS"})
        elif isinstance(one, Mount) and isinstance(one.app, Interface):
            yield from routes_of(one.app.app, before + one.path)
        elif hasattr(one, "original_router"):
            yield from routes_of(one.original_router, before + getattr(one.include_context, "prefix", ""))
