"""A renogram's arithmetic: shares of function, drainage, and how far either can be relied on."""
