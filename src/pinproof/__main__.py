"""`python -m pinproof`: the command line."""

from pinproof.cli import main

main()
