"""What to look at on the neck: truss rod, wood, board and frets. What counts as a fault is common practice."""

from app.inspection.check import Check, Choice, Reading

ROD_CAUTION = (
    "Only with the owner's leave. Never force the nut: use the wrench that fits, an eighth of a turn at most, and "
    "stop at any resistance. A stuck, stripped or bottomed nut is work for a qualified repairer."
)
_ROD, _WOOD, _FRETS = "Truss rod", "Neck", "Board and frets"

NECK_CHECKS = (
    Check(
        "rod_nut_place",
        "Reach of the rod nut",
        _ROD,
        "Where is the truss-rod nut, and can it be reached?",
        "Look for it at the headstock behind the nut, and at the heel end of the neck. At the heel the pickguard or "
        "the whole neck may have to come off to reach it.",
        "Found, clean, and a wrench gets in straight.",
        "Reached only with the neck off, or paint, filler or a shim in the way.",
        "Missing, covered over, or the wood around it broken out.",
        "costs",
        choices=(Choice("rod_nut_at", "Nut is at", ("headstock", "heel")),),
    ),
    Check(
        "rod_nut_stripped",
        "Fit of the wrench",
        _ROD,
        "Does the right wrench fit snugly, without slipping?",
        "Try sizes without turning; the right one goes in full depth and does not rock. Common sizes are 3/16 inch, "
        "1/8 inch and 4 mm (common practice).",
        "One size fits full depth and does not rock.",
        "Edges are marked, or the wrench rocks a little.",
        "The edges are rounded, or no wrench grips.",
        "decides",
        readings=(Reading("wrench_mm", "Wrench that fits", "mm", 2.0, 12.0),),
        caution=ROD_CAUTION,
    ),
    Check(
        "rod_travel",
        "Rod travel",
        _ROD,
        "Has the rod travel left both ways?",
        "Note how the nut feels: slack without any load, under load, or hard against its end.",
        "Under load, and an eighth of a turn moves without force.",
        "Stiff, or slack without load on a neck that looks straight.",
        "Hard against its end, or it does not move at all.",
        "decides",
        choices=(
            Choice("rod_position", "The rod is", ("slack", "under load", "at its end")),
            Choice("rod_type", "Kind of rod", ("single-action", "double-action")),
        ),
        caution=ROD_CAUTION,
    ),
    Check(
        "rod_play",
        "Quiet rod",
        _ROD,
        "Is the rod quiet, without play?",
        "Knock along the back of the neck with a knuckle and listen; play an open low string hard.",
        "Silent.",
        "A faint rattle that stops when the nut is under load.",
        "It rattles under load, or the nut turns without end.",
        "costs",
    ),
    Check(
        "neck_crack",
        "Wood of the neck",
        _WOOD,
        "Is the wood whole at the headstock, along the rod and at the heel?",
        "Hold the wood in slanting light. Look for a line that crosses the grain, for filler, for a change of "
        "colour, and around the heel's screw holes.",
        "No line across the grain.",
        "A hairline in the lacquer only.",
        "A crack in the wood, or a break that was glued.",
        "decides",
    ),
    Check(
        "stripe_back",
        "Stripe in the back",
        _WOOD,
        "If there is a stripe let into the back of the neck, is it level and tight?",
        "Draw a fingernail across both of its edges from end to end.",
        "No stripe, or no edge to feel.",
        "An edge to feel, but no gap.",
        "It lifts or a gap opens: its glue has let go, or the rod presses on it.",
        "costs",
    ),
    Check(
        "fret_ends",
        "Fret ends",
        _FRETS,
        "Do fret ends stand proud of the board's edge?",
        "Run the side of a hand along both edges. Note the room's humidity and temperature: in a dry room the board "
        "shrinks and the metal does not.",
        "Smooth everywhere.",
        "To be felt, no more than the dry air explains.",
        "Sharp, or more than the dry air explains.",
        "upkeep",
        readings=(
            Reading("fret_end_proud_mm", "Worst fret end stands out by", "mm", 0.0, 3.0),
            Reading("room_humidity_pct", "Relative humidity of the room", "%", 5.0, 95.0),
            Reading("room_temperature_c", "Temperature of the room", "°C", -10.0, 45.0),
        ),
        caution="A sharp fret end cuts: go slowly.",
    ),
    Check(
        "inlays",
        "Position markers",
        _FRETS,
        "Are the position markers level and tight?",
        "Fingernail over each edge; look for lifted corners and filler.",
        "All flush.",
        "An edge to feel, or filler around one.",
        "One lifts, is loose or missing.",
        "upkeep",
    ),
    Check(
        "refret_marks",
        "Wood beside the frets",
        _FRETS,
        "Is the wood beside the frets free of chips and filler?",
        "Look along both sides of each fret with slanting light: chips and filler tell of frets pulled and replaced. "
        "Compare the wire's width and its ends from fret to fret.",
        "Clean edges, all wire alike.",
        "Small chips or filler: refretted, and it may have been done well.",
        "Open chips, gaps under frets, or wire of different kinds.",
        "hint",
    ),
    Check(
        "fret_wear",
        "Fret wear",
        _FRETS,
        "How deep are the dents under the strings, and how tall are the frets?",
        "Push each string aside and look at the crown; measure the deepest dent and the height of an unworn crown over "
        "the board. Note how often the frets were levelled, if known.",
        "Marks without depth.",
        "Dents to be felt on a few frets.",
        "Flat-topped frets or deep dents that buzz.",
        "costs",
        readings=(
            Reading("fret_height_mm", "Height of a fret over the board", "mm", 0.2, 2.0),
            Reading("deepest_dent_mm", "Deepest dent", "mm", 0.0, 1.5),
            Reading("past_jobs", "Levelling jobs in the past", "times", 0.0, 10.0),
        ),
    ),
    Check(
        "play_test",
        "Play test",
        _FRETS,
        "Does every note ring, on every string and fret?",
        "Play each note once, evenly, tuned to pitch, without an amplifier. Mark those that buzz, are dead, or choke "
        "when bent.",
        "Every note rings.",
        "A few notes buzz under a hard stroke.",
        "Notes are dead or choke, or many buzz.",
        "costs",
    ),
)
