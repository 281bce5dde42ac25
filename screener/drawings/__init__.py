"""Drawings of a house: what was understood of its plan, its load path, and where anchors and straps go."""
