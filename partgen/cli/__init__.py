"""The commands: the only place, with bench, that prints, opens files a user named, or exits."""
