"""The software of a field controller: the bytes of a request, flashed afterwards."""

from .unit import Unit
from .web_connection import HostGone, Request
from .web_image import Body, WebImage

STEPS = {"idle": "idle", "flashing": "writing", "done": "ready", "failed": "broken"}
"""what the page calls the states"""


class _AllOfIt:
    """The body is the image; trouble may end the connection in the middle."""

    def __init__(self, unit: Unit) -> None:
        self._unit = unit

    def feed(self, data: bytes) -> bytes:
        """Give what came; raises HostGone."""
        if self._unit.suffers("hangs up"):
            raise HostGone
        return data


class BookImage(WebImage):
    """Taken without a form around it."""

    def _body(self, _: Request) -> Body:
        return _AllOfIt(self.unit)
