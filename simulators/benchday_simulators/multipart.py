"""Find one file field in a multipart form as it comes (RFC 7578, RFC 2046 5.1)."""

import re
from email.message import Message


class BadForm(ValueError):
    """The body is not the form that was expected."""


def boundary_of(content_type: str) -> bytes:
    """Give the boundary a form's content type names; raises BadForm."""
    header = Message()
    header["content-type"] = content_type
    boundary = header.get_boundary()
    if header.get_content_type() != "multipart/form-data" or not boundary:
        raise BadForm("expected multipart/form-data with a boundary")
    return boundary.encode("ascii")


class FilePart:
    """The bytes of one field of a form, handed out as they become known."""

    LONGEST_HEADERS = 8_192

    def __init__(self, boundary: bytes, field: str) -> None:
        self.seen = False
        """the field has begun"""
        self.done = False
        """the form has ended"""
        self._delimiter = b"\r\n--" + boundary
        self._field = field
        self._kept = bytearray(b"\r\n")  # so that the first delimiter looks like the others
        self._state = "preamble"
        self._ours = False

    def feed(self, data: bytes) -> bytes:
        """Take bytes of the form, give those of the field; raises BadForm."""
        self._kept += data
        found = bytearray()
        steps = {"preamble": self._content, "content": self._content, "headers": self._headers}
        while not self.done and steps[self._state](found):
            pass
        return bytes(found)

    def _content(self, found: bytearray) -> bool:
        at = self._kept.find(self._delimiter)
        # What could be the beginning of a delimiter is kept back.
        known = max(0, len(self._kept) - len(self._delimiter) + 1) if at < 0 else at
        if self._ours:
            found += self._kept[:known]
        del self._kept[:known]
        if at < 0 or len(self._kept) < len(self._delimiter) + 2:
            return False
        self._ours = False
        del self._kept[: len(self._delimiter)]
        if self._kept.startswith(b"--"):
            self.done = True
        self._state = "headers"
        return True

    def _headers(self, _: bytearray) -> bool:
        end = self._kept.find(b"\r\n\r\n")
        if end < 0:
            if len(self._kept) > self.LONGEST_HEADERS:
                raise BadForm("the headers of a part do not end")
            return False
        name = re.search(rb'content-disposition:[^\r\n]*[; ]name="([^"\r\n]*)"', self._kept[:end], re.IGNORECASE)
        self._ours = name is not None and name[1] == self._field.encode()
        self.seen = self.seen or self._ours
        del self._kept[: end + 4]
        self._state = "content"
        return True
