"""The seeded demonstration: what an invented small-harbour boatyard and its visitors would have sent in.

In: a seed and the true effects. Out: the bytes of its submission files, and the effects that made them. The people,
blades, coils and steels are invented; every file says ``"origin": "simulated"``. Nothing here reads a result: the
pooling never sees the truth, and the truth never sees the pooling. The modules in the order of the story::

    methods    what the generator must know of the protocols
    effects    the true effects, and the true ratios that follow from them
    cast       people of six shores, blades, coils, sheets of card and instruments
    scenes     who cut what, with whose edge, in which month
    world      the seeded draws: one person's habit, one blade's luck
    cutting    one run: keenness along the work, and the readings taken
    writing    a value as this person writes it on this instrument
    record     one submission as the JSON that a person would send
    card_on_thread   evenings with reference edges and known weights, told apart from the others
    conditions   one person's edge before and now, and a factory's against the own
    levels     coarse against fine, stropped against bare, by one person on the halves of one edge
    generate   all of them, and the switch into a repository
"""

from .effects import Effects
from .generate import PUBLISHED_SEED, Demonstration, generate, write_demo

__all__ = ["PUBLISHED_SEED", "Demonstration", "Effects", "generate", "write_demo"]
