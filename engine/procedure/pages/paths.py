"""Pages of what the proofs find: ways, loops, branches, names on every path, the engine's state, cautions, style."""

from engine.procedure.pages.page import Page

_GATE = """\
readings:
  flow: {ask: Flow, each: carb, unit: L/min, range: [0, 20], step: 0.1}
"""

PAGES = (
    Page(
        "uncovered-reading", "A reading that no branch takes",
        "The branches of a step are tried from top to bottom and the first true one wins. Here a reading is possible "
        "for "
        "which none is true. `case` shows one. \"Nothing matches\" is certain; \"may match nothing\" means that the "
        "numbers are tied to each other in a way that the check can't follow, so that the case may never come up.",
        "The technician has read the gauge, the engine runs hot, and the program has no next step.",
        "Add a branch for the case, close the gap between two numbers (`<` beside `>=`), or end the list with "
        "`- {otherwise: step}`.",
        _GATE + """\
steps:
  gate:
    do: Read both.
    read: [flow]
    branch:
      - {when: spread(flow) <= 0.5 L/min, go: done}
      - {when: spread(flow) > 1 L/min, go: done}
"""),
    Page(
        "never-true", "A branch whose guard can never be true",
        "No reading within the declared ranges, no choice and no fact makes this guard true, at least on the ways that "
        "lead to this step. Often a number is outside the reading's range, a unit is wrong, or two parts exclude each "
        "other.",
        "What the branch is there for, perhaps a fault to find, is never noticed.",
        "Correct the number, the unit or the choice; or delete the branch.",
        _GATE + """\
steps:
  gate:
    do: Read both.
    read: [flow]
    branch:
      - {when: max(flow) > 25 L/min, go: done}
      - {otherwise: done}
"""),
    Page(
        "shadowed-branch", "A branch that others always come before",
        "The guard can be true, but whenever it is, a branch above it is true as well and wins.",
        "The way on of this branch is never taken.",
        "Move it above the branch that takes its readings, or narrow that one.",
        _GATE + """\
steps:
  gate:
    do: Read both.
    read: [flow]
    branch:
      - {when: spread(flow) > 1 L/min, go: done}
      - {when: spread(flow) > 5 L/min, go: done}
      - {otherwise: done}
"""),
    Page(
        "idle-otherwise", "Nothing is left for `otherwise`",
        "The branches above already take every reading.",
        "Nothing bad happens; but perhaps one of the branches above takes more than it was meant to.",
        "Delete the `otherwise`, or look at the branches above.",
        _GATE + """\
steps:
  gate:
    do: Read both.
    read: [flow]
    branch:
      - {when: any(flow < 1 L/min), go: done}
      - {when: all(flow >= 1 L/min), go: done}
      - {otherwise: done}
""", "warning"),
    Page(
        "overlapping-branches", "Two branches of an exclusive step hold at once",
        "The step says `exclusive: true`: each reading may fit one branch only. Here a reading fits two.",
        "The order of the list decides what is done, which the author did not want.",
        "Narrow one of the two, or delete `exclusive`.",
        _GATE + """\
steps:
  gate:
    exclusive: true
    do: Read both.
    read: [flow]
    branch:
      - {when: spread(flow) > 1 L/min, go: done}
      - {when: any(flow < 1 L/min), go: done}
      - {otherwise: done}
"""),
    Page(
        "too-complex", "More cases than a proof takes",
        "The guards of this step have so many cases that no proof over them ends in good time. Eleven numbers for one "
        "row, "
        "or long lists of `or` within `and`, do that.",
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
"""),
    Page(
        "unreachable-step", "A step that nothing leads to",
        "No branch, call, limit or symptom that can really be taken leads to this step.",
        "What it is there for is never done.",
        "Lead a way to it, or delete it.",
        """\
steps:
  forgotten:
    do: Tighten the lock nuts.
    go: done
"""),
    Page(
        "no-way-to-end", "A step from which no end can be reached",
        "Whatever is answered here, the ways on never come to a step with `end`; a symptom may, but nobody can be "
        "asked to "
        "wait for one.",
        "The job could never be finished.",
        "Lead a way from here, or from a step after it, towards an end.",
        """\
readings:
  sound: {ask: How does it sound?, choices: [steady, rough]}
steps:
  gate:
    do: Listen.
    read: [sound]
    branch:
      - {when: sound == 'steady', go: done}
      - {otherwise: wait_for_it}
  wait_for_it:
    limit: {visits: 5, then: wait_more}
    do: Wait.
    go: wait_for_it
  wait_more:
    do: Wait more.
    go: wait_for_it
"""),
    Page(
        "endless-loop", "A loop that no limit ends",
        "The steps named can follow each other for ever. A loop must pass a step with a `limit`, so that every run "
        "ends "
        "after finitely many steps.",
        "A technician could turn screws round and round at a hot engine, because no round is ever the last.",
        "Give one step of the loop `limit: {visits: 10, then: step}`, where `then` leads out of the loop.",
        """\
readings:
  sound: {ask: How does it sound?, choices: [steady, rough]}
steps:
  gate:
    do: Turn it an eighth.
    read: [sound]
    branch:
      - {when: sound == 'steady', go: done}
      - {otherwise: gate}
"""),
    Page(
        "limit-in-loop", "A limit whose `then` leads back into its own loop",
        "When all visits of the step are used up the run goes to `then`; from there it comes back to the step, is "
        "sent to "
        "`then` again, and so on. The limit ends nothing.",
        "The loop is as endless as without the limit.",
        "Let `then` lead to an end, or to a step from which no way leads back.",
        """\
readings:
  sound: {ask: How does it sound?, choices: [steady, rough]}
steps:
  gate:
    limit: {visits: 5, then: rest}
    do: Turn it an eighth.
    read: [sound]
    branch:
      - {when: sound == 'steady', go: done}
      - {otherwise: gate}
  rest:
    do: Let it cool.
    go: gate
"""),
    Page(
        "endless-symptom", "A symptom that may be given for ever",
        "A symptom leads back to where it was given (`back`), or round a loop, and nothing counts how often. What a "
        "person "
        "sees may come again each time.",
        "An engine that stalls again and again would be restarted for ever instead of being looked at.",
        "Give the symptom a `limit: {visits: 3, then: step}`, or a step of the loop a limit of its own.",
        """\
symptoms:
  stall: {kind: stall, ask: It stalls, call: restart, ends: {done: back}}
# file: restart.yaml
steps:
  gate:
    do: Start it again.
    go: done
"""),
    Page(
        "silent-loop", "A loop that asks nothing",
        "The steps of the loop say, make and read nothing, so they pass by themselves, and nothing changes from one "
        "round "
        "to the next.",
        "The program would spin until a limit stops it, and nobody would see why.",
        "Give a step of the loop something to do or to read; or lead it elsewhere.",
        """\
readings:
  sound: {ask: How does it sound?, choices: [steady, rough]}
steps:
  gate:
    do: Listen.
    read: [sound]
    go: again
  again:
    limit: {visits: 3, then: done}
    branch:
      - {when: sound == 'steady', go: done}
      - {otherwise: again}
"""),
    Page(
        "symptom-leads-nowhere", "A symptom that leads nowhere from some step",
        "The file declares the symptom, but neither where it is declared nor the step named says where it leads, and "
        "no "
        "file that calls this one does either.",
        "The technician sees it and can't say so.",
        "Add `go: step`, or `call: file` with its `ends`, to the symptom or to the steps.",
        """\
symptoms:
  stall: {kind: stall, ask: It stalls}
"""),
    Page(
        "used-before-read", "A value that may not be known yet",
        "On some way to this step nobody has taken the reading, kept the value or asked the adviser that is used here. "
        "`case` shows such a way. A reading that is taken only where a fact holds counts only where it is known to "
        "hold.",
        "A guard over something missing is simply false, so the run would quietly take the wrong way.",
        "Take the reading on every way that leads here, move the use behind it, or ask `known(name)` first.",
        _GATE + """\
steps:
  gate:
    do: Look at it.
    branch:
      - {when: spread(flow) > 1 L/min, go: read_it}
      - {otherwise: done}
  read_it:
    do: Read both.
    read: [flow]
    go: done
"""),
    Page(
        "read-while-stopped", "A running quantity read on a stopped engine",
        "Airflow, depression, engine speed, lambda, exhaust gas, ignition timing and dwell are only there while the "
        "engine "
        "runs. On some way to this step the file has stopped it. `case` shows the way.",
        "The gauge shows nothing, and zeros would be written down as readings.",
        "Add `state: {engine: running}` to the step, or to one before it on that way.",
        """\
readings:
  speed: {ask: Engine speed, quantity: engine speed, unit: rpm, range: [0, 5000], step: 10}
steps:
  gate:
    state: {engine: stopped}
    do: Read the tachometer.
    read: [speed]
    go: done
"""),
    Page(
        "read-while-running", "A reading for a stopped engine, taken on a running one",
        "Compression, leak-down, valve clearance, throttle return and the like are taken on a stopped engine. On some "
        "way to "
        "this step it runs; a symptom that leads back here may have started it. `case` shows the way.",
        "Hands and tools would meet turning parts.",
        "Add `state: {engine: stopped}` to the step itself.",
        """\
cautions:
  fumes: {word: danger, text: Exhaust gas kills. Work outdoors., demanded_by: ["engine: running"]}
readings:
  clearance: {ask: Valve clearance, quantity: valve clearance, choices: [right, tight, wide]}
steps:
  gate:
    state: {engine: running}
    do: Measure the clearances.
    read: [clearance]
    go: done
"""),
    Page(
        "unknown-state", "A reading whose engine state is not known",
        "The quantity needs a running engine, or a stopped one, and on some way to this step the file has not said "
        "which. "
        "Each file says so itself, even if the file that calls it has.",
        "The technician would have to guess.",
        "Add `state: {engine: running}` or `state: {engine: stopped}` to the step, or to the first one.",
        """\
readings:
  speed: {ask: Engine speed, quantity: engine speed, unit: rpm, range: [0, 5000], step: 10}
steps:
  gate:
    do: Read the tachometer.
    read: [speed]
    go: done
"""),
    Page(
        "missing-caution", "A danger without its caution",
        "A step names a hazard, or sets a dangerous state such as `engine: running`, or the file needs a dangerous "
        "tool, "
        "and no caution of the file answers to it, by its name or under `demanded_by`.",
        "Somebody would be led into the danger without a word of warning.",
        "Add the caution with its signal word, and say under `demanded_by` what demands it.",
        """\
steps:
  gate:
    hazards: [scald]
    do: Open the drain cock.
    go: done
"""),
    Page(
        "missing-hazard", "A reading that meets a hazard the step does not name",
        "To take fuel pressure or fuel level opens fuel, to look for a spark meets high voltage. The step does not "
        "say so, "
        "and so its caution is not shown.",
        "The caution would not be shown where it is needed.",
        "Add `hazards: [...]` with that word to the step.",
        """\
readings:
  level: {ask: Fuel level, quantity: fuel level, unit: mm, range: [-20, 20], step: 0.5}
steps:
  gate:
    do: Measure the level.
    read: [level]
    go: done
""", "warning"),
    Page(
        "idle-caution", "A caution that is never shown",
        "No step names the caution, and nothing that demands it (a state, a hazard, a tool) is in this file.",
        "It was written to be read, and nobody will.",
        "Name it under `cautions` of a step, correct its `demanded_by`, or delete it.",
        """\
cautions:
  scald: {word: warning, text: The water is hot., demanded_by: [hot water]}
""", "warning"),
    Page(
        "long-instruction", "An instruction too long for the card",
        "The instruction has more characters than the card of a small screen shows.",
        "Its end can't be read without scrolling, with oily hands.",
        "Split the step; or move the reason to `why` and remarks to `note`.",
        """\
steps:
  gate:
    do: >-
      Take the cover off and lay the screws in a tin in the order in which they came out, since two of them are longer
      than the rest and belong at the back, and look at the gasket while it is off, because a gasket that has gone hard
      lets in air at the corner beside the spindle, where nobody looks for it until everything else has been changed.
    go: done
""", "warning"),
    Page(
        "two-actions", "Two actions in one step",
        "The instruction asks for one thing and then another.",
        "A technician who looks up after the first forgets the second.",
        "Make it two steps; the program passes from one to the next with a single key.",
        """\
steps:
  gate:
    do: Close the valve, and then start the pump.
    go: done
""", "warning"),
    Page(
        "no-source", "A number without a source",
        "The setting does not say where its number comes from.",
        "A technician can't tell a maker's figure from a guess, and will trust both.",
        "Say `common practice`, `from memory: ...`, or name the sheet it stands on.",
        _GATE + """\
settings:
  apart: {value: 1 L/min, range: [0, 5], source: unknown}
steps:
  gate:
    do: Read both.
    read: [flow]
    branch:
      - {when: spread(flow) > apart, go: done}
      - {otherwise: done}
""", "warning"),
    Page(
        "unused-reading", "A reading that nothing uses",
        "The reading is taken, but no guard, text, adviser or record uses it, and it is no quantity that a machine "
        "knows.",
        "The technician takes it for nothing.",
        "Branch on it, bind it to an adviser, `record` it, or delete it.",
        """\
readings:
  sound: {ask: How does it sound?, choices: [steady, rough]}
steps:
  gate:
    do: Listen.
    read: [sound]
    go: done
""", "warning"),
    Page(
        "unused-name", "Something declared that nothing uses",
        "A fact, setting, value, screw or reading is declared, and nothing in the file mentions it. Perhaps its name "
        "is "
        "misspelt where it should be used.",
        "It only makes the file longer to read.",
        "Use it, or delete it.",
        """\
facts:
  bypass: bank.air_bypass_screws
""", "warning"),
)
