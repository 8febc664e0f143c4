"""What a device that is signed in may do: look, work, or everything. The laptop itself is the owner's."""

from __future__ import annotations

VIEWER, OPERATOR, OWNER = "viewer", "operator", "owner"
ROLES = (VIEWER, OPERATOR, OWNER)  # each may do what those before it may
# Of whoever gives the shop's passphrase, which all who work there know, and of what signed in before roles were kept.
BY_PASSPHRASE = OPERATOR


def read_role(said: str) -> str:
    """A role as it is kept; what is none may do the least."""
    return said if said in ROLES else VIEWER


def covers(role: str, least: str) -> bool:
    """Whether a role may do what asks for at least that one. "": of who is not signed in, who may less than all."""
    ranked = ("", *ROLES)
    return ranked.index(role) >= ranked.index(least)
