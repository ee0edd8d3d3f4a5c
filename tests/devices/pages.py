"""Declared pages for tests: the shipped one, and the Osier's own dialogue declared instead of programmed."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from benchday.domain.page import Page
from benchday.domain.playbook import Playbook
from benchday.inputs.checked import checked
from benchday.inputs.playbook_files import read_playbooks
from benchday.inputs.yaml_text import read_yaml

OSIER = """
scheme: http
sign_in: {way: form, post: /sign-in, statuses: [204]}
refusal: {statuses: [409], code: {in_json: $.refused}, words: {in_json: $.words}}
identify:
  request: {path: /status}
  serial: {in_json: $.serial}
  model: {in_json: $.model}
  hardware: {in_json: $.hardware}
  mode: {in_json: $.mode, choices: {run: run, boot: boot}}
  release: {in_json: $.release, optional: true}
  options: {in_json: "$.options[*]"}
  term: {in_json: $.term, optional: true}
power:
  request: {path: /status}
  charge: {in_json: $.power.charge_percent, unit: percent}
  max_error: {in_json: $.power.max_error_percent}
  full: {in_json: $.power.full_10mwh, unit: 10 mWh}
  temperature: {in_json: $.power.temperature_dk, unit: 0.1 K}
  external: {in_json: $.power.external, choices: {"true": "yes", "false": "no"}}
  voltage: {in_json: $.power.mv, unit: mV}
  current: {in_json: $.power.ma, unit: mA}
recordings:
  request: {path: /recordings}
  items: {in_json: "$[*]"}
  name: {in_json: $.name}
  bytes: {in_json: $.bytes}
  sha256: {in_json: $.sha256}
fetch:
  request: {path: /recordings/, path_ends: name}
settings:
  request: {path: /status}
  all: {in_json: $.settings}
put_settings:
  request:
    {method: PUT, path: /settings/, path_ends: name, send: json value, fields: {value: {put: value}}, statuses: [204]}
write:
  request: {method: POST, path: /image, body: multipart, file_field: image, file_name: image.fen, statuses: [202]}
  erased_by_then: [crc, size]
  progress:
    request: {path: /image}
    state: {in_json: $.state}
    busy: [flashing]
    done: [done]
    failed: [failed, idle]
    percent: {in_json: $.percent, unit: percent}
restart:
  request: {method: POST, path: /restart, statuses: [202]}
self_test:
  request: {method: POST, path: /test}
  passed: {value: {in_json: $.result}, is_one_of: [pass]}
  words: {in_json: $.words, optional: true}
position:
  request: {path: /air}
  fix: {in_json: $.fix, choices: {none: none, single: single, float: float, fixed: fixed}}
  base: {in_json: $.base, optional: true}
  satellites: {in_json: $.satellites}
  gga: {page: /position, in_json: $.gga}
prove:
  request: {method: POST, path: /proof, send: json, fields: {nonce: {put: nonce}}}
  mac: {in_json: $.mac}
"""


@cache
def page_of(text: str) -> Page:
    """Read a page as a playbook has it."""
    read = read_yaml(text.encode(), "page.yaml")
    page = checked(read, Page)
    assert page is not None, "\n".join(map(str, read.mistakes))
    return page


@cache
def shipped(name: str) -> Playbook:
    """Return a shipped playbook."""
    return next(p for p, _ in read_playbooks("shipped", Path()).read if p.playbook == name)


def with_page(text: str, **more: Any) -> Playbook:
    """Return a playbook that declares this page."""
    return shipped("osier").model_copy(update={"page": page_of(text), **more})


def playbook_of(model: str) -> Playbook:
    """Return the playbook with a declared page for a model."""
    return shipped("fenbook") if model == "Fenbook" else with_page(OSIER)


def hurried_page() -> Playbook:
    """Return the declared Osier with a self-test that is not waited for long."""
    return with_page(
        OSIER.replace(
            "  request: {method: POST, path: /test}\n", "  request: {method: POST, path: /test}\n  longest_s: 2\n"
        )
    )
