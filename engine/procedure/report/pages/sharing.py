"""Pages of what files share with each other, kits and parameters, and of lists that are asked as one."""

from engine.procedure.report.pages.page import Page

PAGES = (
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
