"""Items: what an answer must be, what a person types, and the way into an entry and back."""

import json

import pytest

from benchday.domain.items import Answered, Item, ItemKind, Wanted, WantedKind
from benchday.domain.units import Ability

TEXT = Wanted("words", "what you see", pattern=r"[a-z]+")
NUMBER = Wanted("percent", "charge", WantedKind.INTEGER, unit="percent", lowest=0, highest=100)
DAY = Wanted("until", "keep until", WantedKind.DATE)
CHOICE = Wanted("answer", "write or not now", WantedKind.CHOICE, ("write", "not now"))
FLAG = Wanted("seated", "is the cable seated", WantedKind.FLAG)
NOTE = Wanted("note", "anything else", required=False)


@pytest.mark.parametrize(
    ("wanted", "value"),
    [
        (TEXT, "fine"),
        (NUMBER, 0),
        (NUMBER, 100),
        (DAY, "2026-02-28"),
        (CHOICE, "not now"),
        (FLAG, False),
        (NOTE, None),
        (NOTE, ""),
        (NOTE, "x" * 2000),
    ],
)
def test_what_will_do(wanted: Wanted, value: object) -> None:
    """Each kind takes its own values."""
    assert wanted.problem(value) is None


@pytest.mark.parametrize(
    ("wanted", "value", "said"),
    [
        (TEXT, None, "what you see: a value is needed"),
        (TEXT, "", "what you see: a value is needed"),
        (TEXT, "UPPER", "not in the expected form"),
        (TEXT, 5, "expected a text"),
        (TEXT, "a" * 2001, "at most 2000 characters"),
        (NUMBER, 101, "expected 0 to 100 percent, got 101"),
        (NUMBER, -1, "expected 0 to 100 percent, got -1"),
        (NUMBER, "50", "expected a whole number of percent"),
        (NUMBER, True, "expected a whole number of percent"),
        (NUMBER, 50.0, "expected a whole number of percent"),
        (DAY, "2026-02-29", "expected a date like 2026-03-31"),
        (DAY, "tomorrow", "expected a date"),
        (CHOICE, "later", "expected one of write, not now, got 'later'"),
        (FLAG, "yes", "expected yes or no"),
        (FLAG, 1, "expected yes or no"),
    ],
)
def test_what_will_not_do(wanted: Wanted, value: object, said: str) -> None:
    """The answer says which value, what was expected and what came."""
    assert said in (wanted.problem(value) or "")


@pytest.mark.parametrize(
    ("wanted", "typed", "value"),
    [
        (TEXT, "  fine ", "fine"),
        (TEXT, "   ", None),
        (NUMBER, "42", 42),
        (NUMBER, "-3", -3),
        (NUMBER, "4.2", "4.2"),
        (CHOICE, "2", "not now"),
        (CHOICE, "write", "write"),
        (CHOICE, "3", "3"),
        (CHOICE, "0", "0"),
        (FLAG, "Y", True),
        (FLAG, "no", False),
        (FLAG, "perhaps", "perhaps"),
        (FLAG, "", None),
    ],
)
def test_what_is_typed(wanted: Wanted, typed: str, value: object) -> None:
    """Text becomes a value of the kind; what does not fit stays text, for ``problem`` to refuse."""
    read = wanted.read(typed)
    assert read == value
    assert type(read) is type(value)


def an_item() -> Item:
    """Make an item that uses every field."""
    return Item(
        id="i7",
        kind=ItemKind.CONFIRM,
        topic="confirm",
        text="Write unit QM-····",
        unit="QM-10442",
        station="1",
        wanted=(TEXT, NUMBER, DAY, CHOICE, FLAG, NOTE),
        figures={"bytes": 4096, "release": "2.10"},
        ability=Ability.CONFIRM,
        safety=True,
        expires_us=17,
        asked_us=5,
        cautions=("do not touch",),
    )


def test_an_item_survives_the_journal() -> None:
    """What is read back from an entry is what was asked."""
    assert Item.from_facts(json.loads(json.dumps(an_item().as_facts()))) == an_item()
    plain = Item("i1", ItemKind.INSTRUCT, "connect", "Connect it")
    assert Item.from_facts(json.loads(json.dumps(plain.as_facts()))) == plain


def test_all_problems_at_once() -> None:
    """Every value that will not do is named, and what nobody asked for too."""
    problems = an_item().problems({"words": "fine", "percent": 200, "until": "never", "seated": True, "extra": 1})
    assert len(problems) == 4
    assert problems[0] == "extra was not asked for"
    assert {p.split(":")[0] for p in problems[1:]} == {"charge", "keep until", "write or not now"}


def test_a_plain_done_will_do() -> None:
    """An item that wants nothing takes an empty answer."""
    assert Item("i1", ItemKind.INSTRUCT, "connect", "Connect it").problems({}) == ()


def test_answers_by_type() -> None:
    """A wanted value is read by its type; what was left out is empty, no or none."""
    answered = Answered({"words": "fine", "percent": 0, "seated": True}, "Ada", "person", 1)
    assert (answered.text("words"), answered.integer("percent"), answered.flag("seated")) == ("fine", 0, True)
    assert (answered.text("note"), answered.integer("note"), answered.flag("note")) == ("", None, False)
    assert answered.integer("seated") is None
