"""``python -m geochem`` is the command line."""

from geochem.cli.main import main

if __name__ == "__main__":
    main()
