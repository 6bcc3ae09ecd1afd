"""`python -m partgen` is the same as the command `partgen`."""

from partgen.cli.app import main

if __name__ == "__main__":
    main()
