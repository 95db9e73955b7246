"""Pictures for documents, drawn as SVG: the same input gives the same bytes."""
