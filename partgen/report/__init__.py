"""The fit report: drawings, pictures, HTML, PDF, all from the fit document and the built shapes.

May import: errors, fit.
"""
