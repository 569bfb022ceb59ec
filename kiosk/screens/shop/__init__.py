"""The shop itself: its things, its people and how the kiosk is set."""
