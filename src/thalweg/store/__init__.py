"""The record kept safely: database, images, audit trail."""
