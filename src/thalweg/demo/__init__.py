"""The invented scenario, written as real files."""
