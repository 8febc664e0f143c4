"""Pages to print and hand over; each only arranges a record."""
