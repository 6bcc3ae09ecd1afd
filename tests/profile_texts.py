"""Text of a small profile with gaps to fill: holes and seats of every shape, one part, a row of positions."""

SHAPES = {
    "rectangle": 'shape = "rectangle"\nwidth = [15.5, 15.52]\ndepth = [13.3, 13.31]\ncorner_radius = 0.6',
    "round": 'shape = "round"\ndiameter = [15.0, 15.01]',
    "slot": 'shape = "slot"\nwidth = [16.0, 16.02]\ndepth = [12.4, 12.41]',
    "outline": 'shape = "outline"\npoints = [[-7, -6], [7, -6], [8, 0], [6, 6.5], [-6, 6.5], [-8, 0]]',
}
SEATS = {
    "square": 'shape = "rectangle"\nwidth = [3.3]\ndepth = [3.3]',
    "round": 'shape = "round"\ndiameter = [3.2]',
    "tongue": 'shape = "tongue"\nwidth = [3.5]\ndepth = [1.5]',
    "cross": 'shape = "cross"\nwidth = [5.0]\ndepth = [5.0]\narm = [1.6]',
    "flatted": 'shape = "flatted"\ndiameter = [4.0]\nacross_flat = [3.2]',
    "tube": 'shape = "tube"\ndiameter = [4.5]\nbore = [2.5]',
}
PROFILE = """format = 1
title = "Geometry against plan"
printer = "{printer}"
[panel]
thickness = [{thickness}]
[hole.h]
{hole}
[seat.s]
{seat}
length = 5.0
travel = [{travel}]
[part.key]
kind = "button-cap"
hole = "h"
seat = "s"
proud = {proud}
crown = "{crown}"
grip = "{grip}"
flange = {flange}
mark = "{mark}"
"""
POSITION = '[[position]]\nlabel = "S{n}"\nat = [{x}, {y}]\npart = "key"\ndrop = [{drop:.2f}, {drop:.2f}]\n{more}'
