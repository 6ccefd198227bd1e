"""The version of the program, in a module that imports nothing."""

VERSION = "0.1.0"
