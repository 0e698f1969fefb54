"""`stillroot explore`: a page on this machine to think with."""

from __future__ import annotations

from contextlib import nullcontext, suppress
from importlib.resources import files
from pathlib import Path

import click

FIRST_SHOWN = "soft_posterior.toml"
HIGHEST_PORT = 65535


@click.command()
@click.argument(
    "case_file", metavar="[CASE.toml]", required=False, default=None, type=click.Path(path_type=Path)
)
@click.option(
    "--port",
    metavar="N",
    type=click.IntRange(1, HIGHEST_PORT),
    help="Listen on this port (default: a free one).",
)
@click.option("--no-browser", is_flag=True, help="Print the address; do not open a browser.")
def explore(case_file: Path | None, *, port: int | None, no_browser: bool) -> int:
    """Open a page where you change a site by hand and the solver answers.

    It runs on this machine only, until Ctrl-C; without a case it opens an invented one. Needs the
    extra stillroot[explore].
    """
    from stillroot.explore import server  # noqa: PLC0415 - slow to import
    from stillroot.inputs.case import read_case  # noqa: PLC0415

    case = read_case(case_file or shipped_case())
    bound = server.bound_socket(port or 0)
    token = server.new_token()
    address = f"http://{server.LOOPBACK}:{bound.getsockname()[1]}/{token}/"
    click.echo(f"{address}\nOpen this address on this machine; Ctrl-C stops it.")
    opening = nullcontext(True) if no_browser else server.opened_in_browser(address)
    with suppress(KeyboardInterrupt), opening as went:
        if not went:
            click.echo("No browser could be opened: open the address yourself.")
        server.serve(case, bound, token)
    return 0


def shipped_case() -> Path:
    """Return the shipped case that is shown first: in the package, or in the checkout."""
    package = Path(str(files("stillroot")))
    inside = package / "cases" / FIRST_SHOWN
    return inside if inside.is_file() else package.parents[1] / "docs" / "cases" / FIRST_SHOWN
