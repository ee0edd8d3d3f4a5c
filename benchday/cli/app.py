"""The commands' names, arguments and options; what they do is in a module each, imported when called."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchday.cli.app_demo import demo
from benchday.cli.app_drivers import drivers
from benchday.cli.app_images import images
from benchday.cli.app_options import Day, Here, Json, Name, Record, Seed, Speed
from benchday.cli.app_ports import ports
from benchday.cli.app_record import record as record_commands
from benchday.cli.app_try import try_playbook
from benchday.cli.conduct import conduct
from benchday.cli.exits import listed

app = typer.Typer(
    name="benchday",
    help="Run the service day of positioning instruments: check, preserve, confirm, write, verify, hand back.",
    epilog=listed(),
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(wanted: bool) -> None:
    if wanted:
        from benchday import __version__

        print(f"benchday {__version__}")
        raise typer.Exit


@app.callback()
def _benchday(
    version: Annotated[bool, typer.Option("--version", callback=_version, is_eager=True, help="Say which.")] = False,
    no_color: Annotated[
        bool, typer.Option("--no-color", help="No colours, as with NO_COLOR in the environment.")
    ] = False,
) -> None:
    pass


@app.command(short_help="Write a sample day to begin from.")
def new(folder: Day, seed: Seed = 1, json: Json = False) -> None:
    """Write the files of a sample day, to begin your own from."""

    def command() -> int:
        from benchday.cli.commands.new import new as begin

        return begin(folder, seed, as_json=json)

    conduct(command)


@app.command(short_help="Say every mistake in a day's files.")
def validate(folder: Day, json: Json = False) -> None:
    """Say every mistake in a day's files, all at once."""

    def command() -> int:
        from benchday.cli.commands.validate import validate as begin

        return begin(folder, as_json=json)

    conduct(command)


@app.command(short_help="Say which release each unit should get, and why.")
def targets(
    folder: Day,
    on: Annotated[
        str | None,
        typer.Option("--on", metavar="DATE", help="Ask for another day than the day's own, like 2026-03-31."),
    ] = None,
    csv: Annotated[bool, typer.Option("--csv", help="Print the units as CSV and nothing else.")] = False,
    record: Record = None,
    json: Json = False,
) -> None:
    """Say which release each unit should get and why, what renewed support terms would buy, and what needs a person."""

    def command() -> int:
        from benchday.cli.commands.targets import targets as begin

        return begin(folder, on, record, as_json=json, as_csv=csv)

    conduct(command)


@app.command(short_help="Say what to lay out for the day.")
def layout(
    folder: Day,
    html: Annotated[
        Path | None, typer.Option("--html", metavar="FILE", help="The page to print; usual: layout.html in DIR.")
    ] = None,
    record: Record = None,
    json: Json = False,
) -> None:
    """Say what to lay out for the day, and write the page to print: lists, and a check-in slip for each crew."""

    def command() -> int:
        from benchday.cli.commands.layout import layout as begin

        return begin(folder, html, record, as_json=json)

    conduct(command)


