"""The commands, by the room they belong to."""
