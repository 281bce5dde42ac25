"""`screener demo`: the sample tract, ready to run."""

from __future__ import annotations

import click

from screener import errors
from screener.cli import printing

EPILOG = """\b
Examples:
  screener demo sample
  screener run sample/tract.toml --allow-exceptions
  screener demo --portfolio sample                     three tracts too
  screener portfolio sample/portfolio.toml --allow-exceptions"""


@click.command(epilog=EPILOG)
@click.argument("folder", type=click.Path(file_okay=False))
@click.option("--overwrite", is_flag=True, help="Put back sample files that were changed.")
@click.option("--portfolio", is_flag=True, help="Beside it a portfolio of three invented tracts.")
@click.option("--quiet", "-q", is_flag=True, help="Say nothing.")
def command(folder: str, overwrite: bool, portfolio: bool, quiet: bool) -> int:
    """Write the sample tract to FOLDER. Everything in it is invented.

    A folder that holds anything else is refused; the sample's own files may be written again.
    """
    from pathlib import Path

    from screener.sample import write_sample

    count = write_sample(Path(folder), overwrite=overwrite)
    if portfolio:
        from screener.portfolio.sample import add_portfolio

        file = add_portfolio(Path(folder))
        if not quiet:
            printing.say(f"a portfolio of three tracts (invented) is in {folder}")
            printing.say(f"next: screener portfolio {file} --allow-exceptions (about a minute)")
        return errors.OK
    if not quiet:
        printing.say(f"{count} files of the sample tract (invented) are in {folder}")
        project = Path(folder) / "tract.toml"
        printing.say(f"next: screener run {project} --allow-exceptions (about a minute)")
        printing.say(f"then: open {Path(folder) / 'results' / 'report.html'} in a browser")
        printing.say(f"why:  screener explain {project} --lot C-31")
    return errors.OK
