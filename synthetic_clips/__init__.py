"""A parametric walking dairy cow, drawn to film with the truth beside it, and the demo herd."""
