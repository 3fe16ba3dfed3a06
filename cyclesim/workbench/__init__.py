"""The workbench: a server on this machine alone, through which plants are drawn, tried and handed over.

Everything that it shows comes from what is said; everything that it changes is a scenario file of the user's
folder, by the bytes of the values that change.
"""
