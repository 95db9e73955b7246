"""What is published: bibliography, series and criteria as data files."""
