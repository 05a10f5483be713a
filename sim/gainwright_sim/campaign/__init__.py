"""Campaigns: many rehearsals, and how far what they find lies from exact theory."""
