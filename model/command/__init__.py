"""The command line: its words, what is printed, how a run ends."""
