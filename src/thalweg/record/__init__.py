"""What is known of a person: case, fact, finding, method, units, codes, images."""
