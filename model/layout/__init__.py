"""From a build to a layout: every piece in its place, stacks, what follows from standing where it does, and the words
for where that is.
"""
