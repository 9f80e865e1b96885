"""How work is done, whatever it is about: in parts that do not depend on one another, and never twice.

``tasks`` hands parts out to processes, ``cache`` keeps what they gave by a hash of all that decided it (``digest``, ``program``). Nothing
here knows what a part computes.
"""
