"""What the core stands on may be used, changed and passed on by anybody."""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib.metadata import Distribution, PackageNotFoundError, distribution

import pytest
from packaging.requirements import Requirement

from tests.house.sizes import ROOT

PERMISSIVE = {
    "MIT",
    "MIT-0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "Apache-2.0",
    "ISC",
    "PSF-2.0",
}
"""SPDX names of the licences that ask for no more than naming them."""
FOR_ONE_FILE = {"certifi": "MPL-2.0"}
"""MPL-2.0 reaches no further than the files it stands on; certifi is a list of certificates."""
FREE_TEXT = {
    "MIT License": "MIT",
    "BSD": "BSD-3-Clause",
    "BSD License": "BSD-3-Clause",
    "ISC License": "ISC",
    "ISC License (ISCL)": "ISC",
    "Apache Software License": "Apache-2.0",
}
"""What older metadata says, as SPDX."""


def plain(name: str) -> str:
    """Return a name as package indexes compare it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def needed(name: str, seen: dict[str, Distribution]) -> None:
    """Gather a distribution and all that it needs to run here, without extras."""
    key = plain(name)
    if key in seen:
        return
    seen[key] = distribution(name)
    for text in seen[key].requires or []:
        requirement = Requirement(text)
        if requirement.marker is None or requirement.marker.evaluate({"extra": ""}):
            needed(requirement.name, seen)


def core() -> dict[str, Distribution]:
    """Return what the core needs, itself left out."""
    seen: dict[str, Distribution] = {}
    needed("benchday", seen)
    return {name: found for name, found in seen.items() if name != "benchday"}


def licences(found: Distribution) -> Iterator[str]:
    """Yield the SPDX names that a distribution offers to choose from."""
    metadata = found.metadata
    if "License-Expression" in metadata:
        yield from metadata["License-Expression"].split(" OR ")
        return
    if "License" in metadata and "\n" not in metadata["License"]:
        yield FREE_TEXT.get(metadata["License"], metadata["License"])
        return
    for classifier in metadata.get_all("Classifier") or []:
        if classifier.startswith("License :: OSI Approved :: "):
            word = classifier.rpartition(" :: ")[2]
            yield FREE_TEXT.get(word, word)


@pytest.mark.parametrize("name", sorted(core()))
def test_permissive(name: str) -> None:
    """At least one licence that it offers is on the list."""
    offered = set(licences(core()[name]))
    assert offered & PERMISSIVE or offered == {FOR_ONE_FILE.get(name)}, f"{name} offers {offered or 'no licence'}"


def test_every_direct_dependency_has_a_reason() -> None:
    """DEVELOPERS.md names each dependency of the core and of the tests, with its licence."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    told = {plain(name) for name in re.findall(r"^\| ([\w.-]+) \|", text, re.MULTILINE)}
    assert {plain(Requirement(r).name) for r in distribution("benchday").requires or []} <= told


def test_our_own_is_whole() -> None:
    """The full text of the Apache licence, version 2.0, is in LICENSE and in the metadata."""
    text = (ROOT / "LICENSE").read_text(encoding="utf-8")
    assert "Apache License\n                           Version 2.0, January 2004" in text
    assert "END OF TERMS AND CONDITIONS" in text
    assert distribution("benchday").metadata["License-Expression"] == "Apache-2.0"


def test_an_unknown_name_is_seen() -> None:
    """What is not installed cannot pass as permissive."""
    with pytest.raises(PackageNotFoundError):
        needed("no-such-distribution-here", {})
