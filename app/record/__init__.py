"""The record of inspections: what one holds, where it is kept, and the file it travels in. No browser here."""
