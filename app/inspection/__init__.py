"""The rest of the inspection: what to look at beside the photographs, and the arithmetic behind it."""
