"""`python -m cavity` is the command `cavity`."""

from cavity.cli import main

if __name__ == "__main__":
    main(prog_name="cavity")
