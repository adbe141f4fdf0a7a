"""The command's entry: ``--version`` answers before anything heavy is imported."""

import sys


def main() -> None:
    if sys.argv[1:] == ["--version"]:
        from fillbook import __version__

        print(f"fillbook {__version__}")
        return
    from fillbook.trace.cli.commands import cli

    cli(prog_name="fillbook")
