"""What a field is called on a page, which fields stand first, and where a caution belongs."""

from __future__ import annotations

#: ``verb.field`` or ``field`` -> its caption. What is not here is called as in the verb.
CAPTIONS = {
    "receive.totes": "How many totes", "net_g": "Net weight of each", "basis": "Weight comes from", "use_by": "Use by",
    "made": "Made on", "receive.lot": "Supplier's lot", "lot": "Supplier's lot",
    "take in.tires": "How many tires", "take in.site": "Customer's site", "unit": "Unit number", "serial": "Tire serial",
    "wheel_serial": "Wheel serial", "rating_pa": "Lowest rating", "target_pa": "Fill to", "mix_e4": "Regrind in the mix",
    "earlier": "Earlier ID", "section": "Section class",
    "weight_g": "Weight", "finish fill.weight_g": "Weight of the main mix", "pressure_pa": "Final pressure", "topup_g": "Top-up",
    "topup_mix_e4": "Regrind in the top-up", "bay_mc": "Bay temperature", "casing_mc": "Casing temperature",
    "mix_mc": "Mix temperature", "reading_mc": "Reading", "flow_stopped": "Read with the flow stopped",
    "started": "Fill began", "how_full": "How full the tire was", "change": "The tote before it", "side": "Side",
    "tag_scanned": "Tag scanned", "dispatch.to": "Sent to", "set limit.to": "Value", "set limit.limit": "Limit",
    "from_when": "Holds from", "is_set": "Set through", "csv": "The logger's file", "gap_s": "Longest gap",
    "tolerance_mk": "Tolerance", "lowest_since": "Lowest since", "cut_no_later_than": "Cut no later than",
    "set up shop.site": "Two letters", "set up shop.name": "Shop's name", "set up shop.owner": "Owner's name",
    "timezone": "Time zone", "units": "Units", "host": "Host on the labels", "parts_a": "Parts of side A",
    "parts_b": "Parts of side B", "used_up": "Bin empty now", "unhook.empty": "Tote is empty", "parts": "Which parts",
    "complaint": "What is wrong", "months": "Months in service", "rule_out": "Candidates it is not",
    "identify.event": "Return number", "correct.event": "Event number", "threshold_e4": "List from",
    "print.how": "How", "print.items": "Labels of", "correct.happened": "When it really happened", "correct.why": "What was wrong", "void": "Void it",
    "adjust face.face": "Which label", "facts": "Which facts", "words": "Second language", "adjust face.size": "Size of the label",
    "dpi": "Dots to the inch", "choose printer.sheet": "Sheets it holds", "tags": "Tags tried", "qr": "QR code reads on",
    "bars": "Bars read on", "either": "Either reads on", "readable": "Read by eye on", "paper trial.why": "What was seen",
    "paper trial.step": "After", "paper trial.stock": "Stock and ribbon", "note supplier code.dates": "Dates are written",
    "note supplier code.example": "One of its codes", "supplier_code": "Supplier's code", "supplier_item": "Supplier's item",
    "supplier_serial": "Supplier's serial", "serials": "Serials of the totes", "fields": "What changes", "tires": "Tires", "hold.hold": "Which hold", "lift.hold": "Which hold", "hardness": "Hardness, Shore A",
    "order": "Work order", "reserved": "Reserved IDs", "open order.number": "Order number", "open order.tires": "How many tires",
    "reserve ids.tires": "How many IDs", "caught_a_g": "Side A caught", "caught_b_g": "Side B caught", "into": "Poured into",
    "flows_as_it_should": "Purge flows well", "temperature_mc": "Temperature", "unit_sure": "Unit is sure", "date_code": "Date code",
    "print.why": "Why it is printed again", "start shift.weight_g": "Purged to waste", "end shift.weight_g": "Run to waste",
    "pause.weight_g": "Weight so far", "abandon.weight_g": "Weight that went in", "leak.weight_g": "Weight lost",
    "read_as": "Read as", "sensor": "Logger", "log temperatures.sensor": "Which logger", "token_hash": "Hash of its token",
    "trust samples.event": "Event number", "offset_mk": "Offset", "dwell_s": "Read after", "cup_mc": "Temperature of the cup",
    "thickness_dmm": "Thickness", "scale": "Shore scale", "let sensor send.stop": "Stop it",
    "account for.recall": "Opened by event", "became": "What became of it", "found": "What was found",
    "attach.what": "Kind of paper", "odd flow.what": "What was seen",
    "at": "When it happened", "who": "Who", "signed_by": "Signed by", "override": "Reason to override", "pieces": "Pieces",
}  # fmt: skip

