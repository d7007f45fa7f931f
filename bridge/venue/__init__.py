"""The simulated venue: virtual heads that hear our sACN, the beams they throw, and what those hit.

It knows the truth that the bridge does not, and shares no aim code with it: own kinematics, own motors, own decoding.
"""
