"""The commands: the only place, with bench, that prints, opens files a user named, or exits.

`app` registers them; each command is one module. Heavy imports stay inside the functions, so that
`partgen --help` answers at once.
"""
