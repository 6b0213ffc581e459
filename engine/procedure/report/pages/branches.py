"""Pages of branches: readings without a way on, ways that are never taken."""

from engine.procedure.report.pages.page import FLOW, Page

PAGES = (
    Page(
        "uncovered-reading",
        "A reading that no branch takes",
        "The branches of a step are tried from top to bottom and the first true one wins. Here a reading is "
        'possible for which none is true. `case` shows one. "Nothing matches" is certain; "may match nothing" means '
        "that the numbers are tied to each other in a way that the check can't follow, so that the case may never come "
        "up.",
        "The technician has read the gauge, the engine runs hot, and the program has no next step.",
        "Add a branch for the case, close the gap between two numbers (`<` beside `>=`), or end the list with "
        "`- {otherwise: step}`.",
        FLOW
        + """\
steps:
  gate:
    do: Read both.
    read: [flow]
    branch:
      - {when: spread(flow) <= 0.5 L/min, go: done}
      - {when: spread(flow) > 1 L/min, go: done}
""",
    ),
    Page(
        "never-true",
        "A branch whose guard can never be true",
        "No reading within the declared ranges, no choice and no fact makes this guard true, at least on the ways that "
        "lead to this step. Often a number is outside the reading's range, a unit is wrong, or two parts exclude each "
        "other.",
        "What the branch is there for, perhaps a fault to find, is never noticed.",
        "Correct the number, the unit or the choice; or delete the branch.",
        FLOW
        + """\
steps:
  gate:
    do: Read both.
    read: [flow]
    branch:
      - {when: max(flow) > 25 L/min, go: done}
      - {otherwise: done}
""",
    ),
    Page(
        "idle-part",
        "A part of a condition that changes nothing",
        "The condition joins several parts with `or`, and where this step can be reached one of them is never true.",
        "Whoever reads the file takes it for a case that comes up, and looks for it at the engine.",
        "Delete the part, or correct what makes it so: a reading without `may_lack` is never missing once it is taken.",
        FLOW
        + """\
  sound: {ask: Sound, choices: [steady, rough]}
steps:
  gate:
    do: Read both.
    read: [flow, sound]
    branch:
      - {when: not known(flow) or sound == 'rough', go: done}
      - {when: any(flow < 1), go: done}
      - {otherwise: done}
""",
        "warning",
    ),
    Page(
        "shadowed-branch",
        "A branch that others always come before",
        "The guard can be true, but whenever it is, a branch above it is true as well and wins.",
        "The way on of this branch is never taken.",
        "Move it above the branch that takes its readings, or narrow that one.",
        FLOW
        + """\
steps:
  gate:
    do: Read both.
    read: [flow]
    branch:
      - {when: spread(flow) > 1 L/min, go: done}
      - {when: spread(flow) > 5 L/min, go: done}
      - {otherwise: done}
""",
    ),
    Page(
        "idle-otherwise",
        "Nothing is left for `otherwise`",
        "The branches above already take every reading.",
        "Nothing bad happens; but perhaps one of the branches above takes more than it was meant to.",
        "Delete the `otherwise`, or look at the branches above.",
        FLOW
        + """\
steps:
  gate:
    do: Read both.
    read: [flow]
    branch:
      - {when: any(flow < 1 L/min), go: done}
      - {when: all(flow >= 1 L/min), go: done}
      - {otherwise: done}
""",
        "warning",
    ),
    Page(
        "overlapping-branches",
        "Two branches of an exclusive step hold at once",
        "The step says `exclusive: true`: each reading may fit one branch only. Here a reading fits two.",
        "The order of the list decides what is done, which the author did not want.",
        "Narrow one of the two, or delete `exclusive`.",
        FLOW
        + """\
steps:
  gate:
    exclusive: true
    do: Read both.
    read: [flow]
    branch:
      - {when: spread(flow) > 1 L/min, go: done}
      - {when: any(flow < 1 L/min), go: done}
      - {otherwise: done}
""",
    ),
    Page(
        "too-complex",
        "More cases than a proof takes",
        "The guards of this step have so many cases that no proof over them ends in good time. Eleven numbers for "
        "one row, or long lists of `or` within `and`, do that.",
        "Nobody can tell whether a reading is left without a way on; neither could the next author.",
        "Split the step: branch on a part of it first, and go on from there.",
        """\
readings:
  flow: {ask: Flow, each: carb, unit: L/min, range: [0, 20]}
steps:
  gate:
    do: Read both.
    read: [flow]
    branch:
      - {when: any(1 < flow < 2) or any(3 < flow < 4) or any(5 < flow < 6), go: done}
      - {when: any(7 < flow < 8) or any(9 < flow < 10) or any(11 < flow < 12), go: done}
      - {otherwise: done}
""",
    ),
)
