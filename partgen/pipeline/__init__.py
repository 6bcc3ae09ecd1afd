"""Profile in, result out: the only package that knows all stages. Never prints.

`inputs` gathers what a revision is made from, `planning` turns it into a plan, `building` into files.
"""
