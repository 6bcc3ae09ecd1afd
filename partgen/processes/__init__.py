"""Other processes of ours, that work while this one goes on.

May import: nothing of ours. What they do is theirs who ask: a question names the function.
"""
