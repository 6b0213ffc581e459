"""Pages of the work itself: readings used when they are no longer true, moves, figures that can't be meant."""

from engine.procedure.report.pages.page import Page

_STOP_SCREW = """\
screws:
  tapper: {each: carb, acts: water, at: tap, in: more water, unit: turn, zero: level, step: 1/16 turn, range: [-3, 3]}
"""
_READ = """\
cautions:
  fumes: {word: danger, text: Exhaust gas kills., demanded_by: ["engine: running"]}
readings:
  air: {ask: Airflow, quantity: airflow, each: carb, unit: kg/h, range: [0, 30], step: 0.1}
"""
_RUNNING = _STOP_SCREW + _READ
_ASK = "{flow: air, screw: tapper, target: 6 L/min}"
_SCREW = """\
screws:
  tap: {each: carb, acts: water, at: plate, in: less water, unit: turn, zero: seated, step: 1/8 turn, range: [0, 4]%s}
"""

PAGES = (
    Page(
        "stale-reading",
        "A reading used after something was turned",
        "On some way to this step a screw was turned, or a part changed, after the reading was taken; and a guard or "
        "an adviser uses it as if it were new.",
        "It says how the engine was, and the next move would be made for an engine that is no longer there.",
        "Read it again in the step that turns, or after it. Where the old one is meant, `keep` it under its own name.",
        _RUNNING
        + """\
steps:
  gate:
    state: {engine: running, hold: none}
    do: Read both.
    read: [air]
    record: as found
    go: turn
  turn:
    do: Open both an eighth.
    moves: [{screw: tapper, each: carb, by: 1/8 turn, direction: in}]
    branch:
      - {when: any(air < 3 kg/h), go: done}
      - {otherwise: done}
""",
    ),
    Page(
        "stale-advice",
        "What an adviser said, used after something was turned",
        "A guard looks at what an adviser said, and on some way to it screws were turned or parts changed since it was "
        "asked: most often because it is asked under a `when` that does not hold every time. Or its moves are made "
        "after something else was turned.",
        "The step would go on by a judgement of the round before.",
        "Ask it again without the `when`, or branch first on what keeps it from being asked.",
        _RUNNING
        + """\
steps:
  gate:
    state: {engine: running, hold: none}
    do: Read both.
    read: [air]
    advise: {name: next, adviser: idle_flow, with: {flow: air, screw: tapper, target: 6 L/min}}
    go: turn
  turn:
    do: Turn as shown.
    make: next
    branch:
      - {when: next.verdict == 'even', go: done}
      - {otherwise: done}
""",
    ),
    Page(
        "same-effect",
        "A screw that does the same both ways",
        "What turning it in does and what turning it out does are the same words.",
        "The card would say `less water` whichever way it is to be turned, and so would whoever made it believe.",
        "Correct `in` or `out`.",
        """\
screws:
  tap: {each: carb, acts: water, at: plate, in: less water, out: less water, unit: turn, zero: seated, range: [0, 4]}
steps:
  gate:
    do: Turn it.
    moves: [{screw: tap, each: carb, by: 1/8 turn, direction: in}]
    go: done
""",
    ),
    Page(
        "position-untold",
        "The place of a screw, and not of which",
        "The reading's quantity says that it is the place of a screw, and no `position_of` names the screw.",
        "Guards and advisers would go on taking the place of that screw for unknown, though somebody has counted it.",
        "Add `position_of: screw`.",
        """\
readings:
  counted: {ask: Turns, quantity: mixture screw position, each: carb, unit: turn, range: [0, 4]}
steps:
  gate:
    do: Count them.
    read: [counted]
    record: as found
    go: done
""",
        severity="warning",
    ),
    Page(
        "not-at-idle",
        "A reading taken at a held speed and judged as an idle",
        "The adviser judges an idle. On some way to it the reading was taken while a hand held the engine at a speed: "
        "`hold` stays until a step says otherwise, in called files too.",
        "What is true of a held engine is not true of its idle, and the move would be wrong.",
        "Add `hold: none` to the `state` of the step that reads.",
        _RUNNING
        + """\
steps:
  gate:
    state: {engine: running, hold: 1500 rpm}
    do: Read both.
    read: [air]
    advise: {name: next, adviser: idle_flow, with: {flow: air, screw: tapper, target: 6 L/min}}
    branch:
      - {when: next.verdict == 'even', go: done}
      - {otherwise: turn}
  turn:
    do: Turn as shown.
    make: next
    go: done
""",
    ),
    Page(
        "speed-while-held",
        "An engine speed read while a hand holds it",
        "On some way to this step a speed is held by hand, and the step reads the engine speed. `hold` stays until a "
        "step says otherwise, in called files too.",
        "It is the hand's speed: it would be written down, and judged, as the engine's.",
        "Add `hold: none` to the `state` of the step that reads.",
        _READ.replace(
            "readings:", "readings:\n  speed: {ask: Speed, quantity: engine speed, unit: rpm, range: [0, 9000]}"
        )
        + """\
steps:
  gate:
    state: {engine: running, hold: 1500 rpm}
    do: Read both.
    read: [speed, air]
    record: as found
    go: done
""",
        severity="warning",
    ),
    Page(
        "mixed-hold",
        "A reading taken at one speed or another",
        "On one way to this step the reading was taken at idle, on another while a hand held a speed.",
        "The same figure means another thing at another speed.",
        "Say `hold` in the `state` of every step that reads it.",
        _READ
        + """\
symptoms:
  stall: {kind: stall, ask: It stalls, go: start_it}
steps:
  gate:
    state: {engine: running, hold: none}
    do: Let it settle.
    go: row
  row:
    limit: {visits: 3, then: done}
    state: {engine: running}
    do: Read both.
    read: [air]
    branch:
      - {when: any(air < 3 kg/h), go: done}
      - {otherwise: done}
  start_it:
    limit: {visits: 3, then: done}
    state: {engine: running, hold: 1500 rpm}
    do: Start it and hold it.
    go: row
""",
    ),
    Page(
        "held-while-stopped",
        "A speed held on a stopped engine",
        "The step's `hold` says that a hand holds a speed, and on every way the engine is stopped there.",
        "Nothing turns that a hand could hold, and what is read next would count as read at that speed.",
        "Say `hold: none`, or start the engine.",
        """\
steps:
  gate:
    state: {engine: stopped, hold: 1500 rpm}
    do: Look at it.
    go: done
""",
    ),
    Page(
        "found-after-moves",
        "Something recorded as found when it was turned already",
        "On every way to the step that records it, in this file or in the one that it calls, screws were turned or "
        "parts changed before.",
        "The sheet would show the customer as found what was set minutes ago.",
        "Record it before the first move.",
        _RUNNING
        + """\
steps:
  gate:
    do: Open both an eighth.
    moves: [{screw: tapper, each: carb, by: 1/8 turn, direction: in}]
    go: row
  row:
    state: {engine: running, hold: none}
    do: Read both.
    read: [air]
    record: as found
    go: done
""",
    ),
    Page(
        "advice-not-made",
        "An adviser that says turn, and nobody turns",
        "The branch is taken where the adviser says 'turn', and no way from it comes to a step with `make` before the "
        "adviser is asked again.",
        "The adviser waits for the answer to a move that nobody was told to make, and judges the screw by it.",
        "Lead the branch to a step with `make: NAME`.",
        _RUNNING
        + f"""\
steps:
  gate:
    limit: {{visits: 4, then: done}}
    state: {{engine: running, hold: none}}
    do: Read both.
    read: [air]
    advise: {{name: next, adviser: even_flow, with: {_ASK}}}
    branch:
      - {{when: next.verdict == 'turn', go: gate}}
      - {{otherwise: turn}}
  turn:
    do: Turn as shown.
    make: next
    go: done
""",
    ),
    Page(
        "made-twice",
        "Moves that were made already",
        "On every way to this step the moves of the advice were made before, and the adviser was not asked again.",
        "There is nothing left to turn, and the step would show no move.",
        "Read again and ask the adviser before its moves are made again.",
        _RUNNING
        + f"""\
steps:
  gate:
    state: {{engine: running, hold: none}}
    do: Read both.
    read: [air]
    advise: {{name: next, adviser: even_flow, with: {_ASK}}}
    branch:
      - {{when: next.verdict == 'turn', go: turn}}
      - {{otherwise: done}}
  turn:
    do: Turn as shown.
    make: next
    go: again
  again:
    do: Turn as shown.
    make: next
    go: done
""",
    ),
    Page(
        "screw-twice",
        "One screw turned twice in a step",
        "Two moves of the step turn the same screw at the same place, or it fits the same part twice there, and "
        "both may be asked for at once.",
        "Which comes first, and whether the second starts from the first, nobody could tell.",
        "Make them two steps, or give them conditions that exclude each other.",
        _SCREW % ""
        + """\
steps:
  gate:
    do: Set both.
    moves:
      - {screw: tap, each: carb, to: 2 turn}
      - {screw: tap, only: [{carb: 1}], by: 1/8 turn, direction: out}
    go: done
""",
    ),
    Page(
        "turned-in-other-unit",
        "Flats for a screw that turns, or turns for a nut",
        "A move, a band or a comparison says in flats where a screw of the file is counted in turns, or the other way.",
        "A flat is a sixth of a turn: somebody would turn six times too far, or a sixth of the way.",
        "Say it in the unit of the screw.",
        _SCREW % ""
        + """\
steps:
  gate:
    do: Set both.
    moves: [{screw: tap, each: carb, by: 3 flat, direction: out}]
    go: done
""",
    ),
    Page(
        "finer-than-step",
        "A move that no hand can count",
        "The move is no whole number of the screw's steps.",
        "A hand can't set what it can't count.",
        "Say a whole number of steps, or correct the screw's `step`.",
        _SCREW % ""
        + """\
steps:
  gate:
    do: Set both.
    moves: [{screw: tap, each: carb, by: 1/64 turn, direction: out}]
    go: done
""",
    ),
    Page(
        "upside-down",
        "Two ends the wrong way round",
        "The lower end of a band, of a healthy answer or of a pair of settings (`..._low` and "
        "`..._high`, `..._rich` and "
        "`..._lean`) is above its upper one. A shop's own figures are held to the same when a run starts.",
        "Nothing lies between the two, so whatever is read would be judged wrong.",
        "Swap them, or correct one.",
        """\
settings:
  flow_low:  {value: 6 L/min, range: [1, 9], source: common practice}
  flow_high: {value: 4 L/min, range: [1, 9], source: common practice}
readings:
  flow: {ask: Flow, each: carb, unit: L/min, range: [0, 20]}
steps:
  gate:
    do: Read both.
    read: [flow]
    branch:
      - {when: any(flow < flow_low) or any(flow > flow_high), go: done}
      - {otherwise: done}
""",
    ),
    Page(
        "step-past-range",
        "A scale with a single mark",
        "The step of the reading's scale is wider than its range.",
        "Every answer would be rounded to the same figure.",
        "Correct the step or the range.",
        """\
readings:
  flow: {ask: Flow, unit: L/min, range: [0, 20], step: 50}
steps:
  gate:
    do: Read it.
    read: [flow]
    record: as left
    go: done
""",
    ),
    Page(
        "unlikely-time",
        "A time that nobody would wait",
        "A reading is averaged over more than five minutes, or a step waits longer than a day.",
        "The technician would not do it, and the program would believe that it was done.",
        "Correct the time or its unit.",
        """\
readings:
  flow: {ask: Flow, unit: L/min, range: [0, 20], average: 9999 min}
steps:
  gate:
    do: Read it.
    read: [flow]
    record: as left
    go: done
""",
    ),
    Page(
        "ok-over-stop",
        "An end that says ok over a stop",
        "The step or branch raises a finding that stops the work, and leads straight to an end with the outcome ok. "
        "The run meets a stop at once: mended and read again, ended here, or gone on knowingly; it never ends ok "
        "over one.",
        "The file's word and the sheet's would contradict each other.",
        "Lead to a step with `end: stopped` or `failed`, or to one that reads again and clears the finding.",
        """\
readings:
  drips: {ask: Does it drip?, choices: ['yes', 'no']}
steps:
  gate:
    do: Look underneath.
    read: [drips]
    branch:
      - {when: drips == 'no', go: done}
      - {otherwise: done, finding: {code: fuel-leak, severity: stop, say: Fuel drips.}}
""",
    ),
    Page(
        "kept-for-nothing",
        "A kept value that nothing looks at",
        "The step keeps a value under a name that no guard, text or adviser uses. Where a name like it is used, it "
        "is an error: most likely it is misspelt here.",
        "What it should say is never said, and the run goes on with what was kept elsewhere.",
        "Correct the name, use it, or delete it.",
        """\
readings:
  drips: {ask: Does it drip?, choices: ['yes', 'no']}
steps:
  gate:
    do: Look underneath.
    keep: {dripped: "False"}
    read: [drips]
    branch:
      - {when: drips == 'no', go: after}
      - {otherwise: wet}
  wet:
    do: Wipe it.
    keep: {driped: "True", dripped: "False"}
    go: after
  after:
    do: 'Look again. It did drip: {dripped}.'
    go: done
""",
    ),
)
