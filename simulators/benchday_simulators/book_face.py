"""How a host reaches a field controller: its own page over HTTPS."""

import ssl

from . import certificate
from .book_dialogue import BookDialogue
from .web_face import Dialogue, WebFace


class BookFace(WebFace):
    """The controller's own page, with a certificate that it made itself."""

    scheme = "https"

    def _talks(self) -> Dialogue:
        return BookDialogue(self._unit)

    def _context(self) -> ssl.SSLContext:
        if self._unit.suffers("certificate changes"):
            certificate.forget(self._unit.directory)
        return certificate.context_of(self._unit.directory, self._unit.state.serial)
