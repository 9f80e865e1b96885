"""Answers that somebody might give to the questions about a method of one's own: whole ones, and such as cannot be used."""

from __future__ import annotations

WHOLE = {
    "title": "Push through twine, two hands",
    "question": "Whose edge pushes through more twine before a push has to be forced?",
    "compared": "sharpener",
    "medium": "Hemp twine, 3 mm, waxed, all of it from one ball",
    "stroke": "Pushed straight down through the clamped twine, with 20 mm of the edge.",
    "set_up": "Clamp a board to the table, and the twine across its slot.\nHang the bag from the twine; **the scale stands under it**.",
    "reading_kind": "force",
    "reading": "The force at which the edge parts a cotton thread, read on a kitchen scale.",
    "needs": "One knife with a plain edge\nHemp twine, 3 mm, 20 m; cheap; any waxed twine, all from one ball\nA slotted board; made",
    "minutes": "30",
    "threats": "medium: Wax is uneven along the ball; Each run takes the next metre, by lot.\ninstrument: The thread slackens",
    "cautions": "The twine is clamped; the other hand stays behind the board.",
    "by": "heron",
}
"""A question about sharpeners: thirteen answers, which is all that it needs."""
OF_LEVELS = WHOLE | {
    "title": "Coarse or fine on twine",
    "question": "Does a coarse finish push through twine longer than a fine one?",
    "compared": "level",
    "fact": "last abrasive",
    "levels": "coarse: The coarse side of the stone comes last; 20 to 80\nfine: The fine side comes last; below 10",
}
"""A question about levels: fifteen."""

_LEVELS = {
    "edge angle": "steep: At 25 degrees; from 22.5\nflat: At 15 degrees; below 17.5\nbetween: At 20; 18 to 22",
    "strop": "bare: Straight from the stone; none\nstropped: Drawn over a strop; not none",
    "deburring": "on cork: Drawn through cork; cork or felt\nnone: Nothing is done; not cork or felt",
    "written": "slice: Drawn through\npush: Pushed through",
}
GOOD: tuple[dict[str, str], ...] = (
    WHOLE,
    OF_LEVELS,
    *(OF_LEVELS | {"fact": fact, "levels": levels} for fact, levels in _LEVELS.items()),
    WHOLE | {"compared": "steel", "reading_kind": "pass/fail", "decides": "early"},
    WHOLE | {"compared": "blade", "reading_kind": "length, more", "counted": "metres", "checkpoints": "0 0.5 1 2.25", "id": "own-id"},
    WHOLE | {"reading_kind": "count, fewer", "life_ends": "7.5", "decides": "life", "dulls": "yes", "worthwhile": "1.50"},
    WHOLE | {"threats": "carry-over: It stays; Grind it off.\ncarry-over: More; Grind more.\nmedium: It: a colon; first; last"},
    WHOLE | {"title": "  Écrin — \t à pousser ", "alone": "No:\nnever alone", "evidence": "read: by two", "order": "# as it comes"},
    WHOLE | {"medium": "A medium whose first words go on for more than sixty characters, before a comma", "runs": "12"},
    WHOLE | {"set_up": "\n\r\n {table: needs}\n### s1-x Not a heading\n\n| a | b |\n---\n", "cautions": "no\nyes: no\n- item"},
)  # fmt: skip
"""Answers that make a method."""

BAD: tuple[dict[str, str], ...] = (
    {},
    {"compared": "level"},
    *({name: text for name, text in WHOLE.items() if name != left_out} for left_out in WHOLE),
    WHOLE | {"compared": "colour", "reading_kind": "by eye", "decides": "luck", "minutes": "soon"},
    WHOLE | {"stretch": "-4", "repeats": "2.5", "runs": "0"},
    WHOLE | {"minutes": "0", "worthwhile": "1", "spread": "0", "life_ends": "1e3", "title": "x" * 201},
    WHOLE | {"checkpoints": "0, 5"},
    WHOLE | {"checkpoints": "1, 2, 3"},
    WHOLE | {"checkpoints": "0, 5, 5"},
    WHOLE | {"checkpoints": "0, five, 6"},
    WHOLE | {"decides": "life"},
    WHOLE | {"id": "No Id"},
    WHOLE | {"id": "analysis"},
    WHOLE | {"title": "?"} | {"id": "x"},
    WHOLE | {"by": "Not a handle"},
    WHOLE | {"needs": "twine; somewhere\n; cheap\nthread; cheap;\na; made; b; c"},
    WHOLE | {"threats": "medium It is bad\nweather: rain; stay in\nmedium:\nMedium: no"},
    OF_LEVELS | {"fact": ""},
    OF_LEVELS | {"levels": "one: alone; below 4"},
    OF_LEVELS | {"levels": "a: one\nb; below 3\n: c; below 2\nd: three; 5 to 4\ne: four; about 7\nA (1): five; below 9\nf: six; from 0"},
    OF_LEVELS | {"levels": "a: one; below 30\nA: two; from 40\nb: three; 20 to 50"},
    OF_LEVELS | {"fact": "strop", "levels": "a: one; leather or denim\nb: two; Denim\nc: three; not x\nd: four; not y"},
    OF_LEVELS | {"fact": "written"},
)  # fmt: skip
"""Answers that cannot be used, each for a reason of its own."""
