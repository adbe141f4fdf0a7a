"""Which verbs can apply to an item in its state; the others are for what happened and was not entered yet."""

from __future__ import annotations

#: Verb -> the states in which it can come next, by kind. A verb that is not here can always be written.
STATES: dict[str, dict[str, tuple[str, ...]]] = {
    "F": {
        "take in": ("reserved",),
        "start fill": ("taken in", "soaking"),
        "finish fill": ("filling",),
        "pause": ("filling",),
        "resume": ("paused", "abandoned"),
        "abandon": ("filling", "paused"),
        "leak": ("filling", "paused"),
        "inspect": ("taken in", "soaking"),
        "stretch": ("taken in", "soaking"),
        "rack": ("taken in", "soaking", "filled", "racked"),
        "reclaim": ("abandoned", "filled", "racked", "released", "returned"),
        "dispatch": ("released",),
        "return": ("dispatched",),
        "identify": ("dispatched",),
        "settle": (),  # stands beside its alert
        "scrap": ("reserved", "taken in", "soaking", "paused", "abandoned", "filled", "racked", "released", "returned", "reclaimed"),
    },
    "L": {
        "hook up": ("in store", "part used"),
        "unhook": ("hooked up",),
        "store": ("in store", "part used"),
        "pour heel": ("in store", "part used"),
        "inspect tote": ("in store", "part used"),
        "take retain": ("in store", "part used", "hooked up"),
        "weigh": ("in store", "part used", "hooked up"),
        "scrap": ("in store", "part used", "empty"),
    },
    "G": {"load": ("in store", "in use"), "scrap": ("in store", "in use")},
    "C": {"read cup": ("curing", "kept"), "keep": ("curing", "passed", "failed")},
}  # fmt: skip


def applies(verb: str, kind: str, state: str | None, *, held: bool) -> bool:
    """Whether *verb* can come next for an item of *kind* in *state*; *held*: something keeps it where it is."""
    if verb == "lift":
        return held
    if verb in ("dispatch", "hook up", "load") and held:  # a lead may still, with a reason
        return False
    wanted = STATES.get(kind, {}).get(verb)
    return wanted is None or state in wanted
