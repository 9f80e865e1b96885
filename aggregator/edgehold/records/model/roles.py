"""Who may do what besides objecting, responding and submitting: the committed list (protocols/roles.json)."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from .base import Handle, Month, Record

ROLES_FORMAT = "roles/1.0.0"
Duty = Literal["decide", "strike", "adopt", "retire", "take down"]
"""What needs a role: deciding about an objection, striking one, adopting a version, retiring one, and correcting, retracting or taking out
a result that is somebody else's."""


class Role(Record):
    """What one handle may do, and in which months."""

    handle: Handle
    """The handle, bound to an account unless it is invented."""
    may: Annotated[tuple[Duty, ...], Field(min_length=1, max_length=5)]
    """The duties."""
    since: Month
    """First month."""
    until: Month | None = None
    """Last month; null: still."""
    simulated: bool = False
    """Whether the handle is invented with the demonstration, so that nobody can act by it alone."""


class Roles(Record):
    """The list. An entry is ended by its month and never taken out, so that what was decided then stays valid."""

    format: Literal["roles/1.0.0"]
    """Name and version of this format."""
    since: Month
    """First month in which an act needs a role; what was done before stands as it is."""
    roles: Annotated[tuple[Role, ...], Field(max_length=200)]
    """Everybody who has or had a role."""
