"""Pages of ways through a file: steps, loops, limits, symptoms, names on every path."""

from engine.procedure.report.pages.page import FLOW, Page

PAGES = (
    Page(
        "unreachable-step",
        "A step that nothing leads to",
        "No branch, call, limit or symptom that can really be taken leads to this step.",
        "What it is there for is never done.",
        "Lead a way to it, or delete it.",
        """\
steps:
  forgotten:
    do: Tighten the lock nuts.
    go: done
""",
    ),
    Page(
        "no-way-to-end",
        "A step from which no end can be reached",
        "Whatever is answered here, the ways on never come to a step with `end`; a symptom may, but nobody can be "
        "asked to wait for one.",
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
""",
    ),
    Page(
        "endless-loop",
        "A loop that no limit ends",
        "The steps named can follow each other for ever. A loop must pass a step with a `limit`, so that every run "
        "ends after finitely many steps.",
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
""",
    ),
    Page(
        "limit-in-loop",
        "A limit whose `then` leads back into its own loop",
        "When all visits of the step are used up the run goes to `then`; from there it comes back to the step, is "
        "sent to `then` again, and so on. The limit ends nothing.",
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
""",
    ),
    Page(
        "endless-symptom",
        "A symptom that may be given for ever",
        "A symptom leads back to where it was given (`back`), or round a loop, and nothing counts how often. What a "
        "person sees may come again each time.",
        "An engine that stalls again and again would be restarted for ever instead of being looked at.",
        "Give the symptom a `limit: {visits: 3, then: step}`, or a step of the loop a limit of its own. A symptom that "
        "can be given again inside the file that it calls needs the first: that file leaves the step where it stands.",
        """\
symptoms:
  stall: {kind: stall, ask: It stalls, call: restart, ends: {done: back}}
# file: restart.yaml
steps:
  gate:
    do: Start it again.
    go: done
""",
    ),
    Page(
        "silent-loop",
        "A loop that asks nothing",
        "The steps of the loop say, make and read nothing, so they pass by themselves, and nothing changes from one "
        "round to the next.",
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
""",
    ),
    Page(
        "passes-unseen",
        "More steps than may pass without asking",
        "Between two answers so many steps may pass by themselves that nobody could follow what happened: loops whose "
        "readings all hang on a condition, files called in files that ask nothing.",
        "The program would spin, and nobody would see why.",
        "Give a step of the loop, or of the called file, something to do or to read.",
        "steps:\n  gate:\n    call: file1\n    ends: {done: second}\n"
        "  second:\n    call: file1\n    ends: {done: done}\n"
        + "".join(
            f"# file: file{n}.yaml\nsteps:\n  gate:\n    call: file{n + 1}\n    ends: {{done: second}}\n"
            f"  second:\n    call: file{n + 1}\n    ends: {{done: done}}\n"
            for n in range(1, 13)
        )
        + "# file: file13.yaml\nsteps:\n  gate:\n    go: done\n",
    ),
    Page(
        "symptom-leads-nowhere",
        "A symptom that leads nowhere from some step",
        "The file declares the symptom, but neither where it is declared nor the step named says where it leads, and "
        "no file that calls this one does either.",
        "The technician sees it and can't say so.",
        "Add `go: step`, or `call: file` with its `ends`, to the symptom or to the steps.",
        """\
symptoms:
  stall: {kind: stall, ask: It stalls}
""",
    ),
    Page(
        "used-before-read",
        "A value that may not be known yet",
        "On some way to this step nobody has taken the reading, kept the value or asked the adviser that is used here. "
        "`case` shows such a way. A reading that is taken only where a fact holds counts only where it is known to "
        "hold.",
        "A guard over something missing is simply false, so the run would quietly take the wrong way.",
        "Take the reading on every way that leads here, move the use behind it, or ask `known(name)` first.",
        FLOW
        + """\
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
""",
    ),
)
