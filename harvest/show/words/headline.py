"""The five lines that a run prints, in English."""

from __future__ import annotations

from harvest.show.words.filling import filler

HEADLINE_WORDS: dict[str, str] = {
    "roofs": "Roofs:    {roofs} on {parcels} parcels of {town}, {area} seen from above.",
    "water": "Water:    they shed {runoff}; {capturable} is capturable from {first} to {last}; {used}",
    "best": "Best:     {best}",
    "findings": "Findings: {counts}; read {file} before you publish.",
    "map": "Map:      {file}",
    "used_unknown": "barrels deliver a small part of that.",
    "used": "with {barrels} gardens would use {used}.",
    "used_made_up": "with {barrels} gardens would use {used}, by made-up days of rain.",
    "barrel": "the 1 suggested barrel",
    "barrels": "the {count} suggested barrels",
    "streets": "{streets} are the streets to knock at first; {rounds} of {doors} doors can be expected to win {worth} "
    "that gardens use.",
    "round": "1 round",
    "rounds": "{count} rounds",
    "homes": "{homes} lead the homes.",
    "home": "{place} ({water})",
    "no_home": "no home stands on the list; see the status column of the parcels table.",
    "parcel": "parcel {parcel}",
    "doubt": "{severity}: {message} {remedy}",
    "doubt_first": "{severity}: {message} {remedy} First: {first}.",
}


said = filler(HEADLINE_WORDS)
