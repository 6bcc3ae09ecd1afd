"""Published least-squares fits of a circle and an ellipse.

Source: W. Gander, G. H. Golub, R. Strebel, "Least-squares fitting of circles and ellipses", BIT 34 (1994)
558-578, the examples of sections 2, 3 and 5 [GANDER-1994]. From memory; recomputed, they close to five digits.
The linear fit is not in that paper: least squares on x² + y² + D x + E y + F (Kåsa), worked out here.

No data set of NIST's for circles (the Algorithm Testing System's) could be reached; none is claimed.
"""

CIRCLE_POINTS = [(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)]
CIRCLE_GEOMETRIC = (4.73978, 2.98353, 4.71423)  # x, y, r
CIRCLE_ALGEBRAIC = (5.3794, 7.2532, 3.0370)  # least algebraic distance, coefficients of length 1
CIRCLE_LINEAR = (4.74233, 3.83512, 4.10876)

ELLIPSE_POINTS = [*CIRCLE_POINTS, (6, 2), (8, 4)]
ELLIPSE_GEOMETRIC = (2.6996, 3.8160, 6.5187, 3.0319, 0.3596)  # x, y, semi-axes, angle in radians
