"""Steps from an older schema to a newer one; each is one transaction and ends by making the guards anew."""
