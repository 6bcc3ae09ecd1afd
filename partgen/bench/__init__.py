"""The bench page: the whole job in a browser, served from this machine. May import: everything but cli.

`door` lets requests in or not, `page` answers them, `job` is one profile and what stands beside it;
measure, shape, build and trial are its four sections. Nothing is computed here that a command
computes otherwise, and nothing is kept here that the profile, the log or a file beside them does not hold.
"""
