"""Files and functions stay short, so that each can be read at one sitting."""

from pathlib import Path

from tests.house.sizes import BODY_CEILING, FILE_CEILING, LONGER, ROOT, SOURCES, bodies, lines_of, modules


def test_files() -> None:
    """No source file is longer than the ceiling."""
    long = {str(p.relative_to(ROOT)): lines_of(p) for p in modules(*SOURCES) if lines_of(p) > FILE_CEILING}
    assert long == {}


def test_function_bodies() -> None:
    """No function's body is longer than the ceiling."""
    long = {
        f"{p.relative_to(ROOT)}:{name}": lines
        for p in modules(*SOURCES)
        for name, lines in bodies(p)
        if lines > LONGER.get(f"{p.relative_to(ROOT)}:{name}", BODY_CEILING)
    }
    assert long == {}


def test_long_ones_are_seen(tmp_path: Path) -> None:
    """A body counts from its first statement, the docstring aside."""
    path = tmp_path / "long.py"
    path.write_text('async def f():\n    """One."""\n' + "    x = 1\n" * 41, encoding="utf-8")
    assert list(bodies(path)) == [("f", 41)]