@app.command(short_help="Say when the day ends and whom to promise what.")
def forecast(
    folder: Annotated[Path | None, typer.Argument(metavar="[DIR]", help="The day's folder.")] = None,
    by: Annotated[
        list[str] | None, typer.Option("--by", metavar="TIME", help="The chance of being done by then, like 16:00.")
    ] = None,
    emit_model: Annotated[
        Path | None, typer.Option("--emit-model", metavar="FILE", help="Write the day's model as JSON.")
    ] = None,
    model: Annotated[
        Path | None, typer.Option("--model", metavar="FILE", help="Run a model from a file instead of a day.")
    ] = None,
    durations: Annotated[
        Path | None,
        typer.Option("--durations", metavar="FILE", help="With --model: the durations of each replication."),
    ] = None,
    everything: Annotated[
        bool, typer.Option("--all", help="With --model: every unit's finish in every replication, as JSON.")
    ] = False,
    trace: Annotated[
        bool, typer.Option("--trace", help="With --model: every stage of replication 0, as JSON.")
    ] = False,
    svg: Annotated[Path | None, typer.Option("--svg", metavar="FILE", help="Write the picture as SVG.")] = None,
    html: Annotated[
        Path | None, typer.Option("--html", metavar="FILE", help="Write picture and tables as one page, to print.")
    ] = None,
    what_if: Annotated[
        list[str] | None,
        typer.Option("--what-if", metavar="TEXT", help="A change to compare, like 'one more cable of type round'."),
    ] = None,
    against: Annotated[
        Path | None, typer.Option("--against", metavar="DIR2", help="Compare with another plan of the day.")
    ] = None,
    promise: Annotated[
        float | None, typer.Option("--promise", metavar="P", help="Times that hold with this probability, like 0.95.")
    ] = None,
    search: Annotated[
        float | None,
        typer.Option("--search", min=0.01, max=3600, metavar="SECONDS", help="Search an order and tell the day in it."),
    ] = None,
    replications: Annotated[
        int | None, typer.Option("--replications", min=1, max=1_000_000, metavar="N", help="How many days are drawn.")
    ] = None,
    seed: Annotated[int | None, typer.Option("--seed", min=0, help="Equal seeds meet equal chances.")] = None,
    record: Record = None,
    json: Json = False,
) -> None:
    """Say when the day ends, when each crew is ready, what is waited for and who cannot be begun: with chances."""

    def command() -> int:
        from benchday.cli.commands.forecast import Asked, times
        from benchday.cli.commands.forecast import forecast as begin
        from benchday.cli.forecast_options import Options

        times_asked = times(by)
        return begin(
            Asked(
                folder,
                model,
                durations,
                emit_model,
                times_asked,
                replications,
                seed,
                record,
                json,
                everything,
                trace,
                svg,
                html,
                Options(tuple(what_if or ()), against, promise, search),
            )
        )

    conduct(command)


@app.command(short_help="Run the day in the terminal.")
def run(
    folder: Day,
    operator: Name,
    speed: Speed = 1.0,
    seed: Seed = 1,
    record: Record = None,
    no_input: Annotated[bool, typer.Option("--no-input", help="End with 4 as soon as a person is needed.")] = False,
    pipe: Annotated[bool, typer.Option("--pipe", help="Items and answers as JSON Lines.")] = False,
    json: Json = False,
) -> None:
    """Run the day: stations in the terminal, the items for your hands, one input line."""

    def command() -> int:
        from benchday.cli.commands.run import Asked
        from benchday.cli.commands.run import run as begin

        return begin(Asked(folder, operator, speed, seed, record, no_input=no_input, pipe=pipe, as_json=json))

    conduct(command)


app.command(short_help="Run a whole day with simulated instruments.")(demo)


@app.command(short_help="Show how the day stands.")
def status(folder: Here = Path(), record: Record = None, json: Json = False) -> None:
    """Show how the day stands: stations, units, items, holds."""

    def command() -> int:
        from benchday.cli.commands.status import status as begin

        return begin(folder, record, as_json=json)

    conduct(command)


@app.command(short_help="Tell a unit's log.")
def unit(
    serial: Annotated[str, typer.Argument(metavar="SERIAL", help="As on the unit's label.")],
    day: Annotated[Path | None, typer.Option("--day", metavar="DIR", help="The day's folder.")] = None,
    record: Record = None,
    json: Json = False,
) -> None:
    """Tell a unit's log: what happened to it, who did it, what was there before, where its recordings are."""

    def command() -> int:
        from benchday.cli.commands.unit import unit as begin

        return begin(serial, day, record, as_json=json)

    conduct(command)


