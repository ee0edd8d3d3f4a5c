"""What a playbook says of a receiver that is only listened to: which text sentences tell who it is."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from benchday.domain.words import FileModel

Prefix = Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[^,*$\x00-\x1f\x7f]+$")]
"""What stands in a TXT sentence before the value; the value reaches to the next space, semicolon or end."""


class Watch(FileModel):
    """A playbook's section ``watch``. Without it a person says who the unit is."""

    serial: Prefix
    model: Prefix | None = None
    """None: the playbook's one model."""
    release: Prefix
    hardware: Prefix | None = None
