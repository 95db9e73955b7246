"""Printed documents from findings."""
