"""Pages of the engine's state, of cautions, and of what makes a file hard to follow."""

from engine.procedure.report.pages.page import FLOW, Page

PAGES = (
    Page(
        "read-while-stopped",
        "A running quantity read on a stopped engine",
        "Airflow, depression, engine speed, lambda, exhaust gas, ignition timing and dwell are only there while the "
        "engine runs. On some way to this step the file has stopped it. `case` shows the way.",
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
""",
    ),
    Page(
        "read-while-running",
        "A reading for a stopped engine, taken on a running one",
        "Compression, leak-down, valve clearance, throttle return and the like are taken on a stopped engine. On "
        "some way to this step it runs; a symptom that leads back here may have started it. `case` shows the way.",
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
""",
    ),
    Page(
        "fitted-while-running",
        "Parts fitted on a running engine",
        "The step fits parts, or makes an advice that may name some, and on some way to it the engine runs. `case` "
        "shows the way.",
        "Hands, petrol and a turning engine would meet.",
        "Add `state: {engine: stopped}` to the step itself.",
        """\
cautions:
  fumes: {word: danger, text: Exhaust gas kills. Work outdoors., demanded_by: ["engine: running"]}
steps:
  gate:
    state: {engine: running}
    do: Fit the washers.
    fit: [{part: washer, each: carb, size: 12}]
    go: done
""",
    ),
    Page(
        "read-in-wrong-state",
        "A reading in a state in which there is nothing to read",
        "The vocabulary, or a declaration, says which state the quantity needs. On some way to this step the file has "
        "set another. `case` shows the way.",
        "The gauge shows nothing, and zeros would be written down as readings.",
        "Set the state in the step, or in one before it on that way.",
        """\
declares:
  states: {pump: [running, stopped]}
  quantities: {water flow: {unit: L/min, range: [0, 100], needs: {pump: running}}}
readings:
  flow: {ask: Flow, each: carb, quantity: water flow, unit: L/min, range: [0, 20], step: 0.1}
steps:
  gate:
    state: {pump: stopped}
    do: Read both.
    read: [flow]
    branch:
      - {when: any(flow > 1 L/min), go: done}
      - {otherwise: done}
""",
    ),
    Page(
        "unknown-state",
        "A reading whose state is not known",
        "The quantity needs a running engine, a stopped one, or another state, and on some way to this step the file "
        "has not said how that stands. "
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
""",
    ),
    Page(
        "missing-caution",
        "A danger without its caution",
        "A step names a hazard, or sets a dangerous state such as `engine: running`, or the file needs a dangerous "
        "tool, and no caution of the file answers to it, by its name or under `demanded_by`. A danger that a caller or "
        "a called file has brought about stands on: it is said in every file in which somebody works meanwhile.",
        "Somebody would be led into the danger without a word of warning.",
        "Add the caution with its signal word, and say under `demanded_by` what demands it.",
        """\
steps:
  gate:
    hazards: [hot]
    do: Open the drain cock.
    go: done
""",
    ),
    Page(
        "mild-caution",
        "A hazard spoken of too mildly",
        "A step names a hazard, and every caution that answers to it has a milder signal word than it asks for: "
        "petrol and the road ask for `danger`, fire and high voltage for `warning`.",
        "Whoever reads a milder word takes less care than it needs.",
        "Give the caution the graver `word`.",
        """\
cautions:
  petrol: {word: caution, text: Petrol lights., demanded_by: [fuel]}
steps:
  gate:
    hazards: [fuel]
    do: Open the drain cock.
    go: done
""",
        "warning",
    ),
    Page(
        "healthy-not-first",
        "A healthy answer that is not the first",
        "The first of the choices is the one that is under the thumb; here the healthy one stands further down.",
        "A technician who answers by habit says that something is wrong where nothing is.",
        "Put the healthy answer first, or correct `healthy`.",
        """\
readings:
  drips: {ask: Does it drip?, choices: ['yes', 'no'], healthy: 'no'}
steps:
  gate:
    do: Look.
    read: [drips]
    record: as found
    go: done
""",
        "warning",
    ),
    Page(
        "missing-hazard",
        "A reading that meets a hazard the step does not name",
        "To take fuel pressure or fuel level opens fuel, to look for a spark meets high voltage. The step does not "
        "say so, and so its caution is not shown.",
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
""",
        "warning",
    ),
    Page(
        "idle-caution",
        "A caution that is never shown",
        "No step names the caution, and nothing that demands it (a state, a hazard, a tool) is in this file.",
        "It was written to be read, and nobody will.",
        "Name it under `cautions` of a step, correct its `demanded_by`, or delete it.",
        """\
cautions:
  scald: {word: warning, text: The water is hot., demanded_by: [hot]}
""",
        "warning",
    ),
    Page(
        "long-instruction",
        "An instruction too long for the card",
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
""",
        "warning",
    ),
    Page(
        "two-actions",
        "Two actions in one step",
        "The instruction asks for one thing and then another.",
        "A technician who looks up after the first forgets the second.",
        "Make it two steps; the program passes from one to the next with a single key.",
        """\
steps:
  gate:
    do: Close the valve, and then start the pump.
    go: done
""",
        "warning",
    ),
    Page(
        "idle-on-stop",
        "Words for a stop that can't come",
        "The step has `on_stop`, and neither its findings nor its advisers' have the severity stop. Perhaps a finding "
        "is milder than it was meant.",
        "Where it was meant as a stop, the technician is let go on without a word.",
        "Give the finding `severity: stop`, or delete `on_stop`.",
        FLOW
        + """\
steps:
  gate:
    do: Read both.
    read: [flow]
    on_stop: {do: Shut the main.}
    findings: [{code: low-flow, severity: adjust, where: which(flow < 1 L/min), say: Low., do: Bleed it.}]
    go: done
""",
        "warning",
    ),
    Page(
        "nothing-shown",
        "An instruction that speaks of what is not shown",
        "The instruction says `as shown`, and the step has neither `moves`, `fit` nor `make`.",
        "The technician looks for moves beside the text, and there are none.",
        "Add what is to be turned or fitted, or say it otherwise.",
        """\
steps:
  gate:
    do: Turn both spindles as shown.
    go: done
""",
        "warning",
    ),
    Page(
        "no-source",
        "A number without a source",
        "The setting does not say where its number comes from.",
        "A technician can't tell a maker's figure from a guess, and will trust both.",
        "Say `common practice`, `from memory: ...`, or name the sheet it stands on.",
        FLOW
        + """\
settings:
  apart: {value: 1 L/min, range: [0, 5], source: unknown}
steps:
  gate:
    do: Read both.
    read: [flow]
    branch:
      - {when: spread(flow) > apart, go: done}
      - {otherwise: done}
""",
        "warning",
    ),
    Page(
        "unused-reading",
        "A reading that nothing uses",
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
""",
        "warning",
    ),
    Page(
        "unused-name",
        "Something declared that nothing uses",
        "A fact, setting, value, screw or reading is declared, or what a call gives back has a name by `as`, and "
        "nothing in the file mentions it. Perhaps its name is misspelt where it should be used.",
        "It only makes the file longer to read.",
        "Use it, or delete it.",
        """\
facts:
  bypass: bank.air_bypass_screws
""",
        "warning",
    ),
)
