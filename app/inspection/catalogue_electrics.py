"""What to look at in the electrics. What counts as a fault is common practice."""

from app.inspection.check import Check, Reading

MAINS_CAUTION = (
    "Pull the lead out of the amplifier before measuring or opening the guitar. Open nothing on an amplifier that is "
    "or was connected to the mains."
)
_ELECTRICS = "Electrics"

ELECTRIC_CHECKS = (
    Check(
        "switch",
        "Switch",
        _ELECTRICS,
        "Does every position of the switch work, without noise?",
        "Amplifier low; tap each pickup lightly with a piece of steel in every position, then move the switch.",
        "Every pickup where it belongs, no noise.",
        "Crackles, but every position works.",
        "A position is dead or comes and goes.",
        "costs",
    ),
    Check(
        "pots",
        "Controls",
        _ELECTRICS,
        "Do the controls turn smoothly and quietly?",
        "Turn each end to end with the amplifier low. If the owner agrees to lift a knob, measure the mounting nut: "
        "10 mm and 8 mm across its flats belong to different makes of part (common practice).",
        "Quiet and even.",
        "Crackles that turning clears.",
        "Dead spots, scraping, or a loose shaft.",
        "upkeep",
        readings=(Reading("pot_nut_mm", "Mounting nut across its flats", "mm", 5.0, 20.0),),
        caution=MAINS_CAUTION,
    ),
    Check(
        "pickup_resistance",
        "Pickup resistance",
        _ELECTRICS,
        "Does each pickup's resistance fit what is stated for it?",
        "Lead in the guitar only, volume and tone full up, one pickup selected; read the ohms between tip and sleeve. "
        "Note the temperature of the room, where the guitar has lain for an hour. A coil shows as a steady figure.",
        "Inside the stated range, with the pot and the temperature taken out.",
        "Outside the stated range by a little, or not known what it should be.",
        "No connection, a short circuit, or a reading that wanders.",
        "costs",
        readings=(
            Reading("neck_ohm", "Neck pickup at the jack", "ohm", 0.0, 2e6),
            Reading("middle_ohm", "Middle pickup at the jack", "ohm", 0.0, 2e6),
            Reading("bridge_ohm", "Bridge pickup at the jack", "ohm", 0.0, 2e6),
            Reading("volume_pot_ohm", "Volume control, nominal", "ohm", 1e4, 2e6),
            Reading("coil_temperature_c", "Temperature of the guitar", "°C", -10.0, 45.0),
        ),
        caution=MAINS_CAUTION,
    ),
)
