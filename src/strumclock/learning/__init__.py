"""How the strum detector learns: sounds → scenes → features → training → calibration → one file.

``python -m strumclock.learning SOUNDS --out detector.npz`` does all of it. Needs the extra ``strumclock[learning]``.
Nothing in the package imports this one.
"""
