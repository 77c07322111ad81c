"""A command as a pilot types it, for the tests of this folder."""

from ownship.cli import main


def run(capsys, *words):
    """(exit code, standard output, standard error) of `ownship WORDS`."""
    code = 0
    try:
        main(list(words))
    except SystemExit as stop:
        code = stop.code or 0
    out = capsys.readouterr()
    return code, out.out, out.err
