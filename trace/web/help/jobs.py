"""How each job of the shop is done: a few plain sentences, what to mind, and where it is written down.

Figures marked *common practice* are what industrial flat-proofing shops do, without a published source; each is a setting of the
shop. The supplier's data sheet, the makers' ratings, local codes and licensed practice come first, and every page says so.
"""

from __future__ import annotations

from dataclasses import dataclass

COMMON = "common practice"

#: A danger -> its sentence. Each stands on every page whose work has it.
DANGERS = {
    "isocyanate": (
        "Side A is an isocyanate. Its vapour can make a person ill for life, and so can its touch: gloves, eye protection and the "
        "breathing protection its data sheet asks for, also when something was only spilled. Keep the spill kit at hand."
    ),
    "pressure": (
        "A tire under pressure can kill. Cage, clip-on chuck, stand to the side. Never above the lowest rating of sidewall, rim and "
        "wheel. Liquid does not compress: the pressure stays low until the tire is full, then climbs at once."
    ),
    "rim": (
        "A multi-piece rim can fly apart. Only who is trained for it takes it on, with the maker's sheet at hand; worn or mixed parts are "
        "not used."
    ),
    "drill": (
        "Never drill a tire that is full, set or not, or that holds more than the venting pressure; vent or drill only where and as its "
        "maker allows, at the highest point, eyes away from the hole: what comes out is under pressure and holds side A."
    ),
    "heat": (
        "Fill heats while it cures and is soft until it has. Leave room around each tire, keep fire and hands away, and lift, roll or "
        "mount nothing that is not released: a filled tire weighs many times what it did."
    ),
    "cutting": (
        "Take load and pressure off before anything is cut. A casing can spring, blades run on. Keep dust out of lungs. Fill that has not "
        "set still holds side A: it is scrap, and handled as its data sheet says."
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Job:
    """One page: the address's name, what it is called, its sentences, dangers by name, and the pages where it is done."""

    name: str
    title: str
    steps: tuple[str, ...]
    dangers: tuple[str, ...] = ()
    done_at: tuple[tuple[str, str], ...] = ()
    picture: str = ""  # what the drawing shows, for who can't see it


JOBS = (
    Job(
        "receive", "Receive totes",
        (
            "Look at each tote before it is taken: ball valve, cap and seal whole, nothing leaking (common practice). What is damaged is "
            "booked in and put on hold, so that nobody hooks it up.",
            "Book the truck in lot by lot: supplier, the lot as its label says it, side and substance, how many, net weight of each. The "
            "letters A and B swap in some countries, so go by the substance: isocyanate or polyol.",
            "A hand scanner on the supplier's code fills the form in; check what it filled.",
            "Print the labels and stick each on its tote before the next lot comes off.",
            "Store it at 72 °F (22.2 °C) or warmer (common practice; the data sheet comes first), oldest in front.",
        ),
        ("isocyanate",), (("Dock", "/dock"), ("Look at a tote", "/do/inspect-tote"), ("Totes", "/lists/totes")),
        "A tote with its label, its valve and its cap",
    ),
    Job(
        "hook-up", "Start a shift and hook up",
        (
            "Start the shift on the line: parts dry, mixer whole, valves open. The first material goes to waste until it flows as it "
            "should (common practice); its weight is written down, by scale or by eye.",
            "Scan the line, then the tote, and say what became of the one before: it ran dry, or it came off with something left.",
            "Ran dry means one side may have starved: what follows may be off-ratio and soft. Run to waste and pour a sample cup.",
            "Side A gets dried air only: a desiccant cartridge with its arrow towards the tote, a new one when its indicator says so (common "
            "practice). Never mix the sides of two systems.",
            "A pump runs at least once a week, or material sets in the hoses (common practice).",
        ),
        ("isocyanate", "pressure"), (("Cage", "/cage"), ("Hook up", "/do/hook-up"), ("Start a shift", "/do/start-shift")),
        "Two totes, A and B, joined by hoses at a gun",
    ),
    Job(
        "grind", "Grind and load regrind",
        (
            "Cut the fill out of a tire that is done with; scan it, so that the book knows what the pieces are. Fill that never set, or was "
            "spoiled, is scrap and never ground.",
            "Pieces of about 12 in (30 cm), free of metal, stone, wood and plastic, dry, and as warm as the room (common practice).",
            "Make a batch: the tires the pieces came from with their weights. For pieces nobody knows say when they were cut at the latest; "
            "that clears them of every lot made later.",
            "Label the bin, and scan it when it is poured into the hopper: only that scan says which batch went into which tire.",
            "Start a fill with the hopper at least half full, and with at most 65 % regrind in the mix (common practice).",
        ),
        ("cutting", "isocyanate"), (("Regrind", "/regrind"), ("Cut a fill out", "/do/reclaim"), ("Batches", "/lists/batches")),
        "A block of fill cut into pieces that fall into a labelled bin",
    ),
    Job(
        "fill", "Fill a tire",
        (
            "Take the tire in and hang its tag through a wheel hole, away from the vent. Inside dry and clean; wheel straight, without "
            "cracks or heavy rust, or it is not filled (common practice).",
            "Know the operating pressure beforehand, and the ratings of sidewall, rim and wheel. A new tire first stands 24 h at its "
            "operating pressure in a warm room (common practice).",
            "In the cage, at the line's page: scan the tire. What must be put right first stands on top. GO when the gun is on.",
            "Let the air out at the highest point, once about 30 % of the highest pressure shows (common practice), as the maker allows.",
            "Read the pressure with the flow stopped. DONE with weight and pressure. A tote that changed, a pause, anything odd: one touch "
            "beside it, while it happens. What happened is written down, never refused.",
        ),
        ("pressure", "rim", "drill", "isocyanate"), (("Cage", "/cage"), ("Take tires in", "/do/take-in"), ("Look at a tire", "/do/inspect")),
        "A tire in a cage, its vent at the top, the gun at its valve",
    ),
    Job(
        "cure", "Cure, racks and sample cups",
        (
            "Lay the tire flat (common practice) and scan it, then the zone. Its clock starts at the end of the fill and counts the hours in "
            "a zone that is at 72 °F (22.2 °C) or warmer, by its logger or by hand readings.",
            "At the racks several tires may be scanned in a rush, then their zone; or a zone first, then each tire that goes there. What asks "
            "for a look stops the scans behind it until you have touched the answer, and scans without a connection wait.",
            "24 h counted is the earliest, and only with a sample cup that passed; 48 h is the rule; a cold start takes longer (common practice, "
            "made stricter; each is a setting, and the data sheet comes first).",
            "Hours nobody measured do not count. Hang a logger, or read the thermometer at least every 12 hours.",
            "A cup covers the fills that follow it on its line, until the next cup. It lies where the tires lie. Read it: set through or "
            "not, and how hard.",
        ),
        ("heat",), (("Racks", "/racks"), ("Read a cup", "/do/read-cup"), ("Sample cups", "/lists/cups")),
        "Tires lying flat on a rack under a thermometer, a cup beside them",
    ),
    Job(
        "release", "Release",
        (
            "Scan the tag at the desk. The largest word is the answer; below it stands why, and if it is not yet, about when.",
            "Cured means the hours are full, the pressure is within the lowest rating, the cup did not fail, and nothing in the tire is on hold.",
            "A lead signs with a PIN. The two dates go on the tag: when it may be moved and mounted, and when it may work under load.",
            "An override is for a lead, with a reason, and stays visible for ever. If later readings change what a release stood on, the tire "
            "comes back to the top of this page.",
        ),
        ("heat", "pressure", "rim"), (("Desk", "/desk"), ("Tires on racks", "/lists/tires?state=racked")),
        "A tire, a clock, and a tag with two dates",
    ),
    Job(
        "send", "Send out, take back, identify",
        (
            "Scan what goes on the truck, all tires at once. What is not released stays.",
            "A tire that comes back is scanned and its complaint written down, in the driver's words.",
            "No label left: give every clue there is, customer, size, unit number, serial of the tire or the wheel, a number branded on it, months "
            "in service. The book keeps the set of tires it can be, with what speaks for and against each.",
            "A lead signs once it is clear: this one, not ours, or it can't be known. The book never guesses for you.",
        ),
        ("pressure", "rim"), (("Desk", "/desk"), ("A tire came back", "/do/return"), ("Identify", "/identify")),
        "A tire without a tag, and three others it may be",
    ),
    Job(
        "hold", "Hold and recall",
        (
            "Something is wrong with a tote, a lot, a batch or a tire: hold it first, ask afterwards. It can't be hooked up, ground, filled, "
            "released or sent until a lead lifts the hold with a reason.",
            "Recall asks which tires hold the suspect and where they are now. Setting (soft, slow, off-ratio) looks at what went in "
            "straight; contamination follows it through regrind, too.",
            "Certain and possible come first. Not excluded means that the records can't rule it out.",
            "Opening a recall freezes the list, and keeps what it suspects and the tires it lists where they are; it says whom to tell. A "
            "lead closes it once each tire came back, was released, cut out or scrapped since, or has been accounted for where it is: looked "
            "at, destroyed there, or out of reach. Look one up on a quiet day, without opening it.",
        ),
        (), (("Holds", "/holds"), ("Recall", "/recall"), ("Hold something", "/do/hold")),
        "One lot, and the tires it went into",
    ),
    Job(
        "correct", "Correct what was wrong",
        (
            "Nothing is rubbed out. On an item's page, each thing that happened can be corrected; the newest has a button: That was wrong.",
            "Change what was wrong, leave the rest; or void it: it did not happen. Say why.",
            "“What would change?” shows which tires, holds and releases would look different before anything is signed.",
            "What was first written stays in the journal beside the correction; releases and lists that were signed stay, and get a warning.",
        ),
        (), (("Events", "/lists/events"), ("The book", "/book")),
        "A line struck through in a ledger, and the right one below it",
    ),
    Job(
        "labels", "Print labels",
        (
            "Each tote, batch, tire and cup gets its label the moment it is booked; the page to print opens by itself.",
            "Print at actual size. Each symbol is read back from the very file before you get it.",
            "A tire carries a tied tag through a wheel hole in the shop. Outside, paper does not last: brand or paint the service number, and write "
            "down wheel and tire serials.",
            "Printing a label again asks why, and the copy's number stands on it. A label that fell off is thrown away.",
        ),
        (), (("Labels", "/labels"),),
        "A label with its square symbol, its bars and its ID",
    ),
    Job(
        "loggers", "Loggers and thermometers",
        (
            "Hang the logger among the tires, not at the heater nor at the door. Say in which zone it hangs.",
            "Take its file in at the rack's page, as it comes from the logger. It is shown before anything is taken.",
            "Spikes and flat stretches are marked and do not count until a lead has looked.",
            "No logger: read the thermometer at least every 12 hours, or set a min/max thermometer back and read its lowest mark.",
            "A logger may send by itself, with a token of its own.",
        ),
        (), (("Racks", "/racks"), ("Take in a file", "/zones"), ("Read a thermometer", "/do/read-temperature")),
        "A thermometer and its curve over a day, with a line at the limit",
    ),
    Job(
        "people", "People and PIN",
        (
            "Pick your name at the top, or scan your badge. It stands beside what this station writes until somebody else picks theirs.",
            "A hand does the day's work. A lead also releases, overrides, lifts holds and corrects; the owner adds people and sets limits.",
            "What is signed asks for the signer's PIN, each time. Nobody else knows it, and nobody signs for another.",
            "A wrong PIN too often locks for a while, longer each time; that is written down, too. The owner gives a code to set a new one.",
        ),
        (), (("Who works here?", "/who"),),
        "A badge, and the keys of a PIN",
    ),
    Job(
        "backup", "Back up the book",
        (
            "The book is one file. Once a day, on the machine that serves it: fillbook --book shop.db backup COPY.db. It is whole even while others "
            "write; copying the file by hand may not be.",
            "Keep copies on another machine, and one outside the house. Try one now and then: fillbook --book COPY.db verify.",
            "Each event holds the hash of the one before, so that a change in the past shows. That the last events are lost shows only against a head kept elsewhere: "
            "it stands on every paper; write down today's.",
            "When the power is out, fill on paper: print day sheets with reserved IDs beforehand, and enter them afterwards.",
        ),
        (), (("The book", "/book"), ("Is it whole?", "/book/verify")),
        "A book and its copy in another house",
    ),
)  # fmt: skip
BY_NAME = {job.name: job for job in JOBS}

#: A place's blueprint -> the job that is done there.
AT = {
    "dock": "receive", "cage": "fill", "racks": "cure", "desk": "release", "regrind": "grind", "holds": "hold", "recall": "hold",
    "identify": "send", "labels": "labels", "office": "backup", "station": "people", "people": "people", "lineage": "hold",
    "zones": "cure", "loggers": "loggers",
}  # fmt: skip
#: Where one place has several jobs, the verb at hand tells which.
OF_VERB = {
    "receive": "receive", "inspect tote": "receive", "store": "receive", "hook up": "hook-up", "unhook": "hook-up", "start shift": "hook-up",
    "end shift": "hook-up", "purge": "hook-up", "clean": "hook-up", "run pump": "hook-up", "odd flow": "hook-up", "pour heel": "hook-up",
    "load": "grind", "grind": "grind", "reclaim": "grind", "take in": "fill", "inspect": "fill", "stretch": "fill", "start fill": "fill",
    "finish fill": "fill", "pause": "fill", "resume": "fill", "abandon": "fill", "leak": "fill", "rack": "cure", "pour cup": "cure",
    "read cup": "cure", "keep": "cure", "release": "release", "settle": "release", "dispatch": "send", "return": "send", "identify": "send",
    "hold": "hold", "lift": "hold", "open recall": "hold", "account for": "hold", "close recall": "hold", "correct": "correct", "print": "labels", "log temperatures": "loggers",
    "read temperature": "loggers", "hang sensor": "loggers", "take down sensor": "loggers", "let sensor send": "loggers",
    "trust samples": "loggers", "add person": "people",
}  # fmt: skip
