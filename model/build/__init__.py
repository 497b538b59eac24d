"""From text to a build: reading YAML with its positions, the words of a build file, and the faults in them.

Nothing here knows where a part stands.
"""
