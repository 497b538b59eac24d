"""Users' own STEP and STL files, read in a process apart."""
