"""What is done with parts: read a build, place its parts, make solids, check them, write files, and the command line.

Data flows one way: build file -> Build -> Layout -> Scene -> Findings -> files. Each arrow is a function of one
module.
"""
