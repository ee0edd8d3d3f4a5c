"""Shipped playbooks, for drivers to which they declare something."""

from __future__ import annotations

from benchday.domain.playbook import Playbook
from benchday.inputs.checked import checked
from benchday.inputs.playbook_files import shipped_folder
from benchday.inputs.yaml_text import read_yaml


def sluicepad() -> Playbook:
    """Read the playbook of the controller that shows a drive."""
    return _shipped("sluicepad.yaml")


def _shipped(name: str) -> Playbook:
    book = checked(read_yaml((shipped_folder() / name).read_bytes(), name), Playbook)
    assert book is not None
    return book
