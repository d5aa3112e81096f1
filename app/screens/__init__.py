"""One file a screen: each draws widgets, hands what was typed to plain functions, and keeps the answer."""
