"""Pages of what is wrong with a file as a file, as YAML, or as a mapping of keys."""

from engine.procedure.report.pages.page import Page

_UNREAD = "The procedure can't be followed until the file can be read."
_REST = "The program can't tell what was meant, and it never guesses."

PAGES = (
    Page(
        "not-a-file",
        "No such file, or no file at all",
        "The path names nothing, or a folder, a device or a pipe.",
        _UNREAD,
        "Check the name and the folder. `evendraw where` prints the folders that are searched.",
    ),
    Page(
        "cannot-read",
        "A file that can't be read",
        "The system refuses to open or read the file; the message gives its reason.",
        _UNREAD,
        "Check the permissions of the file and whether the disk is there.",
    ),
    Page(
        "too-big",
        "A file too big to be a procedure",
        "A long procedure has some forty kilobytes. This file has more than six times that, so it is something else, "
        "or several procedures in one.",
        _UNREAD,
        "Move a part of it into a file of its own and `call` that.",
    ),
    Page(
        "not-utf-8",
        "A file that is not UTF-8 text",
        "The file holds bytes that are not UTF-8, or control characters. Editors that save in an older encoding do "
        "that.",
        _UNREAD,
        "Save it again as UTF-8, and delete the character named.",
    ),
    Page(
        "not-yaml",
        "A file that is not YAML",
        "The layout can't be read as YAML 1.2. Most often a colon has no blank behind it, a bracket or a quote is "
        "not closed, a line is indented by a tab, or a text that begins with a sign is not in quotes.",
        _UNREAD,
        "Look at the place named and the line above it. Put texts with `: `, `#` or a leading sign in quotes.",
        "procedure: example\ntitle: [not closed\nrevision: 1\n",
    ),
    Page(
        "too-deep",
        "Nested too deep",
        "Mappings and lists stand within each other deeper than any procedure has reason to.",
        _UNREAD,
        "Lay it out flatter.",
        "title: " + "[" * 30 + "]" * 30 + "\n",
    ),
    Page(
        "no-anchors",
        "Anchors and aliases are not part of this language",
        "`&name` and `*name` repeat a piece of YAML elsewhere. A file that a mechanic reads from top to bottom does "
        "without.",
        _UNREAD,
        "Write the piece out; for a number use a setting, for steps a file of their own and `call`.",
        "steps:\n  gate: &look\n    do: Look at it.\n    go: done\n",
    ),
    Page(
        "no-tags",
        "Tags are not part of this language",
        "`!name` gives YAML values a type. Here the field already says what belongs in it.",
        _UNREAD,
        "Delete the tag.",
        "title: !text Example\n",
    ),
    Page(
        "several-documents",
        "Several documents in one file",
        "A line `---` begins a second YAML document. A file holds one procedure.",
        _UNREAD,
        "Make a file of each.",
        "procedure: example\ntitle: Example\nrevision: 1\nfor: {family: any, carbs: 2}\nstart: done\nsteps:\n"
        "  done: {end: ok, say: Done.}\n---\nprocedure: other\n",
    ),
    Page(
        "duplicate-key",
        "A key that stands twice",
        "The same key stands twice in one mapping, such as two steps of one name.",
        "One of the two would silently be lost, and with it a step or a branch.",
        "Rename or delete one.",
        "steps:\n  gate:\n    do: Look at it.\n    do: Listen to it.\n    go: done\n",
    ),
    Page(
        "bad-key",
        "A key that is no word",
        "A key is one word, or a few; here a list, a mapping or nothing stands in its place.",
        _REST,
        "Write a word before the colon.",
        "terms:\n  [a, b]: valve\n",
    ),
    Page(
        "wrong-shape",
        "A list, a mapping or a text in the wrong place",
        "The field wants one of the three, and another stands there. `[one, two]` is a list, `{name: value}` a "
        "mapping.",
        _REST,
        "Write it in the shape that the message names.",
        "needs: {tool: spanner}\n",
    ),
    Page(
        "no-value",
        "A key with nothing behind it",
        "The key is written, and its value is missing or empty.",
        _REST,
        "Write the value, or delete the key.",
        "steps:\n  gate:\n    do: ''\n    go: done\n",
    ),
    Page(
        "unknown-key",
        "A key that means nothing here",
        "The language has no such key at this place. Often it is misspelt or indented under the wrong line.",
        "What it says would be ignored, and the author would believe that it counts.",
        "Take the key that the message proposes; the schema completes keys in an editor.",
        "steps:\n  gate:\n    doo: Look at it.\n    go: done\n",
    ),
    Page(
        "missing-key",
        "A key that must be there is missing",
        "The part can't be understood without it.",
        _REST,
        "Add it; the message says what it is for.",
        "readings:\n  flow: {ask: Flow, unit: L/min}\nsteps:\n  gate:\n    do: Read it.\n    read: [flow]\n    go: "
        "done\n",
    ),
    Page(
        "several-keys",
        "Keys that exclude each other",
        "Two keys stand together of which only one can hold, such as `go` beside `branch`.",
        _REST,
        "Keep one of them.",
        "steps:\n  gate:\n    do: Look at it.\n    go: done\n    end: ok\n",
    ),
    Page(
        "unknown-word",
        "A word that may not stand here",
        "The field takes one of a few words, and this is none of them.",
        _REST,
        "Take one of the words of the message.",
        "cautions:\n  scald: {word: careful, text: Hot water., demanded_by: [scald]}\n",
    ),
    Page(
        "bad-number",
        "Something that is not a number",
        "A number belongs here, written like 4, 0.5, 1/4 or 1 1/4, with its unit where it has one.",
        _REST,
        "Write the number in figures.",
        "revision: one\n",
    ),
    Page(
        "bad-name",
        "A name with other signs than letters, digits and _",
        "Names stand in guards, where blanks and signs would mean something else.",
        _REST,
        "Use letters, digits and `_`, a letter first.",
        "steps:\n  gate:\n    do: Look at it.\n    go: look again\n  look again:\n    do: Look.\n    go: done\n",
    ),
    Page(
        "reserved-name",
        "A name that the language keeps for itself",
        "Words such as `any`, `and`, `here`, `next` or `back` already mean something.",
        _REST,
        "Choose another name.",
        "steps:\n  gate:\n    do: Look at it.\n    go: done\n  back:\n    do: Go back.\n    go: done\n",
    ),
    Page(
        "bad-range",
        "A range that is none",
        "A range is its least and its greatest number, `[0, 20]`, the least first.",
        "No reading could ever be entered.",
        "Write both, the lower one first.",
        "readings:\n  flow: {ask: Flow, unit: L/min, range: [20, 0]}\nsteps:\n  gate:\n    do: Read it.\n    read: "
        "[flow]\n"
        "    go: done\n",
    ),
    Page(
        "bad-choices",
        "Choices that leave no choice",
        "Choices are two words or more, each once, the healthy one first.",
        "The question would have one answer.",
        "Give every answer that can be met, each once.",
        "readings:\n  sound: {ask: How does it sound?, choices: [steady, steady]}\nsteps:\n  gate:\n    do: Listen.\n"
        "    read: [sound]\n    go: done\n",
    ),
    Page(
        "text-too-long",
        "A text too long for any screen",
        "The text has more than 1500 characters.",
        "Nobody reads that at an engine.",
        "Split the step in two.",
        "steps:\n  gate:\n    do: Look at it.\n    note: " + "x " * 800 + "\n    go: done\n",
    ),
    Page(
        "name-not-file",
        "A name that is not the file's",
        "`procedure:` must say the name of the file without `.yaml`, since calls and records use it.",
        "The record would name a file that nobody finds.",
        "Rename one of the two.",
        "procedure: another\ntitle: Example\nrevision: 1\nfor: {family: any, carbs: 2}\nstart: done\nsteps:\n"
        "  done: {end: ok, say: Done.}\n",
    ),
)
