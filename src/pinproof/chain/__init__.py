"""The chain of one truck: switch → resistor → wire → pin → reading → meaning → gear → log → repair.

Answers: how far the chain is shown, link by link; what to do next, with minutes and tools; how to begin a design file
         from a few answers, or from a design that somebody shared; what the owner's drawer holds.
Touches: the drawer file and, in `adopt`, the design file that is taken over; both are written whole or not at all.
Must not: judge anything itself: verdicts come from `pinproof.proof`. A link whose engine does not exist yet says so.
"""
