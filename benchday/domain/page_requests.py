"""What a declared page is asked, and how its answers are told apart: yes, no, and sign in first."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from benchday.domain.page_picks import PagePath, Pick
from benchday.domain.words import Expected, FileModel, Name

Status = Annotated[int, Field(ge=200, le=599)]
"""An HTTP status (RFC 9110, 15)."""
FieldName = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f\x7f]+$")]
FieldText = Annotated[str, Field(max_length=500, pattern=r"^[^\x00-\x1f\x7f]*$")]


class Put(StrEnum):
    """What only the moment knows, and a request may carry."""

    NAME = "name"
    """Of a recording or a setting."""
    VALUE = "value"
    """Of a setting."""
    NONCE = "nonce"
    """Of a proof."""
    BYTES = "bytes"
    """Size of an image."""
    SHA256 = "sha256"
    """Of an image, 64 hex digits."""


class PutIn(FileModel):
    """A field that carries something of the moment."""

    put: Put


class Send(StrEnum):
    """How the fields of a request travel."""

    FORM = "form"
    """application/x-www-form-urlencoded."""
    QUERY = "query"
    """Behind the path's question mark."""
    JSON = "json"
    """One JSON object of texts."""
    JSON_VALUE = "json value"
    """The only field's value as a JSON string, without its name."""


class Says(FileModel):
    """An answer says yes when a value in it is one of these."""

    value: Pick
    is_one_of: Annotated[tuple[str, ...], Field(min_length=1, max_length=20)]


class PageRefusal(FileModel):
    """How the unit says no. Found in an answer of whatever status, the code alone makes it a refusal."""

    statuses: tuple[Status, ...] = ()
    """Statuses that say no by themselves."""
    code: Pick | None = None
    """The unit's own word for the reason."""
    words: Pick | None = None


class Hidden(FileModel):
    """Values that a page hands out and wants back, like the token of a form."""

    page: PagePath
    fields: Annotated[dict[FieldName, Pick], Field(min_length=1, max_length=10)]


class Request(FileModel):
    """One request."""

    method: Literal["GET", "POST", "PUT", "DELETE"] = "GET"
    path: PagePath
    path_ends: Put | None = None
    """What is put behind the path, percent-encoded."""
    fields: Annotated[dict[FieldName, FieldText | PutIn], Field(max_length=20)] = Field(default_factory=dict)
    send: Send = Send.FORM
    hidden: Hidden | None = None
    """Taken off a page right before, and sent with the fields."""
    statuses: tuple[Status, ...] = ()
    """Which answers mean yes; left out: 200 to 299."""
    succeeds: Says | None = None
    """What an answer must say besides."""

    @model_validator(mode="after")
    def _fields_that_fit(self) -> Self:
        if self.send is Send.JSON_VALUE and len(self.fields) != 1:
            raise Expected("one field to send as a json value", found=str(len(self.fields)), at=("fields",))
        if self.method == "GET" and self.send is not Send.QUERY and (self.fields or self.hidden):
            raise Expected("send: query for the fields of a GET", found=self.send.value, at=("send",))
        return self

    def puts(self) -> frozenset[Put]:
        """Return what of the moment it carries."""
        carried = {told.put for told in self.fields.values() if isinstance(told, PutIn)}
        return frozenset(carried | ({self.path_ends} if self.path_ends is not None else set()))

    def may_put(self, known: frozenset[Put], at: str = "request") -> None:
        """Check that it carries nothing that the moment does not know.

        Raises:
            Expected: it does.
        """
        for put in self.puts() - known:
            expected = "one of " + ", ".join(sorted(known)) if known else "nothing to put here"
            raise Expected(expected, found=put.value, at=(at,))


class Upload(Request):
    """The request that carries an image."""

    method: Literal["POST", "PUT"] = "POST"
    body: Literal["multipart", "raw"]
    """multipart: RFC 7578; raw: the bytes alone, with the fields behind the path."""
    file_field: Name | None = None
    """Name of the form's field; for multipart."""
    file_name: Annotated[str, Field(pattern=r"^[A-Za-z0-9._-]{1,80}$")] = "image"

    @model_validator(mode="after")
    def _body_that_fits(self) -> Self:
        if (self.body == "multipart") != (self.file_field is not None):
            raise Expected("file_field with multipart, and only there", found=str(self.file_field), at=("file_field",))
        return self


class SignIn(FileModel):
    """How somebody signs in. User and password stand at the adapter's place or in the driver's settings, never here."""

    way: Literal["none", "basic", "digest", "form"]
    """basic: RFC 7617; digest: RFC 7616."""
    form: PagePath | None = None
    """The page with the form; for way form."""
    hidden: Annotated[dict[FieldName, Pick], Field(max_length=10)] = Field(default_factory=dict)
    """Values read off that page and sent with user and password, like its token."""
    post: PagePath | None = None
    """Where the form is sent."""
    user_field: FieldName = "user"
    password_field: FieldName = "password"  # noqa: S105 - the name of a field
    send: Literal["form", "json"] = "form"
    statuses: tuple[Status, ...] = (200, 204, 302, 303)
    """Which answers to the form mean that we are in."""
    succeeds: Says | None = None
    refused: Pick | None = None
    """What is found in the answer when user or password are wrong, whatever its status."""
    wanted_again: Pick | None = None
    """What is found in any answer of the unit that wants a new sign-in but does not say 401."""

    @model_validator(mode="after")
    def _form_where_it_is_one(self) -> Self:
        if (self.way == "form") != (self.post is not None):
            raise Expected("post with the way form, and only there", found=str(self.post), at=("post",))
        if self.hidden and self.form is None:
            raise Expected("form, the page that the hidden values stand on", found="none", at=("hidden",))
        return self


class Factory(FileModel):
    """What units of this kind are delivered with. That it still opens a unit is said in the unit's log."""

    user: FieldText
    password: FieldText = Field(repr=False)
    tried: bool = False
    """It is tried once on each unit that has a password of its own; not where wrong ones lock a unit."""
