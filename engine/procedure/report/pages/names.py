"""Pages of names that mean nothing, and of what files, calls and advisers must agree in."""

from engine.procedure.report.pages.page import FLOW, Page

_LOST = "The program would not know what to show or where to go."
_SCREW = (
    "screws:\n  spindle: {each: carb, acts: water, at: plate, in: less water, out: more water, unit: turn, "
    "zero: seated, range: [0, 8]}\n"
)
_ADVISE = FLOW + _SCREW + "steps:\n  gate:\n    do: Read both.\n    read: [flow]\n"


def _unknown(code: str, what: str, mend: str, example: str) -> Page:
    return Page(
        code,
        f"{what.capitalize()} that nobody declares",
        f"The file names {what} that is not declared, or spells it differently.",
        _LOST,
        mend,
        example,
    )


PAGES = (
    _unknown(
        "unknown-name",
        "a name",
        "Spell it as declared, or declare it.",
        FLOW + "steps:\n  gate:\n    do: Read both.\n    read: [flow]\n    branch:\n"
        "      - {when: spread(flw) > 1 L/min, go: done}\n      - {otherwise: done}\n",
    ),
    _unknown(
        "unknown-step",
        "a step",
        "Spell it as the step is called.",
        "steps:\n  gate:\n    do: Look at it.\n    go: don\n",
    ),
    _unknown(
        "unknown-screw",
        "a screw",
        "Declare it under `screws`, or spell it so.",
        "steps:\n  gate:\n    do: Close it.\n    moves: [{screw: spindel, each: carb, to: seated}]\n    go: done\n",
    ),
    _unknown(
        "unknown-reading",
        "a reading",
        "Declare it under `readings`, or spell it so.",
        "steps:\n  gate:\n    do: Read it.\n    read: [flow]\n    go: done\n",
    ),
    _unknown(
        "unknown-caution",
        "a caution",
        "Declare it under `cautions`, or spell it so.",
        "steps:\n  gate:\n    do: Look at it.\n    cautions: [scald]\n    go: done\n",
    ),
    _unknown(
        "unknown-symptom",
        "a symptom",
        "Declare it under `symptoms`, or spell it so.",
        "steps:\n  gate:\n    do: Look at it.\n    symptoms: {stall: done}\n    go: done\n",
    ),
    _unknown(
        "unknown-advice",
        "an advice",
        "Name the advice as a step before calls it (`advise: {name: ...}`).",
        "steps:\n  gate:\n    do: Turn as shown.\n    make: next\n    go: done\n",
    ),
    _unknown(
        "unknown-finding",
        "a finding to clear",
        "Spell the code as the finding does.",
        "steps:\n  gate:\n    do: Look at it.\n    findings: [{code: gland-drips, severity: adjust, say: It "
        "drips.}]\n"
        "    go: mended\n  mended:\n    do: Pack the gland.\n    clear: [gland-drip]\n    go: done\n",
    ),
    _unknown(
        "unknown-adviser",
        "an adviser",
        "`evendraw advisers` lists them with what they take and give.",
        _ADVISE + "    advise: {name: next, adviser: evn_flow, with: {flow: flow}}\n    go: done\n",
    ),
    _unknown(
        "unknown-input",
        "an input of an adviser",
        "Take the input that the message proposes.",
        _ADVISE + "    advise: {name: next, adviser: even_flow, with: {flow: flow, screw: spindle, "
        "target: 6 L/min, goal: 6 L/min}}\n    go: done\n",
    ),
    Page(
        "reading-never-taken",
        "A reading that an adviser looks for and nothing takes",
        "Besides what is bound to it, an adviser looks among all readings of the run for some quantities. None of the "
        "files has a reading of one of them.",
        "The adviser judges by less than it could, and says nothing of it.",
        "Declare a reading with that `quantity` and read it before the adviser is asked; `evendraw advisers NAME` "
        "lists what it looks up.",
        "steps:\n  gate:\n    advise: {name: next, adviser: even_steam, with: {}}\n    branch:\n"
        "      - {when: next.verdict == 'even', go: done}\n      - {otherwise: done}\n",
        "warning",
    ),
    Page(
        "retired-input",
        "An input that an adviser no longer takes",
        "The file binds an input of an earlier version of the adviser.",
        "What is bound to it changes nothing any more.",
        "Take the binding away; the message says what took its place.",
        _ADVISE + "    advise: {name: next, adviser: even_flow, with: {flow: flow, screw: spindle, "
        "target: 6 L/min, aim: 6 L/min}}\n    go: turn\n"
        "  turn:\n    do: Turn as shown.\n    make: next\n    go: done\n",
        "warning",
    ),
    _unknown(
        "unknown-setting",
        "a setting of the called file",
        "Take a name from the `settings` of that file.",
        "steps:\n  gate:\n    call: bleed\n    with: {time: 5 s}\n    ends: {done: done}\n# file: bleed.yaml\n"
        "steps:\n  gate:\n    do: Open the cock.\n    go: done\n",
    ),
    _unknown(
        "unknown-end",
        "an end of the called file",
        "Take the name of a step with `end` of that file.",
        "steps:\n  gate:\n    call: bleed\n    ends: {done: done, empty: done}\n# file: bleed.yaml\n"
        "steps:\n  gate:\n    do: Open the cock.\n    go: done\n",
    ),
    _unknown(
        "unknown-file",
        "a file to call",
        "Put the file beside this one, or spell it as it is called.",
        "steps:\n  gate:\n    call: bleed\n    ends: {done: done}\n",
    ),
    _unknown(
        "unknown-fact",
        "a field of the job",
        "Take a field of the job, or say what it is: `choices`, `unit` and `range`, or `yes_no: true`.",
        "facts:\n  thread: bank.stem_thread\nsteps:\n  gate:\n    do: Look at it.\n    branch:\n"
        "      - {when: thread, go: done}\n      - {otherwise: done}\n",
    ),
    _unknown(
        "unknown-choice",
        "an answer",
        "Take one of the declared choices.",
        "readings:\n  sound: {ask: How does it sound?, choices: [steady, rough]}\nsteps:\n  gate:\n    do: "
        "Listen.\n"
        "    read: [sound]\n    branch:\n      - {when: sound == 'ruogh', go: done}\n      - {otherwise: done}\n",
    ),
    _unknown(
        "unknown-unit",
        "a unit",
        "Take a unit that the program knows.",
        "readings:\n  flow: {ask: Flow, unit: lpm, range: [0, 20]}\nsteps:\n  gate:\n    do: Read it.\n"
        "    read: [flow]\n    go: done\n",
    ),
    _unknown(
        "unknown-function",
        "a function",
        "There are any, all, count, which, min, max, mean, spread, abs, position and known.",
        FLOW + "steps:\n  gate:\n    do: Read both.\n    read: [flow]\n    branch:\n"
        "      - {when: average(flow) > 1 L/min, go: done}\n      - {otherwise: done}\n",
    ),
    Page(
        "unknown-place",
        "A place that not every bank has",
        "The file is for banks of several sizes, and the place named is missing on the smallest.",
        _LOST,
        "Name a place that every bank of `for` has, or narrow `for`.",
        "readings:\n  flow: {ask: Flow, of: {carb: 3}, unit: L/min, range: [0, 20]}\nsteps:\n  gate:\n    do: Read "
        "it.\n"
        "    read: [flow]\n    branch:\n      - {when: flow > 1, go: done}\n      - {otherwise: done}\n",
    ),
    Page(
        "unknown-quantity",
        "A quantity that nobody declared",
        "The reading's `quantity` is no word of the vocabulary, and neither this file nor the shop's `vocabulary.yaml` "
        "declares it.",
        "No adviser would see the reading, and nobody would know whether the engine must run for it.",
        "Take the word that the message proposes, declare a new one under `declares`, or leave `quantity` out.",
        "readings:\n  flow: {ask: Flow, each: carb, quantity: air flow, unit: kg/h, range: [0, 20]}\nsteps:\n  "
        "gate:\n"
        "    do: Read both.\n    read: [flow]\n    branch:\n      - {when: any(flow > 1), go: done}\n"
        "      - {otherwise: done}\n",
    ),
    Page(
        "range-beyond-quantity",
        "A reading's range beyond what there can be",
        "The range is wider than what the quantity can be at all, as the vocabulary or a declaration says.",
        "A slip of the finger would be taken for a reading.",
        "Narrow the range, or correct its unit.",
        """\
cautions:
  fumes: {word: danger, text: Exhaust gas kills. Work outdoors., demanded_by: ["engine: running"]}
readings:
  speed: {ask: Speed, quantity: engine speed, unit: rpm, range: [0, 90000]}
steps:
  gate:
    state: {engine: running}
    do: Read it.
    read: [speed]
    go: done
""",
        "warning",
    ),
    Page(
        "unknown-hazard",
        "A hazard that nobody declared",
        "A step's hazard, or what a caution is demanded by, is no word of the vocabulary: no hazard, no state, no tool "
        "of `needs`; and nobody declares it.",
        "A caution whose word is misspelt is never shown where it is needed.",
        "Take the word that the message proposes, or declare a new one under `declares`, `hazards`.",
        "cautions:\n  petrol: {word: danger, text: Petrol burns. No flame near., demanded_by: [feul]}\n"
        "steps:\n  gate:\n    cautions: [petrol]\n    do: Open the drain.\n    go: done\n",
    ),
    Page(
        "unknown-family",
        "A family that nobody declared",
        "The family under `for` is none of the vocabulary's and is declared neither here nor by the shop. So near to a "
        "known one it is a slip, and an error; otherwise it is taken for a family of the shop's own.",
        "No job would ever be found for the file.",
        "Take the word that the message proposes, or declare the family under `declares`, `families`.",
        "for: {family: constant depresion, carbs: 2}\nsteps:\n  gate: {do: Look at it., go: done}\n",
    ),
    Page(
        "name-used-twice",
        "One name for two things",
        "In a file a name has one meaning: a fact, a setting, a reading and a value can't share it.",
        "A guard would read one and mean the other.",
        "Rename one of them.",
        "readings:\n  flow: {ask: Flow, unit: L/min, range: [0, 20]}\nvalues:\n  flow: 2 L/min\nsteps:\n  gate:\n"
        "    do: Read it.\n    read: [flow]\n    go: done\n",
    ),
    Page(
        "value-cycle",
        "A value that is worked out from itself",
        "The expressions of `values` name each other in a circle.",
        "It would have no worth.",
        "Break the circle.",
        "values:\n  a: b + 1\n  b: a + 1\nsteps:\n  gate:\n    do: Look at it.\n    branch:\n"
        "      - {when: a > 1, go: done}\n      - {otherwise: done}\n",
    ),
    Page(
        "incomplete-table",
        "A table without an entry for every choice",
        "A setting by a fact needs a number for each choice of that fact; for a yes or no, `holds` and `holds_not`.",
        "On some engines there would be no number.",
        "Add the missing entries.",
        "facts:\n  stem: {is: bank.stem, choices: [coarse, fine]}\nsettings:\n  most: {by: stem, coarse: 4 turn, "
        "range: [1, 10], source: common practice}\nsteps:\n  gate:\n    do: 'At most {most:turn}.'\n    go: done\n",
    ),
    Page(
        "unmapped-end",
        "An end of a called file that leads nowhere",
        "Each end of the called file must be mapped to a step of this one under `ends`.",
        "When the called file comes to that end there is no next step.",
        "Add the end to `ends`.",
        "steps:\n  gate:\n    call: bleed\n    ends: {done: done}\n# file: bleed.yaml\nreadings:\n"
        "  sound: {ask: Does it run clear?, choices: [clear, air]}\nsteps:\n  gate:\n    do: Open the cock.\n"
        "    read: [sound]\n    branch:\n      - {when: sound == 'clear', go: done}\n      - {otherwise: air}\n"
        "  air: {end: failed, say: Air remains.}\n",
    ),
    Page(
        "call-cycle",
        "Files that call each other in a circle",
        "A file calls itself, directly or through others. Counters of limits live in a call and start afresh in the "
        "next, so nothing would end it.",
        "A run of it would never end.",
        "Call from outside instead, or write a loop with a limit.",
        "steps:\n  gate:\n    call: bleed\n    ends: {done: done}\n# file: bleed.yaml\nsteps:\n  gate:\n    call: "
        "example\n"
        "    ends: {done: done}\n",
    ),
    Page(
        "called-otherwise",
        "A file that stands in for another and is called otherwise",
        "The file has the name of one that comes later on the search path, a shipped one mostly, and takes its place. "
        "A file that calls it expects an end, a parameter or a result that this one does not have, or knows no way on "
        "from an end that this one has. So with a kit: "
        "a file that uses it misses in it what the kit that it hides has.",
        "The routine that calls it would break in the middle of the work.",
        "Let it end, take and give back what the file that it replaces does; or give it a name of its own.",
    ),
    Page(
        "calls-too-deep",
        "Files that call each other too deep",
        "A file calls one that calls another, and so on, deeper than any work has reason to go.",
        "A technician who looks up could not say where he is, and a symptom would have to climb all the way.",
        "Lead on from the file above instead of calling further down.",
        "steps:\n  gate:\n    call: file1\n    ends: {done: done}\n"
        + "".join(
            f"# file: file{n}.yaml\nsteps:\n  gate:\n    call: file{n + 1}\n    ends: {{done: done}}\n"
            for n in range(1, 31)
        )
        + "# file: file31.yaml\nsteps: {}\n",
    ),
    Page(
        "layout-mismatch",
        "A called file that is not for every bank",
        "This file is for more kinds of bank than the file it calls.",
        "On some engines the called file could not be followed.",
        "Widen `for` there, or narrow it here.",
        "steps:\n  gate:\n    call: bleed\n    ends: {done: done}\n# file: bleed.yaml\nfor: {family: any, carbs: 3}\n",
    ),
    Page(
        "screw-mismatch",
        "One screw declared in two ways",
        "A screw's name means the same screw in all files of a run, so its declarations must agree.",
        "Turns counted in one file would be wrong in the other.",
        "Make them agree, or rename one.",
        _SCREW + "steps:\n  gate:\n    do: Close both.\n    moves: [{screw: spindle, each: carb, to: seated}]\n"
        "    go: bleed\n  bleed:\n    call: bleed\n    ends: {done: done}\n# file: bleed.yaml\n"
        + _SCREW.replace("[0, 8]", "[0, 4]")
        + "steps:\n  gate:\n    do: Close both.\n"
        "    moves: [{screw: spindle, each: carb, to: seated}]\n    go: done\n",
    ),
    Page(
        "place-mismatch",
        "Places that do not belong together",
        "A move, a reading or a call runs over other places than the screw or file it names.",
        _LOST,
        "Take the `each` that the message names.",
        _SCREW + "steps:\n  gate:\n    do: Close them.\n    moves: [{screw: spindle, each: barrel, to: seated}]\n"
        "    go: done\n",
    ),
    Page(
        "missing-input",
        "An adviser without all its inputs",
        "The adviser needs an input that `with` does not bind.",
        "It could not work anything out.",
        "Bind it.",
        _ADVISE + "    advise: {name: next, adviser: even_flow, with: {flow: flow, screw: spindle}}\n    go: done\n",
    ),
    Page(
        "wrong-binding",
        "An input bound to the wrong thing",
        "The adviser takes a reading of another quantity, a screw that acts on something else, or another choice.",
        "It would work with numbers that mean something else.",
        "Bind what the message names.",
        _ADVISE + "    advise: {name: next, adviser: even_flow, with: {flow: spindle, screw: spindle, "
        "target: 6 L/min}}\n    go: done\n",
    ),
    Page(
        "no-way-on",
        "A step that leads nowhere",
        "Each step has one of `branch`, `go`, `call`, `end`.",
        "The technician would be left standing.",
        "Add one of them.",
        "steps:\n  gate:\n    do: Look at it.\n",
    ),
    Page(
        "otherwise-not-last",
        "`otherwise` above other branches",
        "The first true branch wins, and `otherwise` is always true.",
        "What stands below it is never tried.",
        "Move it to the end.",
        FLOW + "steps:\n  gate:\n    do: Read both.\n    read: [flow]\n    branch:\n      - {otherwise: done}\n"
        "      - {when: any(flow > 1), go: done}\n",
    ),
)
