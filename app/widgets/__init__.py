"""Widgets and pieces of HTML that several screens share."""
