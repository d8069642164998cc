"""How is stagectl called without its script? `python -m stagectl VERB`."""

from stagectl.cli import main

if __name__ == "__main__":
    main(prog_name="stagectl")
