"""Pages of what files share with each other, kits and parameters, and of lists that are asked as one."""

from engine.procedure.report.pages.page import Page

_LOOSE = "The file would lack words, cautions or numbers that its steps rest on."
_USE = "uses: [valves]\n"
_DRIPS = """\
steps:
  gate:
    do: Look at it.
    read: [drips]
    branch:
      - {when: drips == 'yes', go: done}
      - {otherwise: done}
"""
_KIT = """\
# file: kits/%s.yaml
kit: %s
title: Valves
revision: 1
readings:
  drips: {ask: Does it drip?, choices: ['no', 'yes'], healthy: 'no'}
"""

PAGES = (
    Page(
        "unknown-kit",
        "A kit that is not there",
        "`uses` names a file in the folder `kits` beside this one, in the shop's folder or among the shipped files.",
        _LOOSE,
        "Correct the name, or write the kit. `evendraw where` prints the folders that are searched.",
        "uses: [valvs]\n",
    ),
    Page(
        "kit-cycle",
        "Kits that use each other in a circle",
        "A kit may use other kits; in a circle none of them is the one that the others build on.",
        "Nobody could tell which declaration holds.",
        "Take one of them out of `uses`.",
        _USE
        + _DRIPS
        + _KIT.replace("revision: 1", "revision: 1\nuses: [drips]") % ("valves", "valves")
        + "# file: kits/drips.yaml\nkit: drips\ntitle: Drips\nrevision: 1\nuses: [valves]\n",
    ),
    Page(
        "kits-clash",
        "Two kits declare one name",
        "Both kits that are used here declare the name, each in its own way, and neither uses the other.",
        "Which of them holds would hang on the order in which they are named.",
        "Declare it in this file, which takes the place of both; or let one kit use the other.",
        "uses: [valves, taps]\n" + _DRIPS + _KIT % ("valves", "valves") + _KIT % ("taps", "taps"),
    ),
    Page(
        "unused-kit",
        "A kit of which nothing is used",
        "The file uses the kit and names nothing that it declares.",
        "Somebody who reads the file looks there for nothing.",
        "Take it out of `uses`.",
        _USE + _KIT % ("valves", "valves"),
        "warning",
    ),
    Page(
        "no-usual-answer",
        "A checklist with something that has no usual answer",
        "One key says of a whole checklist that all is as it should be. So each of its readings has `choices`, and "
        "`healthy` says which of them is as it should be.",
        "The key would have to make up an answer.",
        "Name the `healthy` choice, or put the reading under `read`.",
        "readings:\n  drips: {ask: Does it drip?, choices: ['no', 'yes'], quantity: fuel leak}\n"
        "steps:\n  gate:\n    do: Look at it.\n    checklist: [drips]\n    go: done\n",
    ),
)
