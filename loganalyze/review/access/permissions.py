"""Roles and what they may do: the one table, asked by every method of the desk."""

from __future__ import annotations

from enum import StrEnum


class Permission(StrEnum):
    """What somebody may be allowed to do."""

    READ_CASES = "read cases"
    DECIDE = "decide"
    REVEAL = "reveal an identity"
    TRY_SHEET = "try a limits sheet"
    ADOPT_SHEET = "adopt a limits sheet"
    EXPORT = "export"
    READ_TRAIL = "read the trail"
    CHECK_TRAIL = "check the trail"
    MANAGE_PEOPLE = "manage people"


_REVIEW = frozenset({Permission.READ_CASES, Permission.DECIDE, Permission.TRY_SHEET,
                     Permission.EXPORT, Permission.READ_TRAIL})

OWNER = "owner"
"""The role of the one person of a desk without accounts."""
PERMISSIONS: dict[str, frozenset[Permission]] = {
    "reviewer": _REVIEW,
    "gatekeeper": _REVIEW | {Permission.REVEAL, Permission.ADOPT_SHEET},
    "administrator": frozenset({Permission.READ_TRAIL, Permission.CHECK_TRAIL,
                                Permission.MANAGE_PEOPLE}),
    OWNER: frozenset(Permission),
}
"""By role. Who manages accounts sees no case and no identity by that."""


class Forbidden(Exception):
    """Something that the person's role doesn't allow; ``permission`` : that was asked for."""

    def __init__(self, permission: Permission) -> None:
        self.permission = permission
        super().__init__(permission.value)


def allowed(role: str, permission: Permission) -> bool:
    """Whether a role may do something; an unknown role may do nothing."""
    return permission in PERMISSIONS.get(role, frozenset())


def require(role: str, permission: Permission) -> None:
    """Raise Forbidden unless a role may do something."""
    if not allowed(role, permission):
        raise Forbidden(permission)