@app.command(short_help="Close the day.")
def close(
    folder: Day,
    operator: Name,
    overnight: Annotated[
        list[str] | None, typer.Option("--overnight", metavar="SERIAL=WHERE", help="A unit that stays, and where.")
    ] = None,
    packs_off: Annotated[
        bool | None, typer.Option("--packs-off/--packs-on", help="Whether all packs are off the chargers.")
    ] = None,
    missing_cable: Annotated[
        list[str] | None, typer.Option("--missing-cable", metavar="NUMBER", help="A cable that is not there.")
    ] = None,
    cables_counted: Annotated[
        bool, typer.Option("--cables-counted", help="The cables were counted; all others are there.")
    ] = False,
    words: Annotated[str | None, typer.Option("--words", help="Anything to note.")] = None,
    record: Record = None,
    json: Json = False,
) -> None:
    """Close the day: every unit accounted for, packs off, cables counted."""

    def command() -> int:
        from benchday.cli.commands.close import Said
        from benchday.cli.commands.close import close as begin

        cables = tuple(missing_cable or ())
        said = Said(tuple(overnight or ()), packs_off, cables, words, cables_counted=cables_counted)
        return begin(folder, operator, said, record, as_json=json)

    conduct(command)


@app.command(short_help="Fetch and compare the supplier's support terms.")
def terms(folder: Here = Path(), json: Json = False) -> None:
    """Fetch the supplier's list of support terms that the day names, and compare it with the roster."""

    def command() -> int:
        from benchday.cli.commands.terms import terms as begin

        return begin(folder, as_json=json)

    conduct(command)


@app.command(short_help="Show the shop's register.")
def units(
    record: Record = None,
    json: Json = False,
    csv: Annotated[bool, typer.Option("--csv", help="Print CSV.")] = False,
    read_in: Annotated[
        Path | None, typer.Option("--import", metavar="FILE", help="A list of units to read in, as CSV.")
    ] = None,
    operator: Annotated[str | None, typer.Option("--operator", metavar="NAME", help="Who reads it in.")] = None,
    export: Annotated[
        Path | None, typer.Option("--export", metavar="FILE", help="Write the register as CSV that can be read in.")
    ] = None,
) -> None:
    """Show the shop's register: every unit that the record knows, over all days; read a list in, or write one."""

    def command() -> int:
        from benchday.cli.commands.units import Asked
        from benchday.cli.commands.units import units as begin

        return begin(Asked(record, json, csv, read_in, operator, export))

    conduct(command)


@app.command(short_help="Say who is due, and whom to invite.")
def due(
    record: Record = None,
    within: Annotated[
        int,
        typer.Option("--within", min=0, max=36500, metavar="DAYS", help="Support terms that end within so many days."),
    ] = 90,
    json: Json = False,
    csv: Annotated[bool, typer.Option("--csv", help="Print CSV.")] = False,
) -> None:
    """Say who is behind, whose support term ends soon, who is overdue for service, and whom to invite first."""

    def command() -> int:
        from benchday.cli.commands.due import due_list

        return due_list(record, within, as_json=json, as_csv=csv)

    conduct(command)


@app.command(short_help="Show what durations were learnt.")
def durations(
    record: Record = None,
    svg: Annotated[
        Path | None, typer.Option("--svg", metavar="FILE", help="Draw how often predictions held, as SVG.")
    ] = None,
    simulated: Annotated[
        bool, typer.Option("--simulated", help="Learn from the days of a simulated record, for a look at it.")
    ] = False,
    json: Json = False,
) -> None:
    """Show what each step is believed to take, from playbook and records, and how often such predictions held."""

    def command() -> int:
        from benchday.cli.commands.durations import durations as begin

        return begin(record, svg, learn_simulated=simulated, as_json=json)

    conduct(command)


app.command(short_help="Say which ports are plugged in, and what is the matter.")(ports)
app.command("try", short_help="Try a playbook on a real unit, reading only.")(try_playbook)
app.add_typer(images, name="images", short_help="Look after the image store.")
app.add_typer(record_commands, name="record", short_help="Copy, check and restore the record.")
app.command(short_help="List the drivers that are installed.")(drivers)


@app.command(short_help="Print a JSON Schema.")
def schema(
    name: Annotated[str, typer.Argument(metavar="[NAME]", help="Without it, the names are listed.")] = "",
) -> None:
    """Print the JSON Schema of a file, an entry or a document."""

    def command() -> int:
        from benchday.cli.commands.schema import schema as begin

        return begin(name)

    conduct(command)
