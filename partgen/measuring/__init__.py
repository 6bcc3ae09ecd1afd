"""Taking readings one by one: what to read, how good it is so far, and what stands out.

May import: profile, metrology, planning, model, units. Files are written through profile.edit only; never prints.
"""
