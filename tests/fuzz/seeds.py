"""Where mutation begins: something right, and something that once was, or could be, trouble."""

from __future__ import annotations

import cbor2
from smp.file_management import FileStatusRequest
from smp.header import OP, Flag, GroupId, Header, Version

from benchday.devices import nmea
from benchday.devices.drivers.smp_frames import framed
from benchday.inputs.playbook_files import shipped_folder


def _sentence(text: str) -> bytes:
    return nmea.encode(*text.split(","))


def _message(told: object) -> bytes:
    body = cbor2.dumps(told)
    head = Header(
        op=OP.READ_RSP,
        version=Version.V2,
        flags=Flag(0),
        length=len(body),
        group_id=GroupId.IMAGE_MANAGEMENT,
        sequence=7,
        command_id=0,
    )
    return bytes(head) + body


PLAIN = (
    b"id\r\nGantry 7 rev A\r\n",
    b"ID 0342 GANTRY-2 C RUN 3.4\r\nREL 3.4\r\nOPT a;b\r\nTERM 2027-01-31\r\n",
    b"BAT 80 7.4 V EXT 1\r\nERR 5 too low\r\n",
    b"JOBS 2\r\nJOB 1 A.OBS 5000\r\nJOB 2 B.OBS 99999999999999999999\r\nEND 2\r\n",
)
SENTENCES = tuple(
    map(
        _sentence,
        (
            "PQFN,ID,007421530018,Millrace,B,run",
            "PQFN,POWER,80,2,2400,7400,-12,2930,1",
            "PQFN,RECORDING,1,2,a.obs,99999999999999999999",
            "PQFN,SETTING,1,1,frequency_khz,461025",
            "PQFN,AIR,fixed,WS-41,12",
            "PQFN,NO,IMAGE,cut,the receiver left",
            "PQFN,TEST,pass,all well",
            "GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,",
        ),
    )
)
PATTERNS = (
    b"ID {serial} {model:text}, rev {hardware}\nID 7 Mill race, rev B",
    b"{a:text}aab{b:text}aab{c:rest}\naaaaaaaabaaaaaaaaab",
    b"{{{x:digits}}}\n{12}",
)
TELNET = (
    bytes((255, 251, 44, 255, 253, 0, 255, 250, 44, 101, 0, 1, 194, 0, 255, 240)) + b"text\xff\xff",
    bytes((255, 250, 44, 107)) + bytes(60) + bytes((255, 240)),
)
MESSAGES = (
    _message({"images": [{"slot": 0, "version": "1.2.3", "hash": b"h" * 32, "active": True, "confirmed": True}]}),
    _message({"off": 100, "match": True, "rc": 0}),
    _message({"off": 0, "data": b"abc", "len": 3}),
    _message({"len": 10**6, "type": "sha256", "off": 0, "output": b"d" * 32}),
    _message({"val": b"frequency\0", "max_size": 20}),
    _message({"rc": 8, "rsn": "no \x1b[2J"}),
    _message({"err": {"group": 1, "rc": 10}}),
    _message({"err": {"group": 1, "rc": 10**5000}}),
    _message({"len": 10**5000}),
    _message({"r": "text", "buf_size": 2475, "buf_count": 4}),
    bytes(FileStatusRequest(name="/rec/index.txt", sequence=3)),
    bytes(8) + b"\x81" * 500,
)
FRAMES = (*(framed(message) for message in MESSAGES[:5]), b"[00:01] log \x06\x09" + b"A" * 2000 + b"\n")
JSON = (
    b"[" * 5000,
    b'{"serial":"\\ud800","model":"m","hardware":"A","mode":"run"}',
    b'{"refused":"power","words":"\\ud800\\u001b[2J"}',
    b'[{"name":"../../etc/passwd","bytes":99999999999999999999,"sha256":"%s"}]' % (b"0" * 64),
    b'{"fix":"fixed","satellites":12,"base":"7","gga":"x"}',
)
HTML = (
    (
        b"<!doctype html><table><tr id=serial><th>Serial<td>FB-0042<tr id=model><td>Fenbook<tr id=revision><td>rev. C"
        b"<tr id=mode><td>working<tr id=software><td>Fenbook 3.2<tr id=supported><td>2027-01-31</table>"
        b"<ul id=options><li>radio<li>roads</ul>"
    ),
    b"<table id=jobs><tr class=job><td class=name>A.OBS<td class=size>5000 bytes<td class=sum>" + b"ab" * 32,
    (
        b'{"battery":{"charge":0.8,"error":2,"full_wh":36,"temperature_c":21.5,"supply":"mains","volts":7.4,"amps":-0.3},'
        b'"settings":[{"name":"role","value":"rover"}]}'
    ),
    b"<div>" * 100,
)
CHALLENGES = (
    b'Digest realm="unit", nonce="7ypf", qop="auth", algorithm=SHA-256, opaque="x"',
    b'Digest realm="unit", nonce="7ypf", algorithm=MD5-sess',
    b'Basic realm="unit"',
    b"Digest",
)
PATHS = (
    b'$.power.charge\n{"power":{"charge":5}}',
    b'$.jobs[*].name\n{"jobs":[{"name":"a"},{"name":"b"}]}',
    b"$[*][*][*][*]\n[[[[1,2],[3]]],[[[4]]]]",
    b"$['a b'][-1]\n" + b'{"a b":[1,2]}',
)
OWN_FILES = (
    b"serial: 0042\nmodel: Sluicepad\nrelease: 3.2\noptions: a;b\nrev: C\nterm: 2027-01-31\n",
    b'{"serial":"0042","model":"Sluicepad","release":"3.2","options":["a",["b"]],"rev":"C"}',
    b"[" * 5000,
    b'{"serial":"\\ud800","model":"m"}',
)
YAML = (
    (shipped_folder() / "tiller.yaml").read_bytes()[:300],
    b"a: &a [x, x]\nb: &b [*a, *a]\nc: [*b, *b]\n",
    b'a: !!python/object/apply:os.system [ls]\nb: 2.10\nc: "2.10"\n? [x]\n: y\n',
    b"- " * 30 + b"deep",
)
TABLES = (
    (
        b"serial,model,customer,contact,crew,role,arrives,promised,support_until,note\r\n"
        b'007421530018,Millrace,"Saltmere, Levels",,A,rover,08:00,12:00,2027-01-31,"two\nlines"\r\n'
    ),
    b"serial;support_until\n007;2027-01-31\n",
    "serial,model\n1,x\n".encode("utf-16"),
    b'serial,model\n=cmd|,"\x00\n',
)
MODELS = (
    b'{"benchday":"model/1","pools":{"station":2},"units":[]}',
    b'{"units":[{"stages":[{"law":{"uniform":[1e999,2]}}]}]}',
)
LINES = (
    b'{"id":"1","value":{"charge":80,"count":3,"day":"2026-06-16","words":"well"},"operator":"Ines Calder"}',
    b'{"scan":"007421530018"}',
    b'{"lift":"7","reason":"\\ud800","operator":"x"}',
    b'{"id":"1","value":{"words":"\\ud800","count":99999999999999999999}}',
    b'{"renew":"7"}',
    b"[" * 4000,
    b"no JSON",
)
