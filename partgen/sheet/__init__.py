"""A measuring sheet to print: what to measure, drawn from the profile's own shapes, with boxes to fill.

May import: model, metrology, profile, measuring, report.svg. Pure: a profile in, HTML out.
"""
