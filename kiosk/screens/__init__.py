"""The window: shows what the desk says and forwards what a hand does."""
