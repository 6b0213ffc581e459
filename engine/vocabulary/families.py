"""The families of carburettor banks that the shipped procedures are for; a shop declares its own."""

from __future__ import annotations

from engine.vocabulary.entries import Family

#: The word of a file that is for every family.
ANY = "any"

_PRACTICE = "common practice"

FAMILIES: tuple[Family, ...] = (
    Family("twin-choke sidedraught", "Bodies of two barrels on one spindle, one barrel a cylinder.", _PRACTICE),
    Family("constant depression", "A sliding piston and needle; the jet nut sets the mixture.", _PRACTICE),
    Family("motorcycle bank", "Two to six bodies of one barrel on vacuum gauges.", _PRACTICE),
    Family("progressive downdraught", "Two barrels of which the second opens late, on a shared manifold.", _PRACTICE),
    Family("single sidedraught", "One body on a shared manifold.", _PRACTICE),
    Family("single downdraught", "One body on a shared manifold.", _PRACTICE),
)
