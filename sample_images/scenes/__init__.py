"""Made-up guitar necks with known truth: geometry, room, camera and path-traced photographs.

Frame of every module: origin on the board's centre line at the nut, X towards the treble side, Y up from the
board, Z from the nut to the bridge; lengths in mm. Nothing here is used by the measurement, and nothing of the
measurement is used here.
"""
