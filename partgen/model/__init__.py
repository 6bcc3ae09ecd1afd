"""What a profile says, as frozen records in mm: pure data, no files.

May import: errors, units, findings.
"""
