"""The commands about images: their names, arguments and options."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchday.cli.app_options import Here, Json
from benchday.cli.conduct import conduct

images = typer.Typer(
    name="images",
    help="Look after the image store of a day: show it, check it, add to it, sign its list.",
    rich_markup_mode=None,
    no_args_is_help=True,
)

Version = "A release of the same model that the store holds."


@images.command(short_help="Put an image into the store.")
def add(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The image.")],
    release: Annotated[str, typer.Option("--release", metavar="V", help="Its version, like 2.11.")],
    issued: Annotated[str, typer.Option("--issued", metavar="DATE", help="When it was issued, like 2026-03-31.")],
    model: Annotated[list[str], typer.Option("--model", metavar="M", help="A model it is for; once for each.")],
    source: Annotated[str, typer.Option("--source", metavar="TEXT", help="Where the image came from.")],
    approved_by: Annotated[str, typer.Option("--approved-by", metavar="NAME", help="Who approved it for the shop.")],
    folder: Here = Path(),
    hardware: Annotated[
        list[str] | None, typer.Option("--hardware", metavar="H", help="A hardware revision it suits; without: all.")
    ] = None,
    enter_from: Annotated[
        str | None, typer.Option("--enter-from", metavar="V", help="Oldest release it is entered from directly.")
    ] = None,
    through: Annotated[
        list[str] | None, typer.Option("--through", metavar="V", help="A stepping stone for older units.")
    ] = None,
    back_to: Annotated[
        str | None, typer.Option("--back-to", metavar="V", help="Oldest release one may return to; without: none.")
    ] = None,
    trial: Annotated[bool, typer.Option("--trial", help="A trial release, for pinned units only.")] = False,
) -> None:
    """Put an image and its entry into the store of a day; checked before anything is written, nothing replaced."""

    def command() -> int:
        from benchday.cli.commands.images import add as begin
        from benchday.inputs.image_adding import NewImage

        suits, stones = tuple(hardware or ()), tuple(through or ())
        new = NewImage(
            file, release, issued, tuple(model), source, approved_by, suits, enter_from, stones, back_to, trial=trial
        )
        return begin(folder, new)

    conduct(command)


@images.command("list", short_help="Show what the store holds.")
def show(folder: Here = Path(), json: Json = False) -> None:
    """Show each image with release, models, digest, where it came from, and the way in and back."""

    def command() -> int:
        from benchday.cli.commands.images import show as begin

        return begin(folder, as_json=json)

    conduct(command)


@images.command(short_help="Check every image, signatures, expiry and number.")
def check(folder: Here = Path(), json: Json = False) -> None:
    """Read every image and compare it with the list; check the list's signatures, expiry and number."""

    def command() -> int:
        from benchday.cli.commands.images import check as begin

        return begin(folder, as_json=json)

    conduct(command)


@images.command(short_help="Make a key pair for signing.")
def key(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Where the private key is written.")],
    name: Annotated[str, typer.Option("--name", metavar="NAME", help="Whose key it is.")],
) -> None:
    """Make a key pair: the private key into FILE, the public one as lines for bench.yaml."""

    def command() -> int:
        from benchday.cli.commands.images import key as begin

        return begin(file, name)

    conduct(command)


@images.command(short_help="Sign the image list.")
def sign(
    key: Annotated[Path, typer.Option("--key", metavar="FILE", help="The private key.")],
    name: Annotated[str, typer.Option("--name", metavar="NAME", help="Who signs.")],
    folder: Here = Path(),
) -> None:
    """Sign the image list as it stands, beside the signatures of others that still hold."""

    def command() -> int:
        from benchday.cli.commands.images import sign as begin

        return begin(folder, key, name)

    conduct(command)
