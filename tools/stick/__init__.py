"""What goes on the stick: an installer for a computer without a network, and the texts beside it.

Files here run on that computer, with the standard library only; `tools/bundle.py` copies them.
"""
