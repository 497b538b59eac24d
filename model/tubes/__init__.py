"""Tube runs: planned through free space, checked against it, and several at once.

`rules` holds the nouns, `verify` judges any run (drawn by hand or planned), `planner` finds one run, `several` a set
that do not meet. Nothing here reads a build file.
"""
