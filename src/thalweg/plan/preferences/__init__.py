"""What matters to the person: their answers, and in which order they put the open options.

Answers change the order in which open options are shown. They never open a closed one, never
decide an undecided one, and are no measure of the person.
"""