#: Verb -> the fields a page shows at once; the others stand under *more*. A verb that is not here shows what it needs.
FIRST: dict[str, tuple[str, ...]] = {
    "set up shop": ("site", "name", "owner", "timezone", "units"),
    "add person": ("name", "role"),
    "add system": ("name", "parts_a", "parts_b"),
    "receive": ("supplier", "lot", "side", "system", "totes", "net_g"),
    "take in": ("order", "customer", "size", "tires", "rating_pa", "target_pa"),
    "inspect": ("tire", "casing", "rating_pa", "rating_from", "wheel_good", "inside_good", "why"),
    "inspect tote": ("tote", "valve_good", "cap_good", "seal_good", "desiccant", "why"),
    "start shift": ("line", "parts_dry", "mixers_whole", "valves_open", "flows_as_it_should"),
    "end shift": ("line", "blown_out"),
    "pause": ("tire", "weight_g"),
    "abandon": ("tire", "why", "weight_g"),
    "leak": ("tire", "where", "weight_g"),
    "run pump": ("line", "weight_g"),
    "open order": ("number", "customer", "size", "tires", "target_pa"),
    "reserve ids": ("tires", "line"),
    "attach": ("item", "lot", "what", "file"),
    "hook up": ("line", "tote", "change"),
    "unhook": ("tote", "empty"),
    "clean": ("line", "how", "parts"),
    "load": ("line", "batch", "weight_g", "used_up"),
    "pour cup": ("line", "zone"),
    "finish fill": ("tire", "weight_g", "pressure_pa"),
    "read cup": ("cup", "is_set", "hardness"),
    "hold": ("item", "lot", "why"),
    "lift": ("item", "lot", "why"),
    "release": ("tire", "tires", "tag_scanned"),
    "log temperatures": ("zone", "csv"),
    "hang sensor": ("zone", "sensor"),
    "let sensor send": ("zone", "sensor", "token_hash"),
    "admit device": ("device", "role"),
    "dismiss device": ("device", "why"),
    "return": ("tire", "complaint"),
    "identify": ("event", "verdict", "tire", "rule_out", "why"),
    "reclaim": ("tire", "weight_g"),
    "set limit": ("limit", "to", "source"),
    "open recall": ("suspect", "defect", "why"),
    "account for": ("recall", "tires", "became", "found"),
    "close recall": ("recall", "note"),
}

#: ``verb.field`` -> what its being left empty means, where that is more than not known.
EMPTY = {"finish fill.pressure_pa": "empty: on hold"}

#: What the button says.
GO = {
    "start fill": "GO", "finish fill": "DONE", "release": "Sign and release", "dispatch": "Send out", "return": "Take back",
    "set up shop": "Start the book", "receive": "Book in", "take in": "Take in", "rack": "Lay on the rack", "hook up": "Hook up",
    "unhook": "Take off", "correct": "Correct", "identify": "Sign", "open recall": "Open the recall",
    "account for": "Sign", "close recall": "Close the recall",
    "read temperature": "Write down", "log temperatures": "Take in the file", "read cup": "Write down", "print": "Record",
}  # fmt: skip

_FIRST = "Local codes, the supplier's data sheets, the makers' ratings and licensed practice come first."

#: Where the work can hurt: what to mind before the button, and the rest below it.
CAUTIONS = {
    "isocyanate": (
        "Side A is an isocyanate: gloves, eyes and breathing as its data sheet says.",
        f"Its vapour and its touch can make a person ill for life; keep the spill kit at hand. {_FIRST}",
    ),
    "pressure": (
        "Cage, clip-on chuck, stand clear. Never above the lowest rating of sidewall, rim and wheel.",
        f"A tire under pressure can kill, one on a multi-piece rim all the more. Drill and vent only as the makers allow. {_FIRST}",
    ),
    "heat": (
        "Fill heats while it cures and stays soft until it has: lift nothing that is not released.",
        f"Leave room around the tires and keep fire away. {_FIRST}",
    ),
    "cutting": (
        "Take pressure and load off before anything is cut.",
        f"A casing under load can spring; mind dust and blades, and what the data sheet says of fill that has not set. {_FIRST}",
    ),
}
WITHOUT_CAUTION = (
    "return",
    "identify",
    "print",
    "read cup",
    "attach",
    "keep",
    "inspect",
    "read temperature",
    "log temperatures",
    "grind",
    "scrap",
    "settle",
    "print failed",
    "note supplier code",
    "weigh",
    "trust samples",
    "let sensor send",
)
CAUTION_AT = {
    "dock": "isocyanate",
    "line": "isocyanate",
    "cage": "pressure",
    "racks": "heat",
    "desk": "heat",
    "regrind": "cutting",
}


def caption(verb: str, field: str) -> str:
    """The words above a field."""
    found = CAPTIONS.get(f"{verb}.{field}") or CAPTIONS.get(field)
    return found or field.replace("_", " ").capitalize()


def button(verb: str) -> str:
    return GO.get(verb, verb.capitalize())


def cautions(verb: str, place: str) -> tuple[str, str] | None:
    """What to mind before this verb's work is done, and the rest of it; None where nobody touches anything."""
    return None if verb in WITHOUT_CAUTION else CAUTIONS.get(CAUTION_AT.get(place, ""))


def takes(role: str) -> str:
    """Who may do it, in words."""
    return {"hand": "for everybody", "lead": "for a lead", "owner": "for the owner"}[role]
