"""The parts as small drawings in characters, and the words of this program, on one page; pure. Drawn from what the
parts do, of no make."""

from __future__ import annotations

from dataclasses import dataclass

from tui.drawing.lines import Line, Lines, beside, cut_line, fill, wrapped

#: Cells of a drawing.
WIDE = 13


@dataclass(frozen=True, slots=True)
class Drawing:
    """A part: its name, three lines of drawing, what it does."""

    name: str
    drawn: tuple[str, str, str]
    does: str


PARTS = (
    Drawing(
        "barrel and plate",
        (" │     ╱ │", " │   ╱   │", " │ ╱     │"),
        "The bore that feeds its cylinder, and the disc in it that the pedal opens.",
    ),
    Drawing(
        "speed screw",
        ("      ╱ lever", "(/)══▶╱", "      ●"),
        "Holds the lever of the plates open: in (clockwise) is more air, and faster.",
    ),
    Drawing(
        "mixture screw",
        (" │   ╲", " │    ◁══(/)", " │   ╱"),
        "A taper in its seat, at the plate's edge. Most give more fuel out (anticlockwise); an air screw gives less.",
    ),
    Drawing(
        "bypass screw",
        (" │ ╱ ╭ air", " │╱  ╰◁══(/)", " │ ◂─╯"),
        "Lets air past one plate: out is more air in that barrel alone. At least one of a body stays shut.",
    ),
    Drawing(
        "balance screw",
        ("1 ●──┐ ┌──● 2", "     │(/)", "     └─┘"),
        "In the coupling between two bodies: sets the later body's plates against the earlier's.",
    ),
    Drawing(
        "idle jet",
        ("  ┌───┐", "══╡ · ╞═▷", "  └───┘"),
        "Meters the fuel at idle. Where every screw rests outside its band, it has the wrong size.",
    ),
    Drawing(
        "choke",
        (" ╲     ╱", "  │   │", " ╱     ╲"),
        "The narrow part of the barrel: fast air there draws the main fuel.",
    ),
    Drawing(
        "main jet, air corrector",
        ("  ┌·┐ air", "  │ │", "  └·┘ fuel"),
        "Fuel from below and air from above, mixed for the main circuit: nothing of it is heard at idle.",
    ),
    Drawing(
        "float and level",
        ("┌───╥───┐", "│≈≈(_)≈≈│", "└───────┘"),
        "Shuts the fuel at one level. Too low leans every circuit, too high drips.",
    ),
    Drawing(
        "jet nut, needle",
        ("    ┃", "  ══┃══ jet", "   [#] nut"),
        "Constant depression: down (flats of the nut) is richer; the piston lifts the needle out of the jet.",
    ),
    Drawing(
        "piston, damper",
        ("   ┌┴┐", " ┌─┘▓└─┐", " └─────┘"),
        "Constant depression: rises with the air. The oil in it slows its rise.",
    ),
    Drawing(
        "take-off",
        (" │     │", " │     ╞══○", " │     │"),
        "A hose on one barrel, for a brake or an advance: it spoils the gauge there. Plug or pinch it to read.",
    ),
)

WORDS = (
    ("as found", "read hot, before anything was touched"),
    ("spread", "the largest less the smallest of a row"),
    ("band", "where a screw belongs when jets and air are right"),
    ("best", "where the speed is highest for this screw: leaner and richer both slow it"),
    ("trial turn", "a turn that is made to find something out, and is set right afterwards"),
    ("zero", "where a screw's turns are counted from: its seat, or first contact"),
    ("lambda", "air over the air that the fuel needs: 1 is just enough, less is rich"),
    ("CO", "carbon monoxide in the exhaust: more is richer"),
    ("hunting", "the idle rises and falls by itself"),
    ("spit-back", "a cough back through an intake: lean there, or its valve or timing"),
    ("OLD, (4.8)", "read before something was turned or changed: no longer how it stands"),
    ("sure, believed", "computed from what was read, with its doubt; what was measured says so"),
)


def lines(cells: int) -> Lines:
    """Parts and words; parts in two columns where there is room."""
    out: Lines = [((" THE PARTS ", "key"), ("  from above or in section, no make's", "soft"))]
    if cells >= 100:
        half = (cells - 2) // 2
        for n in range(0, len(PARTS), 2):
            pair = [_part(p, half) for p in PARTS[n : n + 2]]
            out += beside(pair[0], pair[1] if len(pair) > 1 else [], half, gap=2)
    else:
        for part in PARTS:
            out += _part(part, cells)
    out += [(), ((" WORDS ", "key"),)]
    for word, says in WORDS:
        out += wrapped(says, cells, "ink", head=(f"  {word:<15}", "strong"))
    return [cut_line(line, cells) for line in out]


def _part(part: Drawing, cells: int) -> Lines:
    words = [*wrapped(part.name, cells - WIDE - 2, "strong"), *wrapped(part.does, cells - WIDE - 2, "ink")]
    out: Lines = []
    for n in range(max(3, len(words))):
        drawn = part.drawn[n] if n < 3 else ""
        left: Line = fill(((drawn, "mark"),), WIDE)
        out.append((*left, ("  ", "ink"), *(words[n] if n < len(words) else ())))
    return [*out, ()]
