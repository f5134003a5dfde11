"""Run the command as ``python -m converter``."""

from converter.cli.main import run

if __name__ == "__main__":
    run()
