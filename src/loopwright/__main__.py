"""`python -m loopwright`: the command where its script is not on the path."""

from loopwright.cli.main import run

if __name__ == "__main__":
    run()
