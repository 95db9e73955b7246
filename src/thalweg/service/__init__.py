"""The use cases that the faces share."""
