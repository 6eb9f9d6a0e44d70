"""The shop's rules as pure calculations.

Nothing here reads a file, a clock, a database, a request or a locale; dates and rate
tables come in as arguments, frozen dataclasses go out.
"""
