"""The stated table by which street names are made alike: short forms and what they stand for.

Common practice of address lists, collected from memory; no standard is followed to the letter. Whoever misses a
word adds it here.
"""

from __future__ import annotations

TYPES = {
    "al": "alley", "aly": "alley",
    "av": "avenue", "ave": "avenue", "aven": "avenue", "avn": "avenue",
    "bd": "boulevard", "bld": "boulevard", "blv": "boulevard", "blvd": "boulevard", "boul": "boulevard",
    "br": "bridge", "brg": "bridge",
    "byp": "bypass",
    "ch": "chemin",
    "cir": "circle", "circ": "circle",
    "cl": "close",
    "cmn": "common",
    "cr": "crescent", "cres": "crescent", "crst": "crescent",
    "cswy": "causeway",
    "ct": "court", "crt": "court", "cts": "courts",
    "cv": "cove",
    "dr": "drive", "drv": "drive",
    "est": "estate",
    "expy": "expressway", "expwy": "expressway",
    "ext": "extension",
    "fwy": "freeway",
    "gdn": "gardens", "gdns": "gardens", "garden": "gardens",
    "gr": "grove", "grv": "grove",
    "hts": "heights",
    "hwy": "highway",
    "imp": "impasse",
    "ln": "lane",
    "lp": "loop",
    "mdw": "meadows", "mdws": "meadows",
    "pde": "parade",
    "pk": "park",
    "pkwy": "parkway", "pky": "parkway", "pkway": "parkway",
    "pl": "place", "plc": "place",
    "plz": "plaza",
    "rd": "road",
    "rdg": "ridge",
    "rte": "route", "rt": "route",
    "sq": "square", "sqr": "square",
    "str": "street",
    "ter": "terrace", "terr": "terrace", "tce": "terrace",
    "tpke": "turnpike", "tpk": "turnpike",
    "trl": "trail", "tr": "trail",
    "vw": "view",
    "wy": "way",
}  # fmt: skip
"""Kinds of streets: at the end of a name, before a direction, or at its beginning ("Av de la Costa")."""

KINDS = frozenset(TYPES.values()) | {
    "street", "row", "walk", "way", "path", "mews", "quay", "rue", "calle", "via", "allee", "esplanade", "promenade",
    "green", "end", "yard", "wharf", "rise", "hill", "run", "pass", "passage", "quai", "corso", "track", "crossing",
}  # fmt: skip
"""Words that are the kind of a street rather than its name, where one stands last (or first)."""

LEADING = {
    "st": "saint", "ste": "sainte", "sts": "saints",
    "mt": "mount", "mtn": "mountain",
    "ft": "fort", "pt": "point", "pte": "pointe",
    "dr": "doctor", "prof": "professor", "gen": "general", "capt": "captain", "col": "colonel",
    "pres": "president", "sgt": "sergeant", "cdt": "commandant",
}  # fmt: skip
"""Short forms before another word of the name: "St" in "St Johns Road" is a saint, in "Johns St" a street."""

ANYWHERE = {
    "mt": "mount",
    "jr": "junior",
    "sr": "senior",
    "co": "county",
    "natl": "national",
    "univ": "university",
}
"""Short forms that mean the same wherever they stand."""

DIRECTIONS = {
    "n": "north", "s": "south", "e": "east", "w": "west", "no": "north", "so": "south",
    "ne": "northeast", "nw": "northwest", "se": "southeast", "sw": "southwest",
}  # fmt: skip
"""Points of the compass at the beginning or end of a name; "E Street" and "Avenue E" keep their letter."""

ONES = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth")
TEENS = (
    "tenth", "eleventh", "twelfth", "thirteenth", "fourteenth", "fifteenth", "sixteenth", "seventeenth",
    "eighteenth", "nineteenth",
)  # fmt: skip
TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
ORDINALS = {
    **{word: str(number) for number, word in enumerate((*ONES, *TEENS), start=1)},
    **{tens.removesuffix("y") + "ieth": str(10 * number) for number, tens in enumerate(TENS, start=2)},
    **{
        f"{tens} {one}": str(10 * high + low)
        for high, tens in enumerate(TENS, start=2)
        for low, one in enumerate(ONES, start=1)
    },
}
"""Numbered streets in words: "First Street" is "1 street", as are "1st Street" and "1 Street"."""

UNNAMED = frozenset(
    {
        "",
        "unnamed",
        "unnamed street",
        "unnamed road",
        "no name",
        "noname",
        "unknown",
        "n a",
        "na",
        "none",
        "null",
        "tbd",
    }
)
"""What stands in a name column where a street has no name."""
