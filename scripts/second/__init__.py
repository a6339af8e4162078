"""A second renderer of brilliants, to measure on pictures that the first one (samestone.simulate) did not make.

Methods learned on one renderer may have learned its habits: how it draws a feather, samples a pixel, models a dome.
So this package shares nothing with the first: own geometry, own ray tracer, own features, lamps and camera, from the
textbooks alone. It imports nothing from samestone. Whoever improves one renderer must not copy from the other.
"""
