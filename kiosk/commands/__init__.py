"""The commands, by what they are about; each is a thin call into a room."""
