"""Declared dialogues for tests: the shipped Gantry's, and the serial dialogue of a Millrace declared as data."""

from __future__ import annotations

from benchday.domain.playbook import Playbook
from benchday.inputs.checked import checked
from benchday.inputs.playbook_files import shipped_folder
from benchday.inputs.yaml_text import read_yaml

MILLRACE = """
dialogue:
  line: {baud: 115200, framing: nmea}
  refusals:
    - hear: "PQFN,NO,{-:text},{code},{words:rest}"
    - hear: "PQFN,NO,{-:text},{code}"
  misheard: ["PQFN,NO,LINE,{-:rest}"]
  identify:
    ask:
      - {say: "PQFN,ASK,ID", hear: ["PQFN,ID,{serial:text},{model:text},{hardware:text},{mode}"]}
      - {say: "PQFN,ASK,RELEASE", hear: ["PQFN,RELEASE,{release:rest}"]}
      - {say: "PQFN,ASK,OPTIONS", hear: ["PQFN,OPTIONS,{options:rest}"]}
      - {say: "PQFN,ASK,TERM", hear: ["PQFN,TERM,{term:rest}"]}
  power:
    ask:
      - say: "PQFN,ASK,POWER"
        hear:
          - "PQFN,POWER,{charge_percent:digits},{max_error_percent:digits},{full_10mwh:digits},\\
             {voltage_mv:digits},{current_ma:decimal},{temperature_dk:digits},{external:digits}"
    words: {external: {"1": "yes", "0": "no"}}
  recordings:
    list:
      say: "PQFN,ASK,RECORDINGS"
      each: "PQFN,RECORDING,{number:digits},{count:digits},{name:text},{bytes:digits}"
      none: "PQFN,RECORDING,0,0,,"
    sum: {say: "PQFN,ASK,SUM,{name}", hear: ["PQFN,SUM,{sha256:hex}"], optional: true}
  fetch:
    ask: [{say: "PQFN,SEND,{name}", hear: ["PQFN,OK,SEND,{bytes:digits}"]}]
    by: xmodem-1k
  settings:
    list:
      say: "PQFN,ASK,SETTINGS"
      each: "PQFN,SETTING,{number:digits},{count:digits},{name:text},{value:rest}"
      none: "PQFN,SETTING,0,0,,"
  put_settings:
    ask: [{say: "PQFN,PUT,{name},{value}", hear: ["PQFN,OK,PUT"]}]
  write:
    ask: [{say: "PQFN,TAKE,{bytes}", hear: ["PQFN,OK,TAKE"]}]
    by: BY
    whole: {hear: ["PQFN,OK,IMAGE"], seconds: 30}
    flash: {each: "PQFN,FLASH,{percent:digits}", until: ["PQFN,OK,FLASH"]}
  restart:
    ask: [{say: "PQFN,RESTART", hear: ["PQFN,OK,RESTART"]}]
    greeting: {hear: ["PQFN,HELLO,{-:text},{-:rest}"], seconds: 20}
  self_test:
    moves: false
    ask: [{say: "PQFN,ASK,TEST", hear: ["PQFN,TEST,{result:text},{words:rest}", "PQFN,TEST,{result}"], seconds: 60}]
  position:
    ask:
      - {say: "PQFN,ASK,AIR", hear: ["PQFN,AIR,{fix:text},{base:text},{satellites:digits}"]}
      - hear:
          - "GPGGA,{-:text},{latitude_dm:text},{latitude_side:text},\\
             {longitude_dm:text},{longitude_side:text},{-:rest}"
        seconds: 2.5
        optional: true
        tries: 1
  prove:
    ask: [{say: "PQFN,ASK,PROOF,{nonce:hex}", hear: ["PQFN,PROOF,{mac:hex}"], optional: true}]
"""


def shipped_text(name: str) -> str:
    """Return the text of a shipped playbook."""
    return (shipped_folder() / f"{name}.yaml").read_text(encoding="utf-8")


def playbook_of(text: str) -> Playbook:
    """Read a playbook.

    Raises:
        AssertionError: it holds mistakes.
    """
    read = read_yaml(text.encode(), "declared.yaml")
    made = checked(read, Playbook)
    assert made is not None, [str(mistake) for mistake in read.mistakes]
    return made


def gantry() -> Playbook:
    """Return the shipped playbook of the Gantry."""
    return playbook_of(shipped_text("gantry"))


def millrace(by: str = "xmodem-1k") -> Playbook:
    """Return the Millrace's playbook with its dialogue declared, and images sent in this way."""
    head, rest = shipped_text("millrace").split("driver:\n", 1)
    rest = rest[rest.index("\n\n") :]
    return playbook_of(f"{head}driver:\n  name: dialogue\n{rest}{MILLRACE.replace('BY', by)}")
